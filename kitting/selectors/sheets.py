"""All sheets as the records have them, in our own form: what planning from records reads, and what a dump holds."""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date

from django.db import connection, transaction
from django.db.models import QuerySet

from inventory.models import BAG, HOLD, LENT, STAGING, TRUCK, VAN, OldCode
from jobs.models import Job
from kitting.calculation.natural_order import natural_rank
from kitting.calculation.rule_book import DEFAULT_REVISION
from kitting.calculation.sheets.all_sheets import ANSWERS, RULES, SHEETS
from kitting.calculation.sheets.answers import KEEP, WHOLE_ROW
from kitting.calculation.sheets.parsers import plain
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet
from kitting.calculation.sheets.stock_sheets import STOCK
from kitting.models import Answer
from kitting.selectors.record_sheets import OLD_CODES, RECORDS, SheetRecords, records_of_jobs, records_of_sheets
from kitting.selectors.rule_revisions import live_rules
from kitting.selectors.stock_on_books import ended_jobs, lots_on_hold

_PASSING_KINDS = {STAGING, BAG, TRUCK, VAN, LENT}  # what was emptied there is no fact any more; an empty bin still is

Rows = list[tuple[str, ...]]


@contextmanager
def one_moment() -> Iterator[None]:
    """All reads inside see the records as of one moment, whatever others write meanwhile."""
    outermost = not connection.in_atomic_block
    with transaction.atomic():
        if outermost and connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        yield


def sheets_from_records(on: date | None = None) -> RawBook:
    """Every sheet that has rows or must be there, in a fixed order of rows; the number of queries never grows.

    Blank cells that mean something are filled in, lengths are in the unit of our headers, answers are in their cells;
    only those that keep a doubtful row of the schedule stand beside them. A lot on hold lies on hold, wherever it is.
    The rules are those that are live on a day, today where none is named.
    """
    return _book(RECORDS, on)


def sheets_to_check_from_records(names: Collection[str]) -> RawBook:
    """As ``sheets_from_records``, with rows on these sheets only: nobody plans with them."""
    return _book(records_of_sheets(names), None)


def sheets_of_jobs(jobs: QuerySet[Job], on: date | None = None) -> RawBook:
    """The sheets that say what these jobs ask for, also of those that have ended; the number of queries never grows.

    Stock, orders, levels and pins are left out: nobody plans with these sheets.
    """
    return _book(records_of_jobs(jobs), on)


def _book(declared: Mapping[str, SheetRecords], on: date | None) -> RawBook:
    sheets = {name: _sheet(records) for name, records in declared.items()}
    sheets[ANSWERS.name] = _kept_rows(sheets["schedule"])
    given = [sheets[name] for name in SHEETS if len(sheets[name].cells) or SHEETS[name].required]
    own_rules = [one for one in live_rules(on).values() if one.revision != DEFAULT_REVISION]
    return raw_book([*given, *(raw_sheet(f"{RULES}{one.table}", one.columns, one.rows) for one in own_rules)])


def completed(raw: RawBook, kept: Callable[[], RawBook]) -> RawBook:
    """Received sheets; where one that must be there did not come, all that did not come are as the records have them.

    So a cable schedule may come alone, and is read together with these books. While they are empty nothing is added.

    Args:
        raw: what came.
        kept: gives the sheets as the records have them; not called where all came that must.
    """
    named = {plain(name.replace("_", " ")).casefold() for name in raw.sheets}
    if all(name in named for name, sheet in SHEETS.items() if sheet.required):
        return raw
    added = [sheet for name, sheet in kept().sheets.items() if name not in {*named, ANSWERS.name} and len(sheet.cells)]
    return raw_book([*raw.sheets.values(), *added], raw.notes) if added else raw


def _sheet(records: SheetRecords) -> RawSheet:
    kept = list(records.rows())
    texts: dict[str, list[str]] = {column.field: [] for column in records.columns}
    texts.update(zip(texts, records.texts(row[1:] for row in kept), strict=False))
    if records.sheet.name == "items":
        codes = _old_codes()
        texts[OLD_CODES] = [codes.get(number, "") for number, *_ in kept]
    elif records.sheet is STOCK:
        texts = _as_it_lies(texts)
    columns = [texts[column.field] for column in records.sheet.columns]
    rows = _in_order(list(zip(*columns, strict=True)), [at for at, one in enumerate(records.sheet.columns) if one.key])
    return raw_sheet(records.sheet.name, (column.header for column in records.sheet.columns), rows)


def _in_order(rows: Rows, key: Sequence[int]) -> Rows:
    """Rows in the natural order of their keys; those of a sheet without a key in the natural order of all cells."""
    places = key or range(len(rows[0]) if rows else 0)
    ranks = {at: natural_rank(row[at] for row in rows) for at in places}
    return sorted(rows, key=lambda row: [ranks[at][row[at]] for at in places])


def _old_codes() -> dict[int, str]:
    """Old codes by primary key of the item, as the sheet lists them."""
    found: dict[int, list[str]] = {}
    for number, code in OldCode.objects.order_by("code").values_list("item_id", "code"):
        found.setdefault(number, []).append(code)
    return {number: "; ".join(codes) for number, codes in found.items()}


def _as_it_lies(texts: Mapping[str, list[str]]) -> dict[str, list[str]]:
    """Rows without what was emptied in passing; a lot on hold lies on hold, what is kept for no job has no location."""
    held, ended = lots_on_hold(), ended_jobs()
    found: dict[str, list[str]] = {name: [] for name in texts}
    for values in zip(*texts.values(), strict=True):
        row = dict(zip(texts, values, strict=True))
        if row["quantity"] == "0" and row["place_kind"] in _PASSING_KINDS:
            continue
        if (row["stock_code"], row["lot"]) in held:
            row["place_kind"] = HOLD
        if row["job"] in ended:
            row |= {"job": "", "structure": ""}
        for name, text in row.items():
            found[name].append(text)
    return found


def _kept_rows(schedule: RawSheet) -> RawSheet:
    """The answers that keep a row of the schedule which reads as another does: nothing in its cells says so."""
    keys = {"/".join(key) for key in schedule.cells[[0, 1]].itertuples(index=False, name=None)}
    fields = [column.field for column in ANSWERS.columns]
    found = Answer.objects.filter(sheet="schedule", column=WHOLE_ROW, value=KEEP).order_by("pk").values_list(*fields)
    rows = [row for row in found if row[1] in keys]
    return raw_sheet(ANSWERS.name, (column.header for column in ANSWERS.columns), _in_order(rows, ()))
