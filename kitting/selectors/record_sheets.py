"""Which record each sheet's rows are kept in: one declaration a sheet, read by loading and by dumping alike.

A path is a field of the record, or leads over what it refers to: ``place__depot__depot``. Whole numbers, yes/no, dates
and decimals are kept as such, all else as the text that the column's parser writes ('' for blank).
"""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from types import MappingProxyType
from typing import Any

import pandas as pd
from django.db import models
from django.db.models import Case, F, Q, Value, When
from django.db.models.expressions import Combinable

from inventory.models import Balance, Depot, Item, Level, OrderLine, Way
from jobs.models import CableType, Job, Position, Reel, Run, System
from jobs.selectors.references import final_field, rows_of
from jobs.selectors.schedules import RUN_PATHS
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.columns import Column, Sheet
from kitting.models import AddedLine, BagDepot, Pin, Policy, StandIn

OLD_CODES = "old_codes"  # they are records of their own, so that each points to one item


@dataclass(frozen=True, slots=True)
class SheetRecords:
    """How the rows of one sheet are kept.

    Args:
        sheet: the sheet's declaration.
        model: the record that keeps a row.
        paths: path of each column's value, by the column's field.
        shown: the records that stand on the sheet; others are history, such as those of jobs that have ended.
        worked_out: by path, what is shown in the place of the kept value.
    """

    sheet: Sheet
    model: type[models.Model]
    paths: Mapping[str, str]
    shown: Q = field(default_factory=Q)
    worked_out: Mapping[str, Combinable] = field(default_factory=dict)

    @property
    def columns(self) -> tuple[Column, ...]:
        """The columns that are kept in the record itself, in printing order."""
        return tuple(column for column in self.sheet.columns if column.field in self.paths)

    @property
    def key(self) -> tuple[int, ...]:
        """Places of the key columns among ``columns``."""
        return tuple(at for at, column in enumerate(self.columns) if column.key)

    def final_fields(self) -> list["models.Field[Any, Any]"]:
        """The field at the end of each column's path."""
        return [final_field(self.model, self.paths[column.field]) for column in self.columns]

    def stored_columns(self, columns: "Mapping[str, Iterable[object]] | pd.DataFrame") -> list[list[object]]:
        """Parsed values of a sheet, column by column, as the records keep them."""
        return [
            list(map(_Stored(column, is_text=is_text(kept)).__getitem__, columns[column.field]))
            for column, kept in zip(self.columns, self.final_fields(), strict=True)
        ]

    def stored(self, column: Column, value: object) -> object:
        """One parsed value as the records keep it."""
        return _Stored(column, is_text=is_text(final_field(self.model, self.paths[column.field])))[value]

    def texts(self, rows: Iterable[tuple[Any, ...]]) -> list[list[str]]:
        """Rows of kept values as the sheet's texts, column by column."""
        return [
            list(map(_Shown(column).__getitem__, values))
            for column, values in zip(self.columns, zip(*rows, strict=True), strict=False)
        ]

    def rows(self, *, everything: bool = False) -> "models.QuerySet[models.Model, tuple[Any, ...]]":
        """Primary key and kept values of each record that stands on the sheet, or of every one."""
        ordered = rows_of(self.model).order_by("pk")
        found = ordered if everything else ordered.filter(self.shown)
        paths = [self.worked_out.get(self.paths[column.field], self.paths[column.field]) for column in self.columns]
        return found.values_list("pk", *paths)


def is_text(kept: "models.Field[Any, Any]") -> bool:
    """Whether a field keeps text, so that blank is ''."""
    return isinstance(kept, models.CharField | models.TextField)


class _Stored(dict[object, object]):
    """What is kept of each distinct parsed value of a column."""

    def __init__(self, column: Column, *, is_text: bool) -> None:
        super().__init__()
        self._write: Callable[[object], str] = column.parser.write
        self._is_text = is_text

    def __missing__(self, value: object) -> object:
        if self._is_text:
            kept: object = "" if value is None else self._write(value)
        else:
            kept = value
        self[value] = kept
        return kept


class _Shown(dict[object, str]):
    """The text of each distinct kept value of a column; decimals without the zeros that a database adds."""

    def __init__(self, column: Column) -> None:
        super().__init__()
        self._write: Callable[[object], str] = column.parser.write

    def __missing__(self, value: object) -> str:
        if value is None or isinstance(value, str):
            text = value or ""
        elif isinstance(value, Decimal):
            text = format(value.normalize(), "f")
        elif isinstance(value, bool | int | date):
            text = self._write(value)
        else:
            raise TypeError(f"no sheet shows {value!r}")
        self[value] = text
        return text


def _kept_in(
    model: type[models.Model], sheet: str, paths: Mapping[str, str] | None = None, **more: Any
) -> SheetRecords:
    declared = SHEETS[sheet]
    given = paths or {}
    every = {one.field: given.get(one.field, one.field) for one in declared.columns if one.field != OLD_CODES}
    return SheetRecords(declared, model, MappingProxyType(every), **more)


_ITEM, _DEPOT, _JOB = {"stock_code": "item__stock_code"}, {"depot": "depot__depot"}, {"job": "job__job"}

# In an order in which each sheet refers to earlier ones only.
RECORDS: Mapping[str, SheetRecords] = MappingProxyType(
    {
        records.sheet.name: records
        for records in (
            _kept_in(Policy, "policies"),
            _kept_in(Depot, "depots"),
            _kept_in(Way, "transfers", {"from_depot": "from_depot__depot", "to_depot": "to_depot__depot"}),
            _kept_in(System, "systems"),
            _kept_in(CableType, "cable types"),
            _kept_in(Reel, "reels", {"cable_type": "cable_type__cable_type"}),
            _kept_in(Job, "jobs", shown=Q(ended="")),
            _kept_in(
                Position,
                "positions",
                {
                    "structure": "structure__structure",
                    "existing_cable_type": "existing_cable_type__cable_type",
                    **_JOB,
                },
                worked_out={"job__job": Case(When(job__ended="", then=F("job__job")), default=Value(""))},
            ),
            _kept_in(
                BagDepot, "bag depots", {**_JOB, **_DEPOT, "structure": "structure__structure"}, shown=Q(job__ended="")
            ),
            _kept_in(Run, "schedule", RUN_PATHS, shown=Q(revision__live=True, revision__job__ended="")),
            _kept_in(Item, "items", {"supplier": "supplier__name"}),
            _kept_in(Level, "levels", {**_ITEM, **_DEPOT}),
            _kept_in(
                Balance,
                "stock",
                {
                    "stock_code": "lot__item__stock_code",
                    "depot": "place__depot__depot",
                    "place": "place__code",
                    "place_kind": "place__kind",
                    "lot": "lot__number",
                    "use_by": "lot__use_by",
                    "job": "place__job",
                    "structure": "place__structure",
                },
            ),
            _kept_in(
                OrderLine,
                "orders",
                {"order": "order__number", "supplier": "supplier__name", **_ITEM, **_DEPOT},
                shown=Q(received=0) | Q(quantity__gt=F("received")),
                worked_out={"quantity": F("quantity") - F("received")},  # what is still to come
            ),
            _kept_in(
                StandIn,
                "stand ins",
                {"wanted": "wanted__stock_code", "allowed": "allowed__stock_code", "system": "system__system"},
            ),
            _kept_in(Pin, "pins", {**_JOB, **_ITEM, **_DEPOT}, shown=Q(job__ended="")),
            _kept_in(AddedLine, "added lines", {**_JOB, **_ITEM}, shown=Q(job__ended="")),
        )
    }
)


_NOTHING = Q(pk__in=())


def records_of_sheets(names: Collection[str]) -> Mapping[str, SheetRecords]:
    """As ``RECORDS``, with no rows on the sheets that are not named."""
    return {name: one if name in names else replace(one, shown=_NOTHING) for name, one in RECORDS.items()}


def records_of_jobs(jobs: "models.QuerySet[Job]") -> Mapping[str, SheetRecords]:
    """As ``RECORDS``, with these jobs and no others, ended ones too, and without what only planning them reads."""
    shown = {
        "jobs": Q(pk__in=jobs),
        "schedule": Q(revision__live=True, revision__job__in=jobs),
        "added lines": Q(job__in=jobs),
        **dict.fromkeys(("bag depots", "stock", "orders", "levels", "pins"), _NOTHING),
    }
    found = {name: replace(one, shown=shown.get(name, one.shown)) for name, one in RECORDS.items()}
    theirs = Case(When(job__in=jobs, then=F("job__job")), default=Value(""))
    found["positions"] = replace(found["positions"], worked_out={"job__job": theirs})
    return found
