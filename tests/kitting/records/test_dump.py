"""The records back as sheets: the same facts give the same bytes, and the same plan."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from record_books import AT, EVERYTHING, RUNS, STOCK, everything, load, rows_in_every_table

from inventory.models import Balance, Item, LotHold, OrderLine, Place
from jobs.models import CANCELLED, Job
from kitting.calculation.plan_result import Plan
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook, raw_book
from kitting.management.plan_run import TABLES
from kitting.selectors.sheets import sheets_from_records
from kitting.spreadsheets.reading import read_raw_book
from kitting.spreadsheets.writing import value_text

pytestmark = pytest.mark.django_db

FIXTURES = Path(__file__).parents[3] / "fixtures_demo"
AS_OF = date(2026, 3, 2)


@contextmanager
def other_books() -> Iterator[None]:
    """Whatever is loaded inside goes into books that are given up afterwards."""
    mark = transaction.savepoint()
    yield
    transaction.savepoint_rollback(mark)


def demo(which: str) -> RawBook:
    if which == "clean":
        return read_raw_book(FIXTURES / "clean")
    raw = read_raw_book(FIXTURES / "received")
    return raw_book([*raw.sheets.values(), read_raw_book(FIXTURES).sheets["answers"]])


def dump(path: Path) -> dict[str, bytes]:
    call_command("dump", str(path), stdout=io.StringIO())
    files = [path] if path.is_file() else sorted(path.iterdir())
    return {file.name if path.is_dir() else "": file.read_bytes() for file in files}


def tables(made: Plan) -> dict[str, list[list[str]]]:
    frames = {name: getattr(made, name) for name in TABLES}
    return {name: [[value_text(cell) for cell in row] for row in frame.to_numpy()] for name, frame in frames.items()}


@pytest.mark.parametrize("which", ["clean", "answered"])
def test_the_demo_comes_back_the_same_and_plans_the_same(which: str, tmp_path: Path) -> None:
    """Its dump, loaded into empty books, is dumped in the same bytes; records and dump are one, so is their plan."""
    received = demo(which)
    with other_books():
        load(received)
        first = dump(tmp_path / "first")
        sheets = sheets_from_records()
        stored = rows_in_every_table()
        assert not load(received)
        assert not load(read_raw_book(tmp_path / "first"))
        assert rows_in_every_table() == stored
    with other_books():
        load(read_raw_book(tmp_path / "first"))
        assert dump(tmp_path / "second") == first
    assert read_raw_book(tmp_path / "first").digest == sheets.digest
    from_records, from_file = (plan(read_book(raw), as_of=AS_OF) for raw in (sheets, received))
    assert tables(from_records) == tables(from_file)


def test_a_workbook_comes_back_the_same(tmp_path: Path) -> None:
    with other_books():
        load(everything())
        first = dump(tmp_path / "first.xlsx")
    with other_books():
        load(read_raw_book(tmp_path / "first.xlsx"))
        assert dump(tmp_path / "second.xlsx") == first


def test_the_order_of_loading_leaves_no_trace_in_the_dump() -> None:
    """What was loaded in two steps reads as if it had been loaded in one."""
    stock = EVERYTHING["stock"].splitlines()
    with other_books():
        load(everything(stock="\n".join([STOCK, *stock[2:]]), schedule="\n".join(reversed(RUNS))))
        load(everything())
        in_steps = sheets_from_records()
    load(everything())
    at_once = sheets_from_records()
    assert [sheet.cells.to_numpy().tolist() for sheet in in_steps.sheets.values()] == [
        sheet.cells.to_numpy().tolist() for sheet in at_once.sheets.values()
    ]


def test_a_row_that_an_answer_keeps_stays_kept_in_other_books() -> None:
    twice = "\n".join([*RUNS, "J2,1,S12,ABC,CT-A,P1,a,P2,a"])
    answer = (
        "sheet,key,column,read,value,by,on\n"
        'schedule,row 6,row,"P1 a to P2 a, ABC, S12",keep,R. Tolley,2026-03-02\n'
        "items,EL-1,description,Elbow small,Small elbow,R. Tolley,2026-03-02"
    )
    with other_books():
        load(everything(schedule=twice, answers=answer))
        sheets = sheets_from_records()
    assert sheets.sheets["answers"].cells.to_numpy().tolist() == [
        ["schedule", "J2/1", "row", "P1 a to P2 a, ABC, S12", "keep", "R. Tolley", "2026-03-02"]
    ]
    load(sheets)
    assert sheets_from_records().digest == sheets.digest


def test_a_lot_on_hold_lies_on_hold_wherever_it_is_and_loading_that_again_books_nothing() -> None:
    load(everything())
    hold = LotHold(item=Item.objects.get(stock_code="EL-1"), lot_number="L-1", reason="recalled", placed_by="M. Osei")
    hold.placed_at = AT
    hold.save()
    stock = sheets_from_records().sheets["stock"].cells.to_numpy().tolist()
    assert [(row[0], row[3]) for row in stock] == [("EL-1", "hold"), ("EL-2", "bin"), ("W", "reserve")]
    assert not load(sheets_from_records())
    assert not load(everything())
    assert Balance.objects.count() == 3


def test_what_was_staged_for_a_job_that_has_ended_is_kept_for_none_and_loading_that_books_nothing() -> None:
    bag = "stock code,depot,place,place kind,quantity,job\nEL-1,N,bag 1,bag,1,J2"
    load(everything(stock=bag))
    Job.objects.filter(job="J2").update(ended=CANCELLED)
    sheets = sheets_from_records()
    assert sheets.sheets["jobs"].cells[0].tolist() == ["J1"]
    assert sheets.sheets["stock"].cells[8].tolist() == [""]
    assert not load(sheets)


def test_an_order_shows_what_is_still_to_come_and_nothing_once_all_has_come() -> None:
    load(everything())
    OrderLine.objects.update(received=15_000)
    assert sheets_from_records().sheets["orders"].cells[3].tolist() == ["9"]
    OrderLine.objects.update(received=24_000)
    assert "orders" not in sheets_from_records().sheets


def test_an_emptied_bag_is_gone_and_an_empty_bin_is_still_a_bin() -> None:
    bag = "stock code,depot,place,place kind,quantity,job\nEL-1,N,A-1,bin,2,\nEL-2,N,bag 1,bag,1,J1"
    load(everything(stock=bag))
    Balance.objects.update(quantity=0)
    assert sheets_from_records().sheets["stock"].cells[2].tolist() == ["A-1"]


def test_a_bag_of_an_ended_job_raises_no_question_about_where_that_was_and_an_emptied_one_on_hold_is_gone() -> None:
    bags = "EL-1,N,bag 1,bag,L-1,2,J1,P1\nEL-1,N,bag 2,bag,L-2,1,J1,P2"
    load(everything(stock=f"stock code,depot,place,place kind,lot,quantity,job,structure\n{bags}"))
    hold = LotHold(item=Item.objects.get(stock_code="EL-1"), lot_number="L-1", reason="recalled", placed_by="M. Osei")
    hold.placed_at = AT
    hold.save()
    Job.objects.filter(job="J1").update(ended=CANCELLED)
    Place.objects.filter(code__startswith="bag").update(structure="a pole that no sheet declares")
    Balance.objects.filter(place__code="bag 1").update(quantity=0)
    sheets = sheets_from_records()
    assert [row[2:] for row in sheets.sheets["stock"].cells.to_numpy().tolist()] == [
        ["bag 2", "bag", "L-2", "", "1", "", "", ""]
    ]
    assert not read_book(sheets).questions
    assert not load(sheets)


def test_the_number_of_queries_of_a_dump_never_grows() -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            sheets_from_records()
        return len(seen)

    with other_books():
        load(everything())
        few = queries()
    more = "\n".join([STOCK, *(f"EL-1,N,X-{number},bin,L-{number},,1" for number in range(60))])
    load(everything(stock=more))
    assert queries() == few < 25
