"""Any code that is scanned or typed is named, or said not to be ours."""

from datetime import date

import pytest
from bag_stores import Stores, demo_sheets, planned
from django.core.management import call_command
from module_books import books_of_module
from refusals import refusal

from inventory.models import Item, LotHold, OldCode
from kitting.selectors.what_is_this import what_is

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, planned)
TODAY = date(2026, 3, 2)
GTIN = "09506000134352"


def test_a_bag_says_what_it_lacks_where_it_is_and_what_comes_next() -> None:
    stores = Stores()
    stores.bags("J03")
    stores.ready("J03", "B1", rack="R-1")
    (found,) = what_is(stores.code("J03", "B1").lower(), today=TODAY)
    assert (found.kind, found.name, found.told[:2]) == ("bag", "J03 B1", ("FULL", "staged, R-1"))
    assert found.told[-1] == "next: stage, issue, send whole, reopen, hold, borrow, cancel"


def test_a_carton_is_found_by_its_number_and_says_lot_date_and_hold() -> None:
    splice = Item.objects.get(stock_code="CS15-2")
    carton = f"(01){GTIN}(10)L-2303B(17)260331(37)3"
    assert f"under {GTIN}: add the number" in refusal("unknown-carton", what_is, carton, today=TODAY)
    OldCode.objects.create(code=GTIN, item=splice)
    (found,) = what_is(carton, today=TODAY)
    assert (found.name, found.told) == ("CS15-2", ("lot L-2303B", "use by 2026-03-31", "3 ea in it"))
    LotHold.objects.create(item=splice, lot_number="L-2303B", reason="torn", placed_by="Ana", placed_at=Stores().at)
    assert "HELD: torn" in what_is(carton, today=TODAY)[0].told
    (other,) = what_is("(241)CS15-2(10)L-2303B(17)270331", today=TODAY)
    assert "the books say use by 2026-03-31: read the carton again" in other.told


def test_a_lot_number_is_named_with_its_item_its_date_and_what_stops_it() -> None:
    splice = Item.objects.get(stock_code="CS15-2")
    LotHold.objects.create(item=splice, lot_number="L-2303B", reason="torn", placed_by="Ana", placed_at=Stores().at)
    (held,) = what_is("L-2303B", today=TODAY)
    (free,) = what_is("L-2409-17", today=TODAY)
    assert (held.kind, held.name, held.told[1:]) == ("lot", "CS15-2 lot L-2303B", ("use by 2026-03-31", "HELD: torn"))
    assert (free.code, free.told[1:]) == ("BI25/L-2409-17", ("no shelf life",))


def test_an_old_code_a_reel_and_a_place_are_named_and_anything_else_is_not_ours() -> None:
    (item,) = what_is("0457-BI", today=TODAY)
    assert (item.kind, item.name, item.told[1]) == ("stock code", "BI15", "old code 0457-BI")
    assert what_is("R-1188", today=TODAY)[0].told == ("cable type CT-01",)
    assert what_is("H-04-2", today=TODAY)[0].kind == "place"
    assert "is not ours" in refusal("not-ours", what_is, "XYZ", today=TODAY)
    assert "EL15-2" in refusal("not-ours", what_is, "EL15-22", today=TODAY)


def test_the_command_says_it_too(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("what", "R-1188")
    assert capsys.readouterr().out == "reel R-1188\n    cable type CT-01\n"
