"""An end's record is open until every phase is there, and what was taken off again stays visible."""

from datetime import UTC, datetime
from typing import Any

import pytest
from bag_stores import CREW, OTHER_STORES, Stores, demo_sheets
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, DUTY
from refusals import refusal

from inventory.models import Balance, Item, Lot
from kitting.documents.as_installed import as_installed_record
from kitting.documents.bag_records import bag_papers
from kitting.documents.from_records import lot_trace_of
from kitting.documents.lot_trace import INSTALLED as AT_ENDS
from kitting.documents.record_papers import Printed
from kitting.models import Event, Retired
from kitting.selectors.installed_ends import ends_of, history
from kitting.selectors.recheck_installed import recheck_installed
from kitting.services.emergency import open_emergency
from kitting.services.fill_bags import check
from kitting.services.issue_bags import begin_work, stage
from kitting.services.retire_parts import retire
from kitting.services.return_bags import Installed, install, write_off

pytestmark = pytest.mark.django_db
ELBOW = "J01/A1-a/r1-from/ABC/elbow"
LATER = datetime(2026, 3, 20, 13, 0, tzinfo=UTC)


def a_pad_in_work() -> None:
    """The demo with J01's first pad begun."""
    made = Stores(prefix="before")
    made.plan()
    made.out("J01", "A1")
    begin_work(bag=made.code("J01", "A1"), **made.scan(CREW))


books = books_of_module(demo_sheets, a_pad_in_work)


@pytest.fixture
def stores() -> Stores:
    """The day after."""
    return Stores(datetime(2026, 3, 6, 13, 0, tzinfo=UTC))


def parts(stores: Stores, phases: str, *kinds: str) -> list[Installed]:
    """One piece a phase of each line of the pad's end, of these kinds where any are named."""
    contents = stores.contents("J01", "A1")
    return [
        Installed(line=stand.line.line, stock_code=contents.lots[lot].item.stock_code, lot=contents.lots[lot].number,
                  quantity=inside // 3, phase=phase)
        for stand in contents.lines
        if stand.line.facts.get("position") and (not kinds or stand.line.facts["kind"] in kinds)
        for lot, inside in stand.inside.items()
        if inside
        for phase in phases
    ]  # fmt: skip


def fit(stores: Stores, phases: str, *kinds: str) -> None:
    """Fit one piece a phase."""
    install(bag=stores.code("J01", "A1"), pieces=parts(stores, phases, *kinds), **stores.scan(CREW))


def off(stores: Stores, lot: str, **given: Any) -> dict[str, Any]:
    """One elbow taken off phase B."""
    return {
        "structure": "A1", "position": "a", "stock_code": "EL15-2", "lot": lot, "quantity": 1000, "phase": "B",
        "why": "tracked", "fate": "failure study", **stores.scan(CREW), **given,
    }  # fmt: skip


def test_two_of_three_phases_leave_the_record_open_with_the_phase_named_and_the_third_closes_it(stores: Stores) -> None:
    pieces = parts(stores, "ABC")
    two = [piece for piece in pieces if piece.phase != "C"]
    install(bag=stores.code("J01", "A1"), pieces=two, **stores.scan(CREW))
    (end,) = ends_of("J01")
    assert end.is_open
    assert [*end.missing] == ["C"]
    assert end.sentence.startswith("A1-a is open: phase C lacks 1 elbow, 1 elbow connector, 1 probe")
    third = [piece for piece in pieces if piece.phase == "C"]
    install(bag=stores.code("J01", "A1"), pieces=third, **stores.scan(CREW))
    (end,) = ends_of("J01")
    assert (end.is_open, end.sentence) == (False, "A1-a is complete")


def test_an_end_of_which_nothing_was_noted_is_open_on_all_phases_while_the_crew_has_its_pieces(stores: Stores) -> None:
    (end,) = ends_of("J01")
    assert [*end.missing] == ["A", "B", "C"]
    assert ends_of("J02") == []
    assert stores.bag("J01", "A1").state == "in work"


def test_pieces_noted_without_a_phase_make_up_a_whole_end_only_where_none_is_missing(stores: Stores) -> None:
    (one, *_) = parts(stores, "A", "elbow")
    bag = stores.code("J01", "A1")
    two = Installed(line=ELBOW, stock_code=one.stock_code, lot=one.lot, quantity=2000)
    install(bag=bag, pieces=[two], **stores.scan(CREW))
    assert ends_of("J01")[0].sentence.endswith("2 noted without a phase")
    install(bag=bag, pieces=[Installed(line=ELBOW, stock_code=one.stock_code, lot=one.lot, quantity=1000)],
            **stores.scan(CREW))  # fmt: skip
    assert all("elbow" not in kinds for kinds in ends_of("J01")[0].missing.values())


def test_a_spare_that_is_fitted_at_a_named_position_completes_its_end(stores: Stores) -> None:
    """Trap T20: a copper lug of V1 falls in the sump, and the spare goes on in its place."""
    stores.out("J03", "V1")
    bag = stores.code("J03", "V1")
    lugs = {stand.line.spare: stand for stand in stores.contents("J03", "V1").lines
            if stand.line.item and stand.line.item.stock_code == "LUG-750C"}  # fmt: skip
    lot = next(iter(stores.contents("J03", "V1").lots[number].number for number in lugs[False].inside))
    lug = Installed(line=lugs[False].line.line, stock_code="LUG-750C", lot=lot, quantity=2000, phase="AB")
    install(bag=bag, pieces=[lug], **stores.scan(CREW))
    where = lugs[False].line.facts["position"]
    write_off(bag=bag, stock_code="LUG-750C", lot=lot, quantity=1000, deed="lost", why="sump", **stores.scan(CREW))
    missing = {end.position: end.missing for end in ends_of("J03")}
    assert missing[where]["C"]["lug"] == 1000
    inside = {stand.line.spare: stand.open for stand in stores.contents("J03", "V1").lines
              if stand.line.item and stand.line.item.stock_code == "LUG-750C"}  # fmt: skip
    line = next(lugs[spare].line.line for spare, left in inside.items() if left)
    last = Installed(line=line, stock_code="LUG-750C", lot=lot, quantity=1000, phase="C", position=where)
    install(bag=bag, pieces=[last], **stores.scan(CREW))
    missing = {end.position: end.missing for end in ends_of("J03")}
    assert "lug" not in missing[where]["C"]


def test_the_record_on_paper_names_what_is_missing(stores: Stores) -> None:
    fit(stores, "AB", "elbow")
    record = bag_papers("J01").installed
    (told,) = record.open_ends
    assert told.startswith("A1-a is open: phase A lacks 1 elbow connector")
    assert as_installed_record(record, Printed("2026-03-06", None, "T. Ahola")).startswith(b"%PDF")


def test_retiring_keeps_the_old_lot_beside_the_new_one_with_both_dates(stores: Stores) -> None:
    fit(stores, "ABC", "elbow")
    (old, *_) = history("A1", "a")
    lot = old.entry.lot.number
    later = Stores(LATER, prefix="later")
    (gone,) = retire(**off(later, lot))
    assert (gone.entry.phase, gone.quantity, gone.fate) == ("B", 1000, "failure study")
    replace_from_emergency(later)
    told = [one.sentence for one in history("A1", "a")]
    assert f"phase B: 1 EL15-2 lot {lot} since 2026-03-06 (J01); 1 retired 2026-03-20: tracked" in told
    assert told[-1] == "phase B: 1 EL15-2 lot L-2601 since 2026-03-20 (E01)"
    trace = lot_trace_of(item=Item.objects.get(stock_code="EL15-2"), lot=lot, zone=UTC)
    assert any("1 retired 2026-03-20" in line.what for line in trace.lines if line.part == AT_ENDS)
    assert Event.objects.filter(name="part retired", subject="A1-a", addressed_to="auditor").exists()


def replace_from_emergency(stores: Stores) -> None:
    """An elbow of a new lot, fitted on phase B from an emergency's bag, whose lines name no position."""
    item, shelf = Item.objects.get(stock_code="EL15-2"), stores.place("N", "N-NEW")
    Balance.objects.create(place=shelf, lot=Lot.objects.create(item=item, number="L-2601"), quantity=1000)
    wanted = {"EL15-2": 1000}
    open_emergency(job="E01", structure="A1", depot="N", wanted=wanted, why="tracked", **stores.scan(DUTY))
    stores.pick("E01", "A1", "EL15-2", "L-2601", shelf, 1)
    code, (line,) = stores.code("E01", "A1"), stores.contents("E01", "A1").lines
    check(bag=code, counted=wanted, **stores.scan(OTHER_STORES))
    stage(bag=code, rack="R-9", **stores.scan())
    stores.issue("E01", "A1")
    new = Installed(line=line.line.line, stock_code="EL15-2", lot="L-2601", quantity=1000, phase="B", position="a")
    install(bag=code, pieces=[new], **stores.scan(CREW))


def test_a_lot_that_is_not_on_the_end_is_refused_with_what_is_there(stores: Stores) -> None:
    fit(stores, "ABC", "elbow")
    lot = history("A1", "a")[0].entry.lot.number
    said = refusal("not-on-that-end", retire, **off(stores, "L-ELSE"))
    assert said.startswith("A1-a does not hold 1 EL15-2 lot L-ELSE. On it: phase A: 1 EL15-2 lot")
    retire(**off(stores, lot))
    assert "does not hold 1 EL15-2" in refusal("not-on-that-end", retire, **off(stores, lot))
    assert "nothing on the books" in refusal("not-on-that-end", retire, **off(stores, lot, structure="A9"))


def test_retired_parts_need_a_reason_a_fate_and_the_right_and_never_go_to_stock(stores: Stores) -> None:
    fit(stores, "ABC", "elbow")
    lot = history("A1", "a")[0].entry.lot.number
    assert "needs a reason" in refusal("no-reason", retire, **off(stores, lot, why=" "))
    assert "never to stock" in refusal("unknown-fate", retire, **off(stores, lot, fate="stock"))
    assert "Say how many" in refusal("moves-nothing", retire, **off(stores, lot, quantity=0))
    assert "may not do" in refusal("not-allowed", retire, **off(stores, lot, actor=BUYER))
    given = off(stores, lot)
    assert retire(**given) == retire(**given)
    assert Retired.objects.count() == 1


def test_what_is_off_the_line_is_not_rechecked_and_its_record_is_never_edited(stores: Stores) -> None:
    fit(stores, "ABC", "elbow")
    lot, before = history("A1", "a")[0].entry.lot.number, recheck_installed().checked
    retire(**off(stores, lot))
    assert recheck_installed().checked == before - 1000
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Retired.objects.update(why="other")


def test_more_ends_cost_no_more_queries(stores: Stores) -> None:
    fit(stores, "A")
    with CaptureQueriesContext(connection) as one:
        ends_of("J01")
    stores.ready("J01", "A2")
    stores.issue("J01", "A2")
    with CaptureQueriesContext(connection) as two:
        assert len(ends_of("J01")) == 3
    assert len(two) == len(one)
