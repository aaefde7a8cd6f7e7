"""What kinds of accessory and of position there are, and what must be known of an item of each kind."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from kitting.calculation.published_tables import listed, table_rows


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of accessory.

    Args:
        name: the trade word.
        required: item fields that must be given before any rule may choose an item of this kind.
        separable: a separable connector, whose duty between phases is asked when blank.
        interface_current_a: 200 or 600 where the kind has an interface size of its own; None: the position's.
        several: one slot may hold several different items of the kind, each a line of its own.
        housing: an item with a diameter range of its own takes the cable without an adapter.
        arrester: chosen by its MCOV.
        unit: stock unit in which the kind is usually counted.
        source: where the kind's facts come from.
    """

    name: str
    required: tuple[str, ...]
    separable: bool
    interface_current_a: int | None
    several: bool
    housing: bool
    arrester: bool
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class PositionKind:
    """One kind of position: the interfaces it may have and its current where the kind decides it."""

    name: str
    interfaces: tuple[str, ...]
    current_a: int | None
    source: str


def _yes(cell: str) -> bool:
    return cell == "yes"


def _amperes(cell: str) -> int | None:
    return int(cell) if cell else None


def _kind(row: Mapping[str, str]) -> Kind:
    return Kind(
        name=row["kind"],
        required=listed(row["required"]),
        separable=_yes(row["separable"]),
        interface_current_a=_amperes(row["interface_current_a"]),
        several=_yes(row["several"]),
        housing=_yes(row["housing"]),
        arrester=_yes(row["arrester"]),
        unit=row["unit"],
        source=row["source"],
    )


KINDS: Mapping[str, Kind] = MappingProxyType({row["kind"]: _kind(row) for row in table_rows("kinds")})
POSITION_KINDS: Mapping[str, PositionKind] = MappingProxyType(
    {
        row["position_kind"]: PositionKind(
            row["position_kind"], listed(row["interfaces"]), _amperes(row["current_a"]), row["source"]
        )
        for row in table_rows("position_kinds")
    }
)
