"""A chain of standard locations as rows of a schedule: a loop of pads, a string of joints."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from kitting.calculation.standard_locations import LOCATIONS, position_row
from kitting.errors import Refusal

IN_USE, UNUSED = "in use", "unused"
Spot = tuple[str, str]  # structure, position
Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Chain:
    """Cells by field: the positions of each new structure, and the runs between them in the order of the chain."""

    positions: Sequence[Row]
    runs: Sequence[Row]


def chain(
    location: str, structures: Sequence[str], *, interface: str = "", begin: Spot | None = None, end: Spot | None = None
) -> Chain:
    """Structures of one standard location, one after the other, each joined to the next by a run.

    The cable comes in at the first position of a structure and goes on from its last. A position at which no run lands
    is unused.

    Args:
        location: one of ``LOCATIONS``.
        structures: new ones, in the order of the cable.
        interface: of their positions; '' where the system's class leaves no choice.
        begin, end: positions on the books from which the chain comes, and to which it goes.

    Raises:
        Refusal: ``unknown-location``; ``no-structures``; ``named-twice``; ``nothing-to-join``; ``ends-a-run``: a
            location at which a cable ends stands in the middle.
    """
    rows = LOCATIONS.get(location)
    if rows is None:
        message = f"Standard locations are {', '.join(LOCATIONS)}; not {location}."
        raise Refusal("unknown-location", message, {"location": location})
    _refuse_names(structures)
    stops: list[tuple[Spot, Spot]] = [
        *([(begin, begin)] if begin else []),
        *(((name, rows[0]["position"]), (name, rows[-1]["position"])) for name in structures),
        *([(end, end)] if end else []),
    ]
    if len(stops) < 2:
        raise Refusal("nothing-to-join", "A run needs two ends: name more structures, or where it comes from.", {})
    joined = [(leaves, comes) for (_, leaves), (comes, _) in pairwise(stops)]
    landed = [spot for pair in joined for spot in pair]
    room = {row["position"]: int(row["cables"]) for row in rows}
    full = next((name for name, at in landed if name in structures and landed.count((name, at)) > room[at]), "")
    if full:
        message = f"A cable ends at a {location}: {full} can't stand between two others."
        raise Refusal("ends-a-run", message, {"structure": full})
    positions = [
        {**position_row(row, interface), "structure": name, "state": IN_USE if spot in landed else UNUSED}
        for name in structures
        for row in rows
        for spot in ((name, row["position"]),)
    ]
    runs = [
        {"run": str(number), "phases": rows[0]["phases"], "from_structure": here[0], "from_position": here[1],
         "to_structure": there[0], "to_position": there[1]}
        for number, (here, there) in enumerate(joined, 1)
    ]  # fmt: skip
    return Chain(positions, runs)


def _refuse_names(structures: Sequence[str]) -> None:
    if not structures:
        raise Refusal("no-structures", "Name the new structures in the order of the cable, such as P1, P2, P3.", {})
    twice = next((name for name in structures if structures.count(name) > 1), "")
    if twice:
        raise Refusal("named-twice", f"{twice} is named twice: each structure stands once in the chain.", {})
