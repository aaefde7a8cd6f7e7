"""Papers filled from the books, and the register of what was printed of them."""

import csv
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from itertools import count
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, transaction
from people import STORES
from warehouse import MONDAY, Warehouse, pieces

from inventory.errors import Refusal
from inventory.models import INSTALLED, Lot, LotHold, Transfer
from inventory.services.ending import Ended, end
from inventory.services.holding import place_hold
from inventory.services.reversing import reverse
from inventory.services.transferring import Load, Unload, receive_transfer, send_transfer
from kitting.documents.from_records import (
    hold_tag_of,
    lot_trace_of,
    transfer_slip_of,
)
from kitting.documents.lot_trace import COULD_BE, HOLDS, RECEIVED, WHERE
from kitting.documents.storm_records import movements_of_event, storm_use_of
from kitting.models import Event, Printing
from kitting.selectors.printings import superseded_print
from kitting.services.note_looking import LOOKED
from kitting.services.note_printing import note_printing

pytestmark = pytest.mark.django_db
_numbers = count(1)


@pytest.fixture
def warehouse() -> Warehouse:
    """Ten inserts of lot L-1 at N."""
    made = Warehouse()
    made.receive(10)
    return made


@pytest.fixture
def lot(warehouse: Warehouse) -> Lot:
    return warehouse.lot("L-1")


def ended(warehouse: Warehouse, lot: Lot, quantity: float, **given: Any) -> str:
    """Inserts that were installed from the bin; the number of the action."""
    used = Ended(lot=lot, quantity=pieces(quantity), source=warehouse.place("N/bin"), ending=INSTALLED)
    return end(pieces=[used], **warehouse.stamp(**given)).number


def sent(warehouse: Warehouse, lot: Lot, quantity: float) -> Transfer:
    load = Load(lot=lot, quantity=pieces(quantity), source=warehouse.place("N/bin"))
    send_transfer(transfer="T-1", to_depot=warehouse.hill, loads=[load], **warehouse.stamp())
    return Transfer.objects.get(number="T-1")


def printed(revision: str = "A", **given: Any) -> int:
    number = next(_numbers)
    stamp = {"actor": STORES, "at": MONDAY + timedelta(minutes=number), "action": f"print-{number}", **given}
    return note_printing(document="bag label", subject="J03-V1-6", revision=revision, **stamp)


def test_a_trace_from_the_books_adds_up_and_names_holds_and_pieces_of_an_unknown_lot(
    warehouse: Warehouse, lot: Lot
) -> None:
    ended(warehouse, lot, 3)
    warehouse.receive(2, lot="")
    place_hold(stock_code="BI15", lot="L-1", reason="recall", **warehouse.stamp())
    found = lot_trace_of(item=lot.item, lot="L-1", why="recall", zone=UTC)
    assert found.total_text == "TOTAL 10 of 10 ea received: adds up"
    assert [(line.what, int(line.quantity or 0)) for line in found.lines if line.part == WHERE] == [
        ("N/bin (bin)", 7), ("installed", 3)
    ]  # fmt: skip
    assert sum(line.quantity or 0 for line in found.lines if line.part == RECEIVED) == 10
    assert [line.whose for line in found.lines if line.part == HOLDS] == ["recall · Ana"]
    assert [int(line.quantity or 0) for line in found.lines if line.part == COULD_BE] == [2]


def test_a_trace_of_a_past_moment_knows_nothing_that_came_later(warehouse: Warehouse, lot: Lot) -> None:
    then = MONDAY + timedelta(minutes=1)
    ended(warehouse, lot, 3)
    before = lot_trace_of(item=lot.item, lot="L-1", as_of=then, zone=UTC)
    assert [(line.what, int(line.quantity or 0)) for line in before.lines if line.part == WHERE] == [
        ("N/bin (bin)", 10)
    ]
    assert before.total_text == "TOTAL 10 of 10 ea received: adds up"


@pytest.mark.usefixtures("warehouse")
def test_the_command_writes_the_report_in_three_forms_and_notes_each(tmp_path: Path) -> None:
    for suffix in ("pdf", "xlsx", "csv"):
        call_command("trace", "BI15", "L-1", "--out", str(tmp_path / f"trace.{suffix}"), "--why", "recall")
    assert (tmp_path / "trace.pdf").read_bytes().startswith(b"%PDF")
    assert openpyxl.load_workbook(tmp_path / "trace.xlsx").sheetnames[0] == "received"
    with (tmp_path / "trace.csv").open(encoding="utf-8-sig", newline="") as file:
        assert {row["lot"] for row in csv.DictReader(file)} == {"L-1"}
    assert Printing.objects.count() == Event.objects.filter(name="printed").count() == 3
    proofs = [one.data["digest"] for one in Event.objects.filter(name="file written").order_by("number")]
    assert proofs == [sha256((tmp_path / f"trace.{one}").read_bytes()).hexdigest() for one in ("pdf", "xlsx", "csv")]
    assert [one.subject for one in Event.objects.filter(name=LOOKED)] == ["BI15 lot L-1"]
    call_command("trace", "BI15", "L-1", "--out", str(tmp_path / "trace.pdf"), "--why", "recall")
    assert Printing.objects.get(document="lot trace.pdf", number=1).subject == "BI15 lot L-1"
    with pytest.raises(CommandError, match=r"end the name in \.pdf"):
        call_command("trace", "BI15", "L-1", "--out", str(tmp_path / "trace.doc"))
    with pytest.raises(CommandError, match="is no day; write it as 2026-03-02"):
        call_command("trace", "BI15", "L-1", "--from", "march")
    days = ("--from", "2026-03-01", "--to", "2026-03-31", "--place", "N/bin")
    call_command("trace", "BI15", "L-1", *days, "--out", str(tmp_path / "march.csv"))
    assert (tmp_path / "march.csv").exists()


def test_a_transfer_slip_is_filled_before_and_after_the_van_is_counted_out(warehouse: Warehouse, lot: Lot) -> None:
    transfer = sent(warehouse, lot, 6)
    (line,) = transfer_slip_of(transfer, UTC).lines
    assert (line.stock_code, line.sent, line.counted) == ("BI15", 6, None)
    unload = Unload(lot=lot, counted=pieces(4), target=warehouse.place("H/bin"))
    receive_transfer(transfer="T-1", unloads=[unload], **warehouse.stamp(by="Ben"))
    slip = transfer_slip_of(Transfer.objects.get(number="T-1"), UTC)
    assert (slip.packed_by, slip.received_by, slip.lines[0].difference) == ("Ana", "Ben", "2 ea MISSING")


def test_a_hold_tag_is_filled_from_the_hold(warehouse: Warehouse) -> None:
    place_hold(stock_code="BI15", lot="L-1", reason="recall", **warehouse.stamp())
    tag = hold_tag_of(LotHold.objects.get(), where="N/bin", zone=UTC)
    assert (tag.lot, tag.reason, tag.placed_by, tag.where) == ("L-1", "recall", "Ana", "N/bin")
    assert tag.placed_at.startswith("2026-03-02 07:")


def test_a_storm_use_report_takes_what_an_event_used_less_what_was_reversed(warehouse: Warehouse, lot: Lot) -> None:
    wrong = ended(warehouse, lot, 2, paper="E01")
    ended(warehouse, lot, 3, paper="E01")
    ended(warehouse, lot, 1, paper="E02")
    reverse(reversed_action=wrong, why="another event", **warehouse.stamp())
    use = storm_use_of("E01", "dig-in", movements_of_event("E01"), UTC)
    assert sum(line.quantity for line in use.lines) == 3
    assert [int(line.quantity) for line in storm_use_of("E02", "", movements_of_event("E02"), UTC).lines] == [1]


def test_the_second_print_of_a_revision_is_reprint_1_and_a_repeated_request_is_one_print() -> None:
    assert printed() == 0
    assert printed() == 1
    again = {"action": "print-same", "at": datetime(2026, 3, 3, tzinfo=UTC)}
    assert printed(**again) == printed(**again) == 2
    assert printed("B") == 0
    assert Printing.objects.count() == Event.objects.filter(name="printed").count() == 4
    with pytest.raises(Refusal) as refused:
        printed("C", **again)
    assert refused.value.code == "action-number-used"


def test_a_print_of_an_older_revision_is_superseded_and_the_latest_is_not() -> None:
    printed("A")
    assert not superseded_print(document="bag label", subject="J03-V1-6", revision="A")
    printed("B")
    said = superseded_print(document="bag label", subject="J03-V1-6", revision="A")
    assert said.startswith("SUPERSEDED BY REV B")
    assert not superseded_print(document="bag label", subject="J03-V1-6", revision="B")


def test_the_register_of_prints_is_never_edited() -> None:
    printed()
    for change in (lambda: Printing.objects.update(number=7), lambda: Printing.objects.all().delete()):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            change()
    assert Printing.objects.get().number == 0
