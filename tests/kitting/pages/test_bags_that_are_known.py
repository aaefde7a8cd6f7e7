"""What a bag's page remembers, what its old label says, and who signs for it."""

import pytest
from bag_stores import Stores, demo_sheets
from browsing import PIN, bags_listed, send, sign_in_name, words
from django.test import Client
from module_books import books_of_module
from people import CREW

from kitting.calculation.bag_states import ON_HOLD
from kitting.models import Bag, Event

pytestmark = pytest.mark.django_db


books = books_of_module(demo_sheets, bags_listed)


@pytest.fixture
def stores() -> Stores:
    return Stores()


def test_an_old_label_says_what_has_changed_where_it_is_scanned(stores: Stores, window: Client) -> None:
    """Trap T49: printed on revision A; revision B changes V2 and leaves B1 as it was."""
    for structure in ("B1", "V2"):
        stores.ready("J03", structure, rack=f"R-{structure}")
    stores.revise("J03", "B", "V2", "AB")
    stores.plan()
    changed, good = (f"BAG {stores.code('J03', one)} REV A | {one} | J03" for one in ("V2", "B1"))

    what = window.get("/what", {"code": changed})
    door = words(window.get("/issue/N", {"bag": changed}))
    out = words(window.get("/issue/N", {"bag": good}))

    assert what.status_code == 200
    assert "SUPERSEDED BY REV B this label is of rev A. Since then: 2 T25 put on the list" in words(what)
    assert "SUPERSEDED BY REV B this label is of rev A. Since then:" in door
    assert "Out with the crew" not in door
    assert "nothing in this bag has changed, it is still good" in out
    assert "Out with the crew" in out


def test_the_history_of_a_bag_names_every_deed_and_who_did_it_in_its_order(stores: Stores, window: Client) -> None:
    """F13: from the record of events."""
    stores.ready("J03", "B2", rack="R-4")
    bag = f"/bags/{stores.code('J03', 'B2')}"
    send(window, f"{bag}/reopen", why="a cap looks wrong")
    send(window, f"{bag}/cancel", why="the outage is off")

    told = words(window.get(bag)).partition("Who did what, the last first")[2]

    order = ["cancelled: the outage is off", "reopened: a cap looks wrong", "staged: rack R-4; FULL", "checked",
             "picked ", "listed: revision A"]  # fmt: skip
    assert [one for one in order if one not in told] == []
    assert [told.index(one) for one in order] == sorted(told.index(one) for one in order)
    assert "L. Fenn: checked" in told
    assert "M. Osei: reopened" in told


def test_a_bag_that_cannot_go_says_why_and_is_left_out_of_the_list(stores: Stores, window: Client) -> None:
    held, good = stores.code("J03", "B1"), stores.code("J03", "B2")
    for one in ("B1", "B2"):
        stores.ready("J03", one, rack=f"R-{one}")
    Bag.objects.filter(job__job="J03", structure="B1").update(state=ON_HOLD, why="lot L-1 is cracked")

    both = window.get("/issue/N", {"bag": [held, good]})
    assert "J03 B1 ON HOLD: it is on hold and can't go. Lot L-1 is cracked" in words(both)
    assert f'href="/issue/N?bag={good}"' in both.content.decode()
    assert "can't go" not in words(window.get("/issue/N", {"bag": good}))


def test_a_crew_lead_with_an_account_signs_by_their_own_pin_and_another_name_is_typed(
    stores: Stores, window: Client
) -> None:
    codes = {one: stores.code("J03", one) for one in ("B1", "B2")}
    for one in codes:
        stores.ready("J03", one, rack=f"R-{one}")
    out = {"crew": "Crew 14", "truck": "14"}

    unsigned = send(window, "/issue/N", bags=codes["B1"], **out, signature="T. Ahola")
    wrong = send(window, "/issue/N", bags=codes["B1"], **out, signature=sign_in_name(CREW), crew_pin="0000")
    assert "WRONG PIN T. Ahola has an account here" in words(unsigned)
    assert "WRONG PIN" in words(wrong)
    assert all(f'value="{text}"' in unsigned.content.decode() for text in (*out.values(), "T. Ahola"))
    assert "0000" not in wrong.content.decode()
    assert stores.bag("J03", "B1").state == "staged"
    signed = send(window, "/issue/N", bags=codes["B1"], **out, signature=sign_in_name(CREW), crew_pin=PIN)
    typed = send(window, "/issue/N", bags=codes["B2"], **out, signature="P. Somebody")
    assert "OUT J03 B1" in words(signed)
    assert "OUT J03 B2" in words(typed)
    said = [Event.objects.get(name="bag issued", subject=f"J03 {one}").data["signature"] for one in codes]
    assert said == ["T. Ahola, by PIN", "P. Somebody"]
