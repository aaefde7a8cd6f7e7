"""Give a fact that a plan asked for: the cell it came from is changed where it stands, if it still reads the same."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.headers import Placed, place_columns
from kitting.calculation.sheets.raw import RawBook, raw_book
from kitting.errors import Refusal
from kitting.roles import Actor
from kitting.selectors.clock import day_at
from kitting.selectors.record_sheets import SheetRecords
from kitting.selectors.sheets import completed, sheets_from_records
from kitting.services.change_facts import change_facts, kept_by_hand
from kitting.services.load_sheets import load_sheets
from kitting.services.sheet_rights import need_sheet
from kitting.services.upsert_rows import DEPOT_FIELDS

SCHEDULE = "schedule"


def settle_fact(
    *, sheet: str, row: int, column: str, read: str, value: str, actor: Actor, at: datetime, reason: str = ""
) -> str:  # fmt: skip
    """Put a value into a cell of the records; a cell of a cable schedule makes a new revision of that schedule.

    Args:
        sheet, row, column, read: of the question, as the plan asked it.
        value: text of the cell; a length without a unit is in the unit of the column's header.
        actor: the person; whoever may change the sheet.
        at: moment of the change.
        reason: why; a job whose outage is frozen needs one.

    Returns the row in words, by its key where it has one.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``no-such-cell``; ``fact-changed``: the cell
            reads otherwise now; ``no-value``; those of ``change_facts`` and ``load_sheets``.
    """
    if not value.strip():
        raise Refusal("no-value", "Type what the cell should say.", {})
    records = sheets_from_records(day_at(at))
    found = records.sheets.get(sheet)
    placed = place_columns(SHEETS[sheet], found)[0] if found is not None and sheet in SHEETS else {}
    cell = next((one for one in placed.values() if one.column.label == column), None)
    if found is None or cell is None or row not in found.cells.index:
        raise Refusal("no-such-cell", f"The records have no cell {column} in row {row} of the sheet {sheet}.", {})
    named = {str(found.cells.at[row, placed[one].at]) for one in DEPOT_FIELDS & placed.keys()}
    need_sheet(actor, sheet, [column], named - {""})
    now = str(found.cells.at[row, cell.at])
    if now != read:
        message = f"{sheet} row {row}, {column}, reads {now or 'blank'} now, not {read or 'blank'}: plan again."
        raise Refusal("fact-changed", message, {"now": now, "read": read})
    key = [str(found.cells.at[row, placed[one.field].at]) for one in SHEETS[sheet].columns if one.key]
    if sheet == SCHEDULE:
        _revise(records, placed, row, cell, value, actor=actor, at=at, reason=reason)
        return f"{sheet} {'/'.join(key)}"
    kept = kept_by_hand(sheet, key)
    named_by = key or [_number(kept, [str(found.cells.at[row, one.at]) for one in placed.values()])]
    change_facts(
        sheet=sheet, key=named_by, version=_version(kept, named_by), changes={column: value}, by=actor.name, at=at,
        reason=reason,
    )  # fmt: skip
    return f"{sheet} {'/'.join(key) or f'row {row}'}"


def _revise(
    records: RawBook, placed: Mapping[str, Placed], row: int, cell: Placed, value: str, *, actor: Actor, at: datetime,
    reason: str,
) -> None:  # fmt: skip
    """Load the job's schedule again with the one cell changed."""
    found = records.sheets[SCHEDULE]
    jobs = found.cells[placed["job"].at]
    cells = found.cells[jobs == jobs.at[row]].copy()
    cells.at[row, cell.at] = value
    load_sheets(
        raw=completed(raw_book([replace(found, cells=cells)]), lambda: records),
        by=actor.name,
        actor=actor,
        at=at,
        source="a fact given on a page",
        reason=reason,
    )


def _number(records: SheetRecords, texts: list[str]) -> str:
    """The number of the first record of a list without keys that stands on its sheet as these texts."""
    kept = [*records.rows()]
    return str(kept[[*map(list, zip(*records.texts(row[1:] for row in kept), strict=True))].index(texts)][0])


def _version(records: SheetRecords, key: list[str]) -> int:
    paths = [records.paths[records.columns[at].field] for at in records.key] or ["pk"]
    found = records.model._default_manager.filter(**dict(zip(paths, key, strict=True)))  # noqa: SLF001
    version: int = found.values_list("version", flat=True)[0]
    return version
