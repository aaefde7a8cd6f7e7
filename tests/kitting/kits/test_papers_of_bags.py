"""The slips and records of a job say what the books of its bags say."""

import csv
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pypdfium2
import pytest
from bag_stores import CREW, OTHER_STORES, Stores, demo_sheets
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import DUTY
from refusals import refusal

from inventory.models import Item, Lot
from jobs.models import Job
from kitting.documents.bag_records import bag_papers
from kitting.errors import Refusal
from kitting.models import BagEntry, BagLine, Event, ExpiredUse, StandIn
from kitting.services.borrow_pieces import borrow
from kitting.services.emergency import open_emergency
from kitting.services.fill_bags import check, finish_short
from kitting.services.issue_bags import begin_work, stage
from kitting.services.return_bags import Installed, install, turn_in

pytestmark = pytest.mark.django_db


def a_short_bag_worked_with() -> None:
    """The demo with J03's V2 out, one seal short; an adapter fitted, a tee turned in."""
    made = Stores(prefix="before")
    made.plan()
    made.bags("J03")
    made.fetch("J03", "V2", but={"JS-3": 1})
    code = made.code("J03", "V2")
    finish_short(bag=code, cause="not in the bin", **made.scan())
    check(bag=code, counted=made.counted("J03", "V2"), **made.scan(OTHER_STORES))
    stage(bag=code, rack="R-1", **made.scan())
    made.issue("J03", "V2")
    begin_work(bag=code, **made.scan(CREW))
    lots = made.contents("J03", "V2").lots.values()
    adapter = next(lot for lot in lots if lot.item.stock_code == "CA-4")
    tee = next(lot for lot in lots if lot.item.stock_code == "T25")
    line = "J03/V2-a/r1-to/ABC/cable adapter"
    fitted = Installed(line=line, stock_code="CA-4", lot=adapter.number, quantity=2000, phase="AB", gauge="1.470 in")
    install(bag=code, pieces=[fitted], **made.scan(CREW))
    turn_in(
        bag=code, stock_code="T25", lot=tee.number, quantity=1000, condition="sealed", door="stock",
        place=made.place("N", "N-01-1"), **made.scan(),
    )  # fmt: skip


books = books_of_module(demo_sheets, a_short_bag_worked_with)


def test_the_issue_slip_names_what_went_out_and_who_let_it_go_short() -> None:
    slip = bag_papers("J03").issue
    assert (slip.crew, slip.truck, slip.cutover) == ("14", "14", "2026-03-12 08:00 America/Chicago")
    assert [(bag.location, bag.state) for bag in slip.bags] == [("V2", "SHORT: 1 JS-3")]
    assert {(line.stock_code, line.quantity) for line in slip.lines} >= {("CA-4", Decimal(3)), ("JS-3", Decimal(2))}
    assert [(one.what, one.why, one.approved_by) for one in slip.allowed] == [
        ("J03 V2 SHORT: 1 JS-3", "the rest follows by van", "J. Brandt")
    ]


def test_the_issue_slip_names_stand_ins_and_what_is_past_its_date_with_who_let_it_be() -> None:
    adapter, wanted = (Item.objects.get(stock_code=code) for code in ("CA-4", "CA-3"))
    lines = BagLine.objects.filter(bag__job__job="J03", item=adapter)
    lines.update(instead_of="CA-3")
    seal = BagEntry.objects.filter(line__bag__structure="V2", deed="issued", lot__item__stock_code="JS-3")[0].lot
    use = ExpiredUse(item=seal.item, lot_number=seal.number, job=Job.objects.get(job="J03"), quantity=2000)
    use.good_to, use.state, use.asked_at = date(2026, 3, 12), "approved", Stores().at
    use.asked_by, use.decided_by, use.why, use.decision = "I. Varga", "J. Brandt", "stored cool", "no other in reach"
    use.decided_at = Stores().at
    use.save()
    assert len(bag_papers("J03").issue.allowed) == 2, "in date it needed no leave"
    StandIn.objects.create(wanted=wanted, allowed=adapter, approved_by="I. Varga", reason="14 weeks")
    Lot.objects.filter(pk=seal.pk).update(use_by=date(2026, 3, 10))

    assert [(one.what, one.why, one.approved_by) for one in bag_papers("J03").issue.allowed[1:]] == [
        ("J03 V2: CA-4 STAND-IN for CA-3", "14 weeks", "I. Varga"),
        (f"J03 V2: {seal} PAST ITS DATE 2026-03-10", "stored cool; no other in reach", "I. Varga and J. Brandt"),
    ]


def test_the_return_slip_balances_each_lot_or_says_what_is_open() -> None:
    lines = {line.stock_code: line for line in bag_papers("J03").returned.lines}
    adapter, tee = lines["CA-4"], lines["T25"]
    assert (adapter.issued, adapter.installed, adapter.still_open) == (3, 2, 1)
    assert (tee.turned_in, tee.still_open, tee.condition) == (1, 2, "sealed to N/N-01-1")


def test_the_as_installed_record_names_end_lot_gauge_margin_and_rule() -> None:
    (end,) = bag_papers("J03").installed.ends
    assert (end.structure, end.end, end.phase, end.slot) == ("V2", "a-to", "AB", "cable adapter")
    assert (end.cable_type, end.gauge_reading, end.by) == ("CT-06", "1.470 in", "T. Ahola")
    # 1.470 in by the gauge, in the range 1.410-1.640 in: the smaller side is 0.060 in.
    assert end.fit_margin == "margin 1.52 mm (0.060 in), measured"
    assert end.rule.startswith("E-")


def test_the_margin_of_a_part_without_a_reading_is_that_of_the_plan_and_says_so() -> None:
    stores = Stores()
    line = "J03/V2-a/r1-to/ABC/cable adapter"
    lot = next(lot for lot in stores.contents("J03", "V2").lots.values() if lot.item.stock_code == "CA-4")
    fitted = Installed(line=line, stock_code="CA-4", lot=lot.number, quantity=1000, phase="C")

    def noted(gauge: str) -> None:
        install(bag=stores.code("J03", "V2"), pieces=[replace(fitted, gauge=gauge)], **stores.scan(CREW))

    assert "a length without a unit" in refusal("no-gauge-reading", noted, "1.470")
    assert "check the unit" in refusal("no-gauge-reading", noted, "1.470 mm")
    noted("")
    # The type's band is 1.436-1.505 in: the smaller side is 0.026 in.
    assert bag_papers("J03").installed.ends[-1].fit_margin == "margin 0.66 mm (0.026 in), from the table"


def test_a_part_that_does_not_fit_by_its_gauge_reading_is_noted_and_standards_hear() -> None:
    """Trap T21's cable, 0.045 in above what the part holds: what is there is there."""
    stores = Stores()
    lot = next(lot for lot in stores.contents("J03", "V2").lots.values() if lot.item.stock_code == "CA-4")
    fitted = Installed(
        line="J03/V2-a/r1-to/ABC/cable adapter", stock_code="CA-4", lot=lot.number, quantity=1000, phase="C",
        gauge="1.685 in",
    )  # fmt: skip
    install(bag=stores.code("J03", "V2"), pieces=[fitted], **stores.scan(CREW))

    told = "DOES NOT FIT, too small by 1.14 mm (0.045 in), measured"
    assert bag_papers("J03").installed.ends[-1].fit_margin == told
    event = Event.objects.filter(name="installed").latest("number")
    assert (event.addressed_to, event.data["why"]) == ("standards engineer", f"CA-4: {told}")


def test_a_borrow_has_its_note() -> None:
    stores = Stores()
    stores.fetch("J03", "B1")
    lot = next(lot for lot in stores.contents("J03", "B1").lots.values() if lot.item.stock_code == "EL15-3")
    opened = open_emergency(
        job="E01", structure="X", depot="N", wanted={"EL15-3": 1000}, why="dig-in", **stores.scan(DUTY)
    )
    check(bag=stores.code("J03", "B1"), counted=stores.counted("J03", "B1"), **stores.scan(OTHER_STORES))
    borrow(
        bag=stores.code("J03", "B1"), to_bag=stores.code("E01", "X"), stock_code="EL15-3", lot=lot.number,
        quantity=1000, why="dig-in", authoriser=DUTY, pay_back_by=date(2026, 3, 10), confirmed=("free-first/1",),
        **stores.scan(),
    )  # fmt: skip
    (note,) = bag_papers("J03").borrowed
    assert (note.to_job, note.why, note.pay_back_by, note.authorised_by) == ("E01", "dig-in", "2026-03-10", "J. Brandt")
    assert opened.bag.job.job == "E01"


def test_the_command_writes_them_and_a_second_print_says_so(tmp_path: Path) -> None:
    call_command("papers", "J03", "--out", str(tmp_path / "a"))
    call_command("papers", "J03", "--out", str(tmp_path / "b"))
    names = [
        "as-installed.csv", "as-installed.pdf", "bag-label.pdf", "inner-labels.pdf", "issue-slip.pdf",
        "night-card.pdf", "return-slip.csv", "return-slip.pdf",
    ]  # fmt: skip
    assert sorted(path.name for path in (tmp_path / "a").iterdir()) == names
    pages = [pypdfium2.PdfDocument(tmp_path / which / "issue-slip.pdf")[0] for which in "ab"]
    texts = [page.get_textpage().get_text_range() for page in pages]
    assert ["REPRINT 1" in text for text in texts] == [False, True]
    card = pypdfium2.PdfDocument(tmp_path / "b" / "night-card.pdf")
    fronts = [page.get_textpage().get_text_range() for page in card]
    assert any("SHORT: 1 JS-3" in text and "REPRINT 1" in text for text in fronts)
    rows = list(csv.DictReader((tmp_path / "a" / "return-slip.csv").read_text(encoding="utf-8-sig").splitlines()))
    assert {row["stock code"]: row["still open"] for row in rows}["CA-4"] == "1"


def test_a_job_that_is_not_there_or_has_no_bags_is_refused_in_words() -> None:
    with pytest.raises(Refusal, match="There is no job J99"):
        bag_papers("J99")
    with pytest.raises(Refusal, match="J12 has no bags on the books"):
        bag_papers("J12")


def test_the_papers_ask_the_books_the_same_few_times_however_many_bags_there_are() -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as found:
            bag_papers("J03")
        return len(found)

    before, stores = queries(), Stores()
    stores.fetch("J03", "V1")
    stores.fetch("J03", "B2")
    assert queries() <= before + 1
