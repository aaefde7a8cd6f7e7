"""Recipes of pre-made kits: what the rules ask at a standard location, for a chosen cable and system."""

import hashlib
import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from types import MappingProxyType
from typing import Any

from kitting.calculation.imagined_places import AskedLine, ImaginedPlace, Landing, asked_at
from kitting.calculation.kinds import POSITION_KINDS
from kitting.calculation.published_tables import table_rows
from kitting.calculation.quantities import quantity_text
from kitting.calculation.sheets.raw import RawBook
from kitting.errors import Refusal

_POSITION = ("position", "kind", "phases", "state", "insert_fitted", "switching", "environment", "current_a")
_REVISION_LENGTH = 6


def _locations() -> Mapping[str, tuple[Mapping[str, str], ...]]:
    rows = table_rows("standard_locations")
    names = dict.fromkeys(row["location"] for row in rows)
    return {name: tuple(row for row in rows if row["location"] == name) for name in names}


LOCATIONS: Mapping[str, tuple[Mapping[str, str], ...]] = MappingProxyType(_locations())


@dataclass(frozen=True, slots=True)
class RecipeLine:
    """Thousandths of a stock code that a standard location takes, for which part of it, and by which rule."""

    line: str
    kind: str
    stock_code: str
    quantity: int
    phases: str
    rule: str
    sentence: str


def recipe_lines(
    raw: RawBook, *, location: str, system: str, cable_type: str, interface: str, depot: str, on: date
) -> tuple[RecipeLine, ...]:
    """The content of a pre-made kit, by the owner's rules and items.

    Args:
        raw: the owner's sheets.
        location: one of ``LOCATIONS``.
        system, cable_type: on the sheets.
        interface: of its positions; '' where the system's class leaves no choice.
        depot: on the sheet of depots.
        on: the day for which stand-ins count.

    Raises:
        Refusal: ``unknown-location``; ``recipe-open`` names every line that can't be decided.
    """
    if location not in LOCATIONS:
        message = f"Standard locations are {', '.join(LOCATIONS)}; not {location}."
        raise Refusal("unknown-location", message, {"location": location})
    rows = LOCATIONS[location]
    place = ImaginedPlace(
        structure=location,
        system=system,
        positions=[position_row(row, interface) for row in rows],
        landings=[
            Landing(position=row["position"], phases=row["phases"], cable={"cable_type": cable_type})
            for row in rows
            for _ in range(int(row["cables"]))
        ],
    )
    asked = [line for line in asked_at(raw, [place], depot=depot, on=on) if line.side != "to"]
    undecided = [f"{line.kind}: {line.sentence}" for line in asked if line.answer or not line.codes]
    if undecided:
        message = f"A kit for a {location} can't be made up for {cable_type} on {system}: {'; '.join(undecided)}."
        raise Refusal("recipe-open", message, {"open": undecided})
    return tuple(_line(number, line) for number, line in enumerate(asked, 1))


def revision_of(lines: Sequence[RecipeLine]) -> str:
    """Six characters that change when a stock code, a quantity or a line does."""
    said = [[one.kind, one.phases, one.stock_code, one.quantity] for one in lines]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()[:_REVISION_LENGTH].upper()


def as_rows(lines: Sequence[RecipeLine]) -> list[dict[str, object]]:
    """Lines as they are kept."""
    return [asdict(line) for line in lines]


def what_differs(before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> list[str]:
    """What another list of lines takes more or fewer of, by stock code: ``3 SC-10B more``."""
    change: Counter[str] = Counter()
    for rows, sign in ((before, -1), (after, 1)):
        for row in rows:
            change[row["stock_code"]] += sign * row["quantity"]
    return [
        f"{quantity_text(abs(pieces), code)} {'more' if pieces > 0 else 'fewer'}"
        for code, pieces in sorted(change.items(), key=lambda pair: (pair[1] < 0, pair[0]))
        if pieces
    ]


def position_row(row: Mapping[str, str], interface: str) -> dict[str, str]:
    """The cells of a position of a standard location by field; an interface only where its kind has one."""
    takes = interface if POSITION_KINDS[row["kind"]].interfaces else ""
    return {**{name: row[name] for name in _POSITION}, "interface": takes}


def _line(number: int, line: AskedLine) -> RecipeLine:
    name = "/".join(filter(None, (line.position, line.side, line.phases, line.kind, str(number))))
    return RecipeLine(name, line.kind, line.codes[0], line.quantity or 0, line.phases, line.rule, line.sentence)
