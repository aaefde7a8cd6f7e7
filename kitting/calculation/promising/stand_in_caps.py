"""Stand-ins approved for a limited number of pieces.

A cap binds pieces of many kits at once, which no flow network can say. So the kits are first served without caps; if a
cap is exceeded, the kits keep the stand-in in order of service until the cap is reached, and all are served again with
just these pieces open to it. Where no cap was exceeded the plan is proven as it stands, else it is not proven.
"""

from collections.abc import Callable
from dataclasses import replace

from kitting.calculation.promising.costs import cost_of_allocations
from kitting.calculation.promising.model import Allocation, Cell, Problem, Promised

NOT_PROVEN = "not proven"


def within_caps(problem: Problem, plan: Callable[[Problem], Promised]) -> Promised:
    """The plan of a problem, repeated with fewer stand-ins until every cap holds; at most once for each cap."""
    asked, origin = problem, list(range(len(problem.cells)))
    promised = plan(asked)
    while (item := _exceeded(asked, promised)) is not None:
        asked, origin = _limited(asked, origin, item, _used(asked, promised, item))
        promised = plan(asked)
    return promised if asked is problem else _of_whole_cells(problem, promised, origin)


def _exceeded(problem: Problem, promised: Promised) -> int | None:
    """The first item whose cap is exceeded; an item that was limited never is again."""
    caps = problem.stand_in_caps or {}
    return next((item for item in sorted(caps) if sum(_used(problem, promised, item).values()) > caps[item]), None)


def _used(problem: Problem, promised: Promised, item: int) -> dict[int, int]:
    """Thousandths of the item used as a stand-in, by cell."""
    used: dict[int, int] = {}
    for piece in promised.allocations:
        if problem.lots[piece.lot].item == item and item in problem.cells[piece.cell].stand_ins:
            used[piece.cell] = used.get(piece.cell, 0) + piece.quantity
    return used


def _limited(problem: Problem, origin: list[int], item: int, used: dict[int, int]) -> tuple[Problem, list[int]]:
    """Cells cut in two: the pieces that keep the stand-in, and the others; and the whole cell of each part."""
    left = (problem.stand_in_caps or {})[item]
    fixed = {
        index: sum(quantity for lot, quantity in cell.fixed if problem.lots[lot].item == item)
        for index, cell in enumerate(problem.cells)
    }
    kept = {index: min(used[index], fixed[index]) for index in used}
    left -= sum(kept.values())
    for index in sorted(used, key=lambda index: (problem.cells[index].spare, problem.cells[index].kit, index)):
        more = min(left, used[index] - kept[index])
        kept[index] += more
        left -= more
    cells: list[Cell] = []
    wholes: list[int] = []
    for index, cell in enumerate(problem.cells):
        for part in _parts(problem, cell, item, kept.get(index, 0)) if item in cell.stand_ins else (cell,):
            cells.append(part)
            wholes.append(origin[index])
    return replace(problem, cells=tuple(cells)), wholes


def _parts(problem: Problem, cell: Cell, item: int, kept: int) -> list[Cell]:
    of_item = tuple(pin for pin in cell.fixed if problem.lots[pin[0]].item == item)
    others = tuple(pin for pin in cell.fixed if pin not in of_item)
    without = tuple(stand_in for stand_in in cell.stand_ins if stand_in != item)
    kept_of_item = tuple(pair for pair in cell.kept if problem.lots[pair[0]].item == item)
    kept_others = tuple(pair for pair in cell.kept if pair not in kept_of_item)
    parts = [replace(cell, quantity=kept, fixed=of_item, kept=kept_of_item)] if kept else []
    if kept < cell.quantity:
        parts.append(
            replace(
                cell,
                quantity=cell.quantity - kept,
                stand_ins=without,
                fixed=others if kept else others + of_item,
                kept=kept_others,
            )
        )
    return parts


def _of_whole_cells(problem: Problem, promised: Promised, origin: list[int]) -> Promised:
    """The plan in terms of the whole cells; parts of one cell stand side by side."""

    def summed(pieces: dict[int, int]) -> dict[int, int]:
        whole: dict[int, int] = {}
        for part, quantity in pieces.items():
            whole[origin[part]] = whole.get(origin[part], 0) + quantity
        return whole

    pieces = tuple(_of_whole_cell(piece, origin) for piece in promised.allocations)
    return replace(
        promised,
        allocations=pieces,
        cost=cost_of_allocations(problem, pieces),
        cheapest=False,
        bought=summed(dict(promised.bought)),
        short=summed(dict(promised.short)),
        refused=tuple(replace(reason, cell=origin[reason.cell]) for reason in promised.refused),
        status=NOT_PROVEN,
        bound=None,
        not_kept=tuple((origin[part], lot, quantity) for part, lot, quantity in promised.not_kept),
    )


def _of_whole_cell(piece: Allocation, origin: list[int]) -> Allocation:
    return piece._replace(cell=origin[piece.cell])
