"""Connector interfaces: IEEE 386 and EN 50181. Only equal interfaces mate; neither set is read across to the other."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from kitting.calculation.kinds import POSITION_KINDS
from kitting.calculation.published_tables import listed, table_rows


@dataclass(frozen=True, slots=True)
class Interface:
    """One interface.

    Args:
        name: as written on positions and items, such as ``200 A 35 kV small`` or ``C``.
        classes: voltage classes whose parts have it; 600 A 15 and 25 kV parts share one.
        current_a: continuous current of the interface figure; the parts on it may carry more.
        family: ``IEEE 386`` or ``EN 50181``.
        switching: duty of the interface where neither position nor item says otherwise.
        line_to_earth_only: its published rating is for line-to-earth duty only.
        source: the publication.
        confirmed: ``text`` or ``memory``.
    """

    name: str
    classes: tuple[str, ...]
    current_a: int
    family: str
    switching: str
    line_to_earth_only: bool
    source: str
    confirmed: str


def _interface(row: Mapping[str, str]) -> Interface:
    return Interface(
        name=row["interface"],
        classes=listed(row["classes_kv"]),
        current_a=int(row["current_a"]),
        family=row["family"],
        switching=row["switching"],
        line_to_earth_only=row["line_to_earth_only"] == "yes",
        source=row["source"],
        confirmed=row["confirmed"],
    )


INTERFACES: Mapping[str, Interface] = MappingProxyType(
    {row["interface"]: _interface(row) for row in table_rows("interfaces")}
)


def interface_options(position_kind: str, class_kv: str) -> tuple[str, ...]:
    """The interfaces that a position of this kind may have at a voltage class; exactly one means it is worked out.

    A 35 kV 200 A position may be small or large, an outer cone may be any letter; a joint, a riser pole or a live-front
    position has none.
    """
    kind = POSITION_KINDS.get(position_kind)
    names = kind.interfaces if kind else ()
    return tuple(name for name in names if class_kv in INTERFACES[name].classes)


def tap_interface(class_kv: str) -> tuple[str, ...]:
    """The 200 A interfaces that a reducing tap plug may offer on a 600 A position of this class (IEEE 386).

    15 and 25 kV have one each; at 35 kV the small or the large one is possible, so the item must say.
    """
    return interface_options("integral 200 A", class_kv)
