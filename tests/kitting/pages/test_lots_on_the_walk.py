"""The lot of a piece on the walk past the bins, and what comes after the walk."""

from datetime import date

import pytest
from bag_stores import Stores, demo_sheets
from browsing import bags_listed, browser_of, send, words
from module_books import books_of_module
from people import STORES

from inventory.models import Balance, Item, Lot
from kitting.pages.pick_pages import key_of
from kitting.selectors.pick_walk import Step, pick_walk

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, bags_listed)


def lie_there_too(step: Step, number: str, use_by: str) -> None:
    """Pieces of another lot in the bin of a step."""
    lot = Lot.objects.create(item=step.lot.item, number=number, use_by=date.fromisoformat(use_by))
    Balance.objects.create(place=step.place, lot=lot, quantity=step.quantity)


def test_a_lot_is_judged_as_soon_as_it_is_scanned() -> None:
    window, code = browser_of(STORES), Stores().code("J03", "V1")
    step = next(one for one in pick_walk(depot="N", bags=[code]) if one.lot.number)
    lie_there_too(step, "L-GOOD", "2030-01-31")
    lie_there_too(step, "L-OLD", "2026-03-05")
    scanned = {"place": step.place.code, "read": step.lot.item.stock_code}
    address = f"/pick/N?bag={code}&place={scanned['place']}&read={scanned['read']}"

    def said(lot: str) -> str:
        return words(send(window, address, step=key_of(step), **scanned, lot=lot))

    assert "has no lot L-NO" in said("L-NO")
    assert "EXPIRES BEFORE CUTOVER" in (past := said("L-OLD"))
    assert "Scan or type the lot on the piece" in past
    other, right = said("L-GOOD"), said(step.lot.number)
    assert f"WRONG LOT – STILL GOOD This is lot L-GOOD. Put it back and take lot {step.lot.number}" in other
    assert "right item and lot" not in other
    assert "right item and lot" in right
    assert "This is lot" not in right


def test_what_is_typed_on_the_walk_may_be_in_small_letters_and_a_place_that_is_none_is_said_to_be_none() -> None:
    window, code = browser_of(STORES), Stores().code("J03", "V1")
    step = next(one for one in pick_walk(depot="N", bags=[code]) if one.lot.number)
    small = {"place": step.place.code.lower(), "read": step.lot.item.stock_code.lower()}

    def said(**scanned: str) -> str:
        return words(send(window, f"/pick/N?bag={code}", step=key_of(step), **scanned))

    assert "Right bin, right item and lot" in said(**small, lot=step.lot.number.lower())
    lie_there_too(step, step.lot.number.lower(), "2030-01-31")  # now the capitals tell two lots apart
    assert "WRONG LOT – STILL GOOD" in said(**small, lot=step.lot.number.lower())
    assert "has no lot L-NO" in said(**small, lot="L-NO")
    assert f"WRONG BIN depot N has no place attic; go to {step.place.code}" in said(place="attic")
    assert f"WRONG BIN nothing was scanned; go to {step.place.code}" in said(place="")


def test_a_carton_with_another_date_than_the_books_have_for_its_lot_is_set_aside() -> None:
    window, code = browser_of(STORES), Stores().code("J03", "V1")
    step = next(one for one in pick_walk(depot="N", bags=[code]) if one.lot.number)
    lie_there_too(step, "L-GOOD", "2030-01-31")

    def scanned(day: str) -> str:
        carton = f"(241){step.lot.item.stock_code}(17){day}(10)L-GOOD"
        return words(send(window, f"/pick/N?bag={code}", step=key_of(step), place=step.place.code, read=carton))

    assert "TWO DATES" not in scanned("300131")
    assert "TWO DATES" not in scanned("300100"), "the whole month"
    told = scanned("260305")
    assert "TWO DATES" in told
    assert "the carton says use by 2026-03-05, the books 2030-01-31" in told


def test_the_walk_tells_what_never_goes_out_of_date_from_what_has_lost_its_date() -> None:
    window, code = browser_of(STORES), Stores().code("J03", "V1")
    step = pick_walk(depot="N", bags=[code])[0]
    for months, use_by, said in (
        (None, None, "no shelf life"), (24, None, "use-by DATE UNKNOWN"), (24, date(2031, 5, 31), "use by 2031-05-31"),
    ):  # fmt: skip
        Lot.objects.filter(pk=step.lot.pk).update(use_by=use_by)
        Item.objects.filter(pk=step.lot.item_id).update(shelf_months=months)
        walk = words(window.get(f"/pick/N?bag={code}&place={step.place.code}"))
        assert f", {said}" in walk


def test_too_many_are_refused_and_only_the_number_is_asked_again() -> None:
    window, code = browser_of(STORES), Stores().code("J03", "V1")
    step = next(one for one in pick_walk(depot="N", bags=[code]) if one.lot.number)
    lie_there_too(step, "L-GOOD", "2030-01-31")
    scanned = {"place": step.place.code, "read": step.lot.item.stock_code, "quantity": "30"}

    def said(lot: str, **typed: str) -> str:
        return words(send(window, f"/pick/N?bag={code}", step=key_of(step), **{**scanned, **typed}, lot=lot))

    assert "HOW MANY '1,5': comma as decimal point? Did you mean 1.5?" in said(step.lot.number, quantity="1,5")
    assert "NO PART OF A PIECE" in said(step.lot.number, quantity="0.5")
    assert "TOO MANY J03 V1 wants" in said(step.lot.number)
    assert "How many go in" in (too_many := said(step.lot.number))
    assert "30" in too_many
    assert "Scan the carton" in said("L-GOOD")


def test_a_walk_that_is_done_leads_to_the_bags_that_nobody_has_checked_yet() -> None:
    stores, window = Stores(), browser_of(STORES)
    code = stores.code("J03", "V1")
    stores.fetch("J03", "V1")

    done = words(window.get(f"/pick/N?bag={code}"))
    bag = words(window.get(f"/bags/{code}"))
    assert "Nothing to pick" in done
    assert "Not checked yet Bag Label Next J03 V1 PICKING check" in done
    assert "J03 V2" not in done
    assert "What comes next Check" in bag
    assert "That is all there is: finish it short: not now. Nothing is missing: have it checked." in bag
