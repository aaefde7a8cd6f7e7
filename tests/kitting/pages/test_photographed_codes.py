"""Wherever a code is scanned it can be photographed: the page goes on as after a scan, and asks where it can't."""

import re
from html import unescape
from typing import Any

import pytest
from bag_stores import Stores, demo_sheets
from browsing import bags_listed, browser_of, send, words
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from module_books import books_of_module
from people import STORES
from photographs import photograph, symbol

from inventory.models import Item, Lot
from kitting.models import BagEntry
from kitting.pages import idle
from kitting.pages.pick_pages import key_of
from kitting.selectors.bag_contents import bare
from kitting.selectors.pick_walk import Step, pick_walk

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, bags_listed)


@pytest.fixture
def code() -> str:
    return Stores().code("J03", "V2")


@pytest.fixture
def phone() -> Client:
    return browser_of(STORES)


def picture(*codes: str, **as_it_is: Any) -> SimpleUploadedFile:
    return SimpleUploadedFile("IMG_1.JPG", photograph(*(symbol(one, **as_it_is) for one in codes)), "image/jpeg")


def first_step(code: str) -> tuple[str, Step]:
    return f"/pick/N?bag={code}", pick_walk(depot="N", bags=[code])[0]


def hidden(answer: Any, name: str) -> list[str]:
    """What a page keeps under a name to send it on."""
    text = answer.content.decode()
    return [unescape(one) for one in re.findall(f'<input type="hidden" name="{name}" value="([^"]*)">', text)]


def test_a_piece_is_picked_by_pictures_of_its_bin_and_carton_and_a_wrong_one_is_refused(
    phone: Client, code: str
) -> None:
    walk, step = first_step(code)
    there, item = {"step": key_of(step), "place": step.place.code}, step.lot.item
    other = Item.objects.exclude(pk=item.pk).first()
    assert other is not None
    carton = {"form": "DataMatrix", "gs1": True}

    wrong_bin = send(phone, walk, step=key_of(step), photographed="act:place", photo=picture("N-99-9"))
    bin_ = send(phone, walk, step=key_of(step), photographed="act:place", photo=picture(step.place.code))
    wrong = send(phone, walk, **there, photographed="act:read", photo=picture(f"(241){other.stock_code}", **carton))
    right = picture(f"(10){step.lot.number}(241){item.stock_code}", **carton)
    read = send(phone, walk, **there, read="typed before", photographed="act:read", photo=right)
    nothing = BagEntry.objects.exists()
    last = {"read": item.stock_code, "lot": step.lot.number, "quantity": bare(step.quantity)}
    picked = send(phone, walk, **there, **last, action="P-1")

    assert "WRONG BIN depot N has no place N-99-9" in words(wrong_bin)
    assert "Right bin" in words(bin_)
    assert f"WRONG ITEM this is {other.stock_code}" in words(wrong)
    assert "Right bin, right item and lot" in words(read)
    assert not nothing
    assert "RIGHT" in words(picked)
    assert BagEntry.objects.get().lot == step.lot


def test_a_picture_without_a_code_or_with_several_is_asked_about_and_all_that_was_typed_is_kept_but_secrets(
    phone: Client, code: str
) -> None:
    check, typed = f"/bags/{code}/check", {"quantity": "3", "gloves": "1", "pin": "8642"}
    none = send(phone, check, **typed, read="x", photographed="act:read", photo=picture())
    several = send(phone, check, **typed, read="", photographed="act:read", photo=picture("EL15-1", "T25"))
    bad = SimpleUploadedFile("IMG_1.JPG", b"\xff\xd8\xff" + bytes(500))
    broken = send(phone, check, **typed, photographed="act:read", photo=bad)
    without = send(phone, check, **typed, photographed="act:read")

    assert "NO CODE FOUND Go closer" in words(none)
    assert "give it light" in words(none)
    assert "2 CODES are in the picture" in words(several)
    for code_ in ("EL15-1", "T25"):
        assert f'<button class="step" name="read" value="{code_}">' in several.content.decode()
    assert "NOT A PICTURE" in words(broken)
    assert "NO PICTURE" in words(without)
    for asked, forms in ((none, 1), (several, 2), (broken, 1), (without, 1)):
        assert hidden(asked, "quantity") == ["3"] * forms
        assert "8642" not in asked.content.decode()
        assert hidden(asked, "read") == []


def test_the_chosen_code_goes_on_with_a_bag_that_was_scanned_before_it(phone: Client, code: str) -> None:
    other = Stores().code("J03", "B2")
    address = "/issue/N?photographed=look:bag"
    first = phone.post(address, {"bag": "", "photo": picture(f"BAG {code}")})
    both = {"bag": [code, ""], "photo": picture(f"BAG {other}", "N-01-1")}
    asked = phone.post(address, both)

    assert first.headers["Location"] == f"/issue/N?bag=BAG+{code}"
    assert hidden(asked, "bag") == [code, code]  # to choose a button, and to type
    assert '<form method="get" action="/issue/N"' in asked.content.decode()
    assert "J03 V2" in words(phone.get(f"/issue/N?bag={code}&bag=BAG+{other}"))


def test_a_form_that_misses_more_is_shown_again_with_the_code_and_sent_once_nothing_is_missing(
    phone: Client, code: str
) -> None:
    _, step = first_step(code)
    put_in = f"/bags/{code}/put-in"
    empty = phone.get(put_in).content.decode()
    shown = send(
        phone, put_in, place="", read="", lot="", quantity="2", photographed="fill:", photo=picture(step.place.code),
        **{"photo-of": "place"},
    )  # fmt: skip

    assert 'value="fill:"' in empty
    assert f"READ {step.place.code}" in words(shown)
    page = shown.content.decode()
    assert f'name="place" value="{step.place.code}"' in page
    assert 'name="quantity" value="2"' in page
    assert 'value="act:"' in page  # with the carton everything is there
    rest = {"place": step.place.code, "lot": step.lot.number, "quantity": "1", "photo-of": "read"}
    done = send(phone, put_in, **rest, photographed="act:", photo=picture(step.lot.item.stock_code), action="P-2")
    assert BagEntry.objects.get().lot == Lot.objects.get(pk=step.lot.pk), words(done)


def test_a_picture_opens_no_page_to_forms_and_a_look_up_changes_nothing(phone: Client, code: str) -> None:
    looked = phone.post("/what?photographed=look:code", {"photo": picture(f"BAG {code}")})
    assert looked.headers["Location"] == f"/what?code=BAG+{code}"
    assert phone.post("/what?photographed=act:code", {"photo": picture("BI15")}).status_code == 303
    for address in ("/what", "/what?code=BI15"):
        assert phone.post(address, {"photographed": "act:code", "photo": picture("BI15")}).status_code == 405
    forged = Client(enforce_csrf_checks=True)
    forged.cookies = phone.cookies
    assert forged.post("/what?photographed=look:code", {"photo": picture("BI15")}).status_code == 403
    assert (
        Client()
        .post("/what?photographed=look:code", {"photo": picture("BI15")})
        .headers["Location"]
        .startswith("/sign-in")
    )


def test_a_device_that_locked_itself_keeps_what_was_typed_beside_the_picture(
    phone: Client, code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    check = f"/bags/{code}/check"
    phone.get(check)
    monkeypatch.setattr(idle, "IDLE_S", -1)
    locked = phone.post(check, {"quantity": "3", "photographed": "act:read", "photo": picture("EL15-1")})
    monkeypatch.undo()
    kept = phone.get("/typed")
    sent = send(phone, check, **{one: hidden(kept, one)[0] for one in ("quantity", "photographed")})

    assert locked.headers["Location"].startswith("/switch")
    assert "Quantity 3" in words(kept)
    assert "hotographed" not in words(kept)
    assert "NO PICTURE" in words(sent)
    assert hidden(sent, "quantity") == ["3"]
