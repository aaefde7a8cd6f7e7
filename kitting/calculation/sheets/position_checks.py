"""Sense checks on positions: an interface that the kind of position can't have."""

from kitting.calculation.kinds import POSITION_KINDS
from kitting.calculation.questions import ASK, NOTE
from kitting.calculation.sheets.parsers import CellDoubt
from kitting.calculation.sheets.reading import SheetReading


def check_positions(positions: SheetReading) -> None:
    """Ask about an interface that positions of this kind don't have."""
    for at, (kind, interface) in enumerate(zip(positions.values("kind"), positions.values("interface"), strict=True)):
        if not isinstance(kind, str) or not isinstance(interface, str):
            continue
        possible = POSITION_KINDS[kind].interfaces
        if not possible:
            positions.doubt(at, "interface", CellDoubt(f"a {kind} has no interface; it is not read", "blank", NOTE))
        elif interface not in possible:
            positions.doubt(
                at, "interface", CellDoubt(f"not an interface of a {kind}", f"{' or '.join(possible)}?", ASK)
            )
