"""Items as parts to be fitted: the facts that the checks read, taken from the items sheet once."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, TypeAlias

import pandas as pd

from kitting.calculation.conductor_sizes import SIZES, SizeSet
from kitting.calculation.interfaces import INTERFACES
from kitting.calculation.kinds import KINDS
from kitting.calculation.natural_order import natural_key
from kitting.calculation.questions import Missing
from kitting.calculation.sheets.stock_sheets import ITEMS

LAST = 2**31  # the rank of an item without a rank
RATED_900_A = 900

_LABELS: Mapping[str, str] = {column.field: column.label for column in ITEMS.columns}

Sizes: TypeAlias = SizeSet | Missing | None
Texts: TypeAlias = tuple[str, ...] | Missing | None
Length: TypeAlias = int | Missing | None


@dataclass(frozen=True, slots=True)
class Barrel:
    """One opening of a part: its range over the insulation in nanometres, the conductor sizes and metals it takes.

    A blank sets no limit.
    """

    doi_low_nm: Length
    doi_high_nm: Length
    sizes: Sizes
    metals: Texts


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One item of the items sheet. A blank fact sets no limit; ``lacking`` names what it needs to be selectable.

    ``barrels`` is one, or two for a two-barrel or stepped part. ``facts`` is the whole row, for the limits of rules.
    """

    row: int
    stock_code: str
    kind: str
    state: str | Missing | None
    lacking: tuple[str, ...]
    classes_kv: Texts
    interface: str | Missing | None
    gives_interface: str | Missing | None
    current_a: int | Missing | None
    switching: str | Missing | None
    phase_to_phase: bool | Missing | None
    mcov_kv: Decimal | Missing | None
    barrels: tuple[Barrel, ...]
    strand: Texts
    jacket_low_nm: Length
    jacket_high_nm: Length
    shield: Texts
    contains: bool
    separable: bool
    facts: Mapping[str, Any]
    order: tuple[Any, ...]

    @property
    def stepped(self) -> bool:
        """True where the two sides of a joint go into different openings."""
        return len(self.barrels) > 1


def read_parts(items: pd.DataFrame) -> tuple[Part, ...]:
    """The parts of an items frame, one a row."""
    return tuple(_part(row) for row in items.to_dict("records"))


def _part(row: Mapping[Any, Any]) -> Part:
    kind = KINDS.get(row["kind"])
    return Part(
        row=row["row"],
        stock_code=row["stock_code"],
        kind=row["kind"],
        state=row["state"],
        lacking=_lacking(row, kind.required if kind else ()),
        classes_kv=row["classes_kv"] or None,
        interface=row["interface"],
        gives_interface=row["gives_interface"],
        current_a=_current(row, kind.interface_current_a if kind else None),
        switching=row["switching"],
        phase_to_phase=row["phase_to_phase"],
        mcov_kv=row["mcov_kv"],
        barrels=_barrels(row),
        strand=row["strand"] or None,
        jacket_low_nm=row["jacket_low_nm"],
        jacket_high_nm=row["jacket_high_nm"],
        shield=row["shield"] or None,
        contains=bool(row["contains"]),
        separable=kind is not None and kind.separable,
        facts=row,
        order=_order(row, arrester=kind is not None and kind.arrester),
    )


def _given(fact: object) -> bool:
    return fact is not None and fact != () and not isinstance(fact, Missing)


def _lacking(row: Mapping[Any, Any], required: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(_LABELS[field] for field in required if not _given(row[field]))


def _current(row: Mapping[Any, Any], of_kind: int | None) -> int | Missing | None:
    if row["rated_900"] is True:
        return RATED_900_A
    if row["current_a"] is not None:
        current: int | Missing = row["current_a"]
        return current
    interface = INTERFACES.get(row["interface"]) if isinstance(row["interface"], str) else None
    return interface.current_a if interface else of_kind


def _barrels(row: Mapping[Any, Any]) -> tuple[Barrel, ...]:
    """Where the second opening leaves a fact blank, the first one's holds for both."""
    first = Barrel(row["doi_low_nm"], row["doi_high_nm"], row["conductor_sizes"], row["metals"] or None)
    low, high, sizes, metals = (
        row[field] or None for field in ("doi_low_2_nm", "doi_high_2_nm", "conductor_sizes_2", "metals_2")
    )
    if low is high is sizes is metals is None:
        return (first,)
    if low is high is None:
        low, high = first.doi_low_nm, first.doi_high_nm
    return first, Barrel(low, high, sizes or first.sizes, metals or first.metals)


def _order(row: Mapping[Any, Any], *, arrester: bool) -> tuple[Any, ...]:
    """Item rank, for arresters the lowest MCOV, the narrower range, the lower stock code."""
    rank = row["rank"] if isinstance(row["rank"], int) else LAST
    mcov = row["mcov_kv"] if arrester and _given(row["mcov_kv"]) else 0
    return rank, mcov, *_width(row), natural_key(row["stock_code"])


def _width(row: Mapping[Any, Any]) -> tuple[int, int]:
    for place, (low, high) in enumerate((("doi_low_nm", "doi_high_nm"), ("jacket_low_nm", "jacket_high_nm"))):
        if isinstance(row[low], int) and isinstance(row[high], int):
            return place, row[high] - row[low]
    sizes = row["conductor_sizes"]
    if isinstance(sizes, SizeSet):
        return 2, sum(sizes.holds(size) for size in SIZES)
    return 3, 0
