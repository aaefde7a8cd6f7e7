"""Put the rows of one sheet into their records: which are new, changed, the same, withdrawn, or not on the sheet."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from django.db import models

from jobs.selectors.references import attributes_of, rows_of
from kitting.selectors.record_sheets import SheetRecords, is_text

_BATCH = 2_000
DEPOT_FIELDS = frozenset({"depot", "from_depot", "to_depot"})  # columns that name a depot
JOB_FIELD = frozenset({"job"})
Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class SheetChanges:
    """What became of the rows of one sheet.

    Args:
        sheet: the sheet's name.
        new: keys of the rows that the records did not have.
        same: how many they have as they are.
        changed: by key, the texts before and after of each column that differs.
        withdrawn: rows of a list that are not on the sheet any more, as text.
        staying: keys of records that the sheet does not name; they stay.
        added: the new rows of a list, as texts by column label.
        depots: those that rows which are new, changed or withdrawn name, before or after.
        jobs: those that rows of a list name which are new or withdrawn.
    """

    sheet: str
    new: tuple[str, ...] = ()
    same: int = 0
    changed: Mapping[str, Mapping[str, tuple[str, str]]] = field(default_factory=dict)
    withdrawn: tuple[str, ...] = ()
    staying: tuple[str, ...] = ()
    added: tuple[Mapping[str, str], ...] = ()
    depots: frozenset[str] = frozenset()
    jobs: frozenset[str] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.new or self.changed or self.withdrawn)


def upsert_rows(records: SheetRecords, frame: pd.DataFrame) -> SheetChanges:
    """Add the rows whose key the records don't have, and change the records that say otherwise; nothing is deleted.

    A changed record's version grows. What the rows refer to is in the records already.
    """
    given = {_key(records, row): row for row in stored_rows(records, frame)}
    standing = {_key(records, row): (number, row) for number, row in kept_rows(records)}
    new = {key: row for key, row in given.items() if key not in standing}
    differing = {standing[key][0]: row for key, row in given.items() if key in standing and standing[key][1] != row}
    before = {standing[key][0]: standing[key][1] for key in given if key in standing}
    if new:
        _create(records, list(new.values()))
    if differing:
        _change(records, before, differing)
    return SheetChanges(
        records.sheet.name,
        new=tuple(map("/".join, new)),
        same=len(given) - len(new) - len(differing),
        changed={"/".join(_key(records, row)): _told(records, before[n], row) for n, row in differing.items()},
        staying=tuple("/".join(key) for key in standing if key not in given),
        depots=named_in(records, [*new.values(), *differing.values(), *(before[n] for n in differing)], DEPOT_FIELDS),
    )


def replace_rows(records: SheetRecords, frame: pd.DataFrame) -> SheetChanges:
    """Make a list what the sheet says: its new rows are added, those that it has no more are withdrawn."""
    given = Counter(stored_rows(records, frame))
    numbers: dict[Row, list[int]] = {}
    for number, row in kept_rows(records):
        numbers.setdefault(row, []).append(number)
    new = [row for row, count in given.items() for _ in range(count - len(numbers.get(row, ())))]
    surplus = {number: row for row, found in numbers.items() for number in found[given[row] :]}
    if surplus:
        rows_of(records.model).filter(pk__in=list(surplus)).delete()
    if new:
        _create(records, new)
    return SheetChanges(
        records.sheet.name,
        new=tuple(_line(records, row) for row in new),
        same=given.total() - len(new),
        withdrawn=tuple(_line(records, row) for row in surplus.values()),
        added=tuple(
            dict(zip([column.label for column in records.columns], _texts(records, row), strict=True)) for row in new
        ),
        depots=named_in(records, [*new, *surplus.values()], DEPOT_FIELDS),
        jobs=named_in(records, [*new, *surplus.values()], JOB_FIELD),
    )


def add_missing(model: type[models.Model], name: str, codes: Iterable[str]) -> None:
    """Add what is named on the way: a structure, a supplier, an order."""
    known = set(rows_of(model).values_list(name, flat=True))
    missing = [code for code in dict.fromkeys(codes) if code and code not in known]
    if missing:
        rows_of(model).bulk_create([model(**{name: code}) for code in missing], batch_size=_BATCH)


def stored_rows(records: SheetRecords, frame: pd.DataFrame) -> list[Row]:
    """The rows of a sheet as the records keep them."""
    return list(zip(*records.stored_columns(frame), strict=True))


def kept_rows(records: SheetRecords) -> list[tuple[int, Row]]:
    """Primary key and values of every record of a sheet; blank text is '', also where a reference is blank."""
    texts = [at for at, kept in enumerate(records.final_fields()) if is_text(kept)]
    found = []
    for number, *values in records.rows(everything=True):
        for at in texts:
            values[at] = values[at] or ""
        found.append((number, tuple(values)))
    return found


def named_in(records: SheetRecords, rows: Iterable[Row], fields: Collection[str]) -> frozenset[str]:
    """What rows say in the columns of these fields."""
    places = [at for at, column in enumerate(records.columns) if column.field in fields]
    return frozenset(row[at] for row in rows for at in places if row[at])


def _key(records: SheetRecords, row: Row) -> Row:
    return tuple(row[at] for at in records.key)


def _paths(records: SheetRecords) -> list[str]:
    return [records.paths[column.field] for column in records.columns]


def _create(records: SheetRecords, rows: Sequence[Row]) -> None:
    model = records.model
    attributes = attributes_of(model, _paths(records))
    rows_of(model).bulk_create((model(**attributes(row)) for row in rows), batch_size=_BATCH)


def _change(records: SheetRecords, before: Mapping[int, Row], after: Mapping[int, Row]) -> None:
    """Write the columns that differ, and only those: another column may hold more than its sheet shows."""
    paths = _paths(records)
    attributes = attributes_of(records.model, paths)
    changed = rows_of(records.model).in_bulk(list(after))
    names = set()
    for number, record in changed.items():
        values = attributes(after[number])
        for at in _differing(before[number], after[number]):
            own, _, rest = paths[at].partition("__")
            name = f"{own}_id" if rest else own
            setattr(record, name, values[name])
            names.add(own)
        record.version += 1  # type: ignore[attr-defined]  # every record of a sheet with keys has one
    rows_of(records.model).bulk_update(changed.values(), [*sorted(names), "version"], batch_size=_BATCH)


def _differing(before: Row, after: Row) -> list[int]:
    return [at for at, (was, now) in enumerate(zip(before, after, strict=True)) if was != now]


def _told(records: SheetRecords, before: Row, after: Row) -> dict[str, tuple[str, str]]:
    was, now = _texts(records, before), _texts(records, after)
    return {records.columns[at].label: (was[at], now[at]) for at in _differing(before, after)}


def _by_label(records: SheetRecords, row: Row) -> dict[str, str]:
    return {column.label: text for column, text in zip(records.columns, _texts(records, row), strict=True)}


def _line(records: SheetRecords, row: Row) -> str:
    return ", ".join(filter(None, _texts(records, row)))


def _texts(records: SheetRecords, row: Row) -> list[str]:
    return [text for (text,) in records.texts([row])]
