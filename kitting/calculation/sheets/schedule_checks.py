"""Sense checks on the cable schedule: ends, systems, sizes that no cable here has, rows that can't be used."""

from collections.abc import Iterator
from decimal import Decimal

from kitting.calculation.conductor_sizes import ConductorSize
from kitting.calculation.questions import ASK, REFUSE
from kitting.calculation.sheets.near_names import NearNames
from kitting.calculation.sheets.parsers import CellDoubt, did_you_mean
from kitting.calculation.sheets.reading import SheetReading

_MEDIUM_VOLTAGE = Decimal(1)  # kV; low voltage ends here (IEC 60038, ANSI C84.1)
_MOST_LISTED = 8


def check_systems(systems: SheetReading) -> None:
    """Refuse a system that is not medium voltage, and an MCOV need that is given without its reason."""
    for at, nominal in enumerate(systems.values("nominal_kv")):
        if isinstance(nominal, Decimal) and nominal <= _MEDIUM_VOLTAGE:
            systems.doubt(at, "nominal_kv", CellDoubt("is not medium voltage", "more than 1 kV", REFUSE))
            systems.unusable[at] = "not medium voltage"
        if systems.values("mcov_need_kv")[at] is not None and systems.values("mcov_reason")[at] is None:
            doubt = CellDoubt("is given without its reason", "give the MCOV reason beside it", ASK)
            systems.doubt(at, "mcov_need_kv", doubt)


def check_systems_of_rows(schedule: SheetReading, systems: SheetReading) -> None:
    """Mark the rows on a system that can't be used."""
    unusable = {systems.values("system")[at]: why for at, why in systems.unusable.items()}
    for field in ("system", "system_after") if unusable else ():
        for at, name in enumerate(schedule.values(field)):
            if isinstance(name, str) and name in unusable:
                schedule.unusable.setdefault(at, f"system {name} is {unusable[name]}")


def check_ends(schedule: SheetReading, positions: SheetReading) -> None:
    """Refuse an end at a position that the positions sheet does not have, and a run that ends where it starts."""
    known: dict[str, set[str]] = {}
    for structure, position in zip(positions.values("structure"), positions.values("position"), strict=True):
        if isinstance(structure, str) and isinstance(position, str):
            known.setdefault(structure, set()).add(position)
    near = NearNames(known)
    for side in ("from", "to"):
        for at, structure, position in _ends(schedule, side):
            if structure not in known:
                likely = did_you_mean(near.near(structure))
                doubt = CellDoubt("no such structure on sheet positions", likely, ASK if likely else REFUSE)
                schedule.doubt(at, f"{side}_structure", doubt)
            elif position not in known[structure]:
                there = ", ".join(sorted(known[structure])[:_MOST_LISTED])
                doubt = CellDoubt(f"no such position at {structure} on sheet positions", f"one of: {there}?", REFUSE)
                schedule.doubt(at, f"{side}_position", doubt)
    ends = map(schedule.values, ("from_structure", "from_position", "to_structure", "to_position"))
    for at, (from_structure, from_position, to_structure, to_position) in enumerate(zip(*ends, strict=True)):
        if from_structure == to_structure and from_position == to_position and isinstance(to_position, str):
            schedule.doubt(at, "to_position", CellDoubt("the run ends where it starts", "the other end", REFUSE))


def _ends(schedule: SheetReading, side: str) -> Iterator[tuple[int, str, str]]:
    columns = schedule.values(f"{side}_structure"), schedule.values(f"{side}_position")
    for at, (structure, position) in enumerate(zip(*columns, strict=True)):
        if isinstance(structure, str) and isinstance(position, str):
            yield at, structure, position


def check_reels_of_rows(schedule: SheetReading) -> None:
    """Ask about a list of reels that gives neither one reel for all phases nor one for each."""
    for at, (reels, phases) in enumerate(zip(schedule.values("reels"), schedule.values("phases"), strict=True)):
        if isinstance(reels, tuple) and isinstance(phases, str) and len(reels) not in {1, len(phases)}:
            problem = f"{len(reels)} reels for {len(phases)} phases"
            schedule.doubt(at, "reels", CellDoubt(problem, "one reel, or one for each phase in order", ASK))


def check_sizes(schedule: SheetReading, cable_types: SheetReading) -> None:
    """Ask about a size that no cable type here has; the nearest one is offered, never taken."""
    sizes = {size for size in cable_types.values("conductor_size") if isinstance(size, ConductorSize)}
    if not sizes:
        return
    doubts: dict[ConductorSize, CellDoubt] = {}
    for at, size in enumerate(schedule.values("conductor_size")):
        if isinstance(size, ConductorSize) and size not in sizes:
            if size not in doubts:
                doubts[size] = _no_such_cable(size, sizes)
            schedule.doubt(at, "conductor_size", doubts[size])


def _no_such_cable(size: ConductorSize, sizes: set[ConductorSize]) -> CellDoubt:
    likely = min(
        (other for other in sizes if other.series == size.series),
        key=lambda other: (other.name.split("/")[0] != size.name.split("/")[0], abs(other.area_mm2 - size.area_mm2)),
        default=None,
    )
    near = did_you_mean([_with_area(likely)]) if likely else ""
    return CellDoubt(f"real size ({_area(size)}), no such cable here", near, ASK)


def _with_area(size: ConductorSize) -> str:
    return str(size) if size.family == "mm2" else f"{size} ({_area(size)})"


def _area(size: ConductorSize) -> str:
    return f"{size.area_mm2:.1f} mm2"
