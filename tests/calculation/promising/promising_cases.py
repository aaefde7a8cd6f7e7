"""Made-up promising problems for tests, in whole pieces, and an independent reading of what serves whom."""

import random
from collections.abc import Iterable
from dataclasses import replace

from kitting.calculation.promising.model import NEVER, Allocation, Cell, Kit, Lot, Problem, Promised

PIECE = 1000


def lot(
    item: int = 0,
    pieces: int = 1,
    *,
    depot: int = 0,
    expiry: int = NEVER,
    arrival: tuple[int, ...] = (0,),
    only_kit: int = -1,
    own_depot_only: bool = False,
    is_order: bool = False,
    walk: int = 0,
    key: int = 0,
) -> Lot:
    return Lot(
        item=item,
        depot=depot,
        quantity=pieces * PIECE,
        ready_day=arrival[depot],
        expiry_day=expiry,
        arrival=arrival,
        only_kit=only_kit,
        own_depot_only=own_depot_only,
        is_order=is_order,
        walk=walk,
        key=key,
    )


def cell(
    kit: int,
    options: tuple[int, ...] = (0,),
    pieces: int = 1,
    *,
    stand_ins: tuple[int, ...] = (),
    spare: bool = False,
    fixed: tuple[tuple[int, int], ...] = (),
) -> Cell:
    return Cell(
        kit=kit, options=options, stand_ins=stand_ins, quantity=pieces * PIECE, spare=spare,
        fixed=tuple((position, quantity * PIECE) for position, quantity in fixed),
    )  # fmt: skip


def kit(
    *, depot: int = 0, staged_by: int = 10, good_through: int = 10, buyable: Iterable[int] = (), dated: bool = True
) -> Kit:
    return Kit(
        job="",
        depot=depot,
        staged_by_day=staged_by,
        good_through_day=good_through,
        buyable=frozenset(buyable),
        dated=dated,
    )


def problem(
    kits: Iterable[Kit], cells: Iterable[Cell], lots: Iterable[Lot], *, caps: dict[int, int] | None = None
) -> Problem:
    kits, cells, lots = tuple(kits), tuple(cells), tuple(lots)
    used = [lot.item for lot in lots] + [item for cell in cells for item in cell.options + cell.stand_ins]
    items, depots = max(used) + 1, max(made.depot for made in (*lots, *kits)) + 1
    return Problem(
        kits=kits,
        cells=cells,
        lots=lots,
        items=tuple(f"ITEM-{item}" for item in range(items)),
        depots=tuple(f"DEPOT-{depot}" for depot in range(depots)),
        as_of_day=0,
        stand_in_caps={item: pieces * PIECE for item, pieces in caps.items()} if caps else None,
    )


def random_problem(
    seed: int, *, kits: int = 4, cells: int = 6, lots: int = 5, items: int = 3, most: int = 2, fixed: bool = True
) -> Problem:
    """Everything at once: dates, depots, orders, kept lots, buying, spares, stand-ins, fixed pieces."""
    draw = random.Random(seed)
    depots = draw.choice([1, 1, 2])
    made_kits = sorted(
        (
            kit(
                depot=draw.randrange(depots),
                staged_by=draw.randrange(6),
                good_through=draw.randrange(8),
                buyable=[item for item in range(items) if draw.random() < 0.15],
                dated=draw.random() < 0.95,
            )
            for _ in range(kits)
        ),
        key=lambda made: made.staged_by_day,
    )
    made_lots = []
    for number in range(lots):
        depot = draw.randrange(depots)
        is_order = draw.random() < 0.3
        ready = draw.randrange(1, 6) if is_order else 0
        arrival = tuple(ready + (0 if to == depot else draw.choice([1, 2, NEVER])) for to in range(depots))
        made_lots.append(
            lot(
                draw.randrange(items),
                draw.randint(1, most),
                depot=depot,
                expiry=draw.choice([NEVER, NEVER, draw.randrange(9)]),
                arrival=tuple(min(day, NEVER) for day in arrival),
                only_kit=draw.randrange(kits) if draw.random() < 0.1 else -1,
                own_depot_only=draw.random() < 0.15,
                is_order=is_order,
                walk=draw.randrange(3),
                key=number,
            )
        )
    made_cells = []
    for _ in range(cells):
        choice = draw.sample(range(items), draw.randint(1, min(3, items)))
        own = draw.randint(1, len(choice))
        pins = ((draw.randrange(lots), 1),) if fixed and draw.random() < 0.08 else ()
        made_cells.append(
            cell(
                draw.randrange(kits),
                tuple(choice[:own]),
                draw.randint(1, most),
                stand_ins=tuple(choice[own:]),
                spare=draw.random() < 0.15,
                fixed=pins,
            )
        )
    made_cells.sort(key=lambda made: made.kit)
    return split(problem(made_kits, made_cells, made_lots), seed)


def split(asked: Problem, seed: int) -> Problem:
    """The same problem with about half of the kits at all its depots, some later than the first of them."""
    draw = random.Random(seed)
    kits = []
    for whole in asked.kits:
        later = [draw.randrange(3) for _ in asked.depots]
        later[draw.randrange(len(later))] = 0  # the day of the kit is that of its first depot
        parts = [
            replace(
                whole,
                depot=depot,
                staged_by_day=whole.staged_by_day + days,
                buyable=whole.buyable if draw.random() < 0.5 else frozenset(),
            )
            for depot, days in enumerate(later)
        ]
        kits.append(replace(whole, parts=tuple(parts) if len(parts) > 1 and draw.random() < 0.5 else ()))
    cells = tuple(
        replace(cell, depot=draw.randrange(len(asked.depots))) if kits[cell.kit].parts else cell for cell in asked.cells
    )
    return replace(asked, kits=tuple(kits), cells=cells)


def at_depot(asked: Problem, cell_index: int) -> tuple[int, int, frozenset[int]]:
    """Where a cell is staged, by which day, and what can still be bought for it: written again from its words."""
    cell = asked.cells[cell_index]
    kit = asked.kits[cell.kit]
    for part in kit.parts:
        if part.depot == cell.depot:
            return part.depot, part.staged_by_day, part.buyable
    return kit.depot, kit.staged_by_day, kit.buyable


def serves(asked: Problem, cell_index: int, lot_index: int) -> bool:
    """The rule in one place, written again from its words: choice, owner, date of arrival, last good day."""
    cell, lot = asked.cells[cell_index], asked.lots[lot_index]
    kit = asked.kits[cell.kit]
    depot, staged_by, _ = at_depot(asked, cell_index)
    if not kit.dated or lot.item not in cell.options + cell.stand_ins or lot.expiry_day < kit.good_through_day:
        return False
    if lot.only_kit not in (-1, cell.kit) or (lot.own_depot_only and lot.depot != depot):
        return False
    return (lot.depot == depot and not lot.is_order) or lot.arrival[depot] <= staged_by


def can_be_bought(asked: Problem, cell_index: int) -> bool:
    cell = asked.cells[cell_index]
    return not cell.spare and bool(at_depot(asked, cell_index)[2] & set(cell.options))


def held(promised: Promised) -> dict[int, int]:
    """Thousandths promised for each cell."""
    pieces: dict[int, int] = {}
    for allocation in promised.allocations:
        pieces[allocation.cell] = pieces.get(allocation.cell, 0) + allocation.quantity
    return pieces


def named(asked: Problem, allocations: Iterable[Allocation]) -> list[tuple[int, int, int]]:
    """(cell, key of the lot, whole pieces), to compare plans whose lots stand in another order."""
    return [(made.cell, asked.lots[made.lot].key, made.quantity // PIECE) for made in allocations]
