"""Made-up jobs, items and lots for the promising benchmark, repeatable from a seed.

The shape: owners' standards of eight conductor sizes and six kinds; per size some twenty cable builds whose
diameters the ranges of the items overlap, nest or miss; jobs over one year at four depots; a third of the lots on
order; shelf life on three kinds. All of it is invented; only the shape matters.
"""

from dataclasses import dataclass
from math import prod

import numpy as np
from numpy.typing import NDArray

from kitting.calculation.promising.eligibility import Eligibility
from kitting.calculation.promising.model import NEVER, Cell, Kit, Lot, Problem

Integers = NDArray[np.int64]

PIECE = 1000  # thousandths
DEPOTS = ("N", "H", "M", "S")
DEMAND_OF_DEPOTS = (0.4, 0.3, 0.2, 0.1)
CONDUCTORS = 8
BUILDS = 21  # cable builds of one owner and conductor size
TOLERANCE = 60  # width of a build's diameter band, hundredths of a millimetre
SPAN = 600  # the bands of one conductor size lie within this many hundredths of a millimetre
FIRST_DAY, YEAR = 10, 365
ON_ORDER = 0.35
NOISE = 0.3  # of the stock of an item, log-normal

# Share of run ends (splice: of runs) that take each kind; kinds all owners share when coupled; kinds with a shelf life.
KINDS = ("elbow", "elbow connector", "jacket seal", "elbow arrester", "insulated cap", "splice")
SHARE = (1.0, 1.0, 1.0, 0.3, 0.3, 0.25)
SHARED = (False, True, True, True, False, False)
DATED = (False, False, True, True, False, True)
STOCK = {"tight": 0.85, "normal": 1.15, "ample": 2.0}  # stock over expected demand


@dataclass(frozen=True, slots=True)
class Size:
    """How much of everything."""

    jobs: int
    owners: int
    lots: int


SIZES = {"S": Size(50, 1, 1_000), "M": Size(1_000, 4, 8_000), "L": Size(10_000, 11, 50_000)}


@dataclass(frozen=True, slots=True)
class MadeUp:
    """Lines as arrays, and the same as a problem.

    Args:
        runs: for each cable run its job, conductor, build and phases (columns).
        line_cell: for each line its cell; lines stand in order of service.
        line_quantity: for each line its thousandths.
        problem: what ``promise`` is asked.
    """

    runs: Integers
    line_cell: Integers
    line_quantity: Integers
    problem: Problem


@dataclass(frozen=True, slots=True)
class _Catalogue:
    """Key of every (owner, conductor, kind); for each item its key, its kind and the range it takes."""

    keys: Integers
    item_key: Integers
    item_kind: Integers
    low: Integers
    high: Integers


def made_up(size: Size, *, stock: str, seed: int, coupled: bool = False) -> MadeUp:
    """Jobs, cells and lots of a size; ``stock`` is tight, normal or ample."""
    draw = np.random.default_rng(seed)
    catalogue = _catalogue(draw, size, coupled=coupled)
    owners = draw.integers(0, size.owners, size.jobs)
    kits = _kits(draw, size)
    runs = _runs(draw, size)
    lines = _lines(draw, catalogue, runs, owners)
    cells, line_cell = _cells(catalogue, lines)
    lots = _lots(draw, size, catalogue, cells, STOCK[stock])
    problem = Problem(
        kits=kits,
        cells=cells,
        lots=lots,
        items=tuple(f"CODE-{item:05d}" for item in range(len(catalogue.low))),
        depots=DEPOTS,
        as_of_day=0,
    )
    return MadeUp(runs=runs, line_cell=line_cell, line_quantity=lines[:, 3], problem=problem)


def line_by_line(made: MadeUp, eligible: Eligibility) -> tuple[list[int], list[int]]:
    """The plain baseline: each line in date order takes what it can reach. Thousandths short by line, room by class."""
    room = list(eligible.stock)
    short = made.line_quantity.tolist()
    starts, targets = eligible.starts.tolist(), eligible.targets
    for line, shape in enumerate(eligible.shape[made.line_cell].tolist()):
        for lot_class in targets[starts[shape] : starts[shape + 1]].tolist():
            free = room[lot_class]
            if free:
                taken = min(free, short[line])
                room[lot_class] -= taken
                short[line] -= taken
                if not short[line]:
                    break
    return short, room


def _catalogue(draw: np.random.Generator, size: Size, *, coupled: bool) -> _Catalogue:
    """Three or four narrow ranges for each key, side by side with overlap, and a wide one."""
    shape = (size.owners, CONDUCTORS, len(KINDS))
    keys = np.arange(prod(shape)).reshape(shape)
    kind_of = np.broadcast_to(np.arange(len(KINDS)), shape).ravel()
    if coupled:
        keys[:, :, np.array(SHARED)] = keys[:1, :, np.array(SHARED)]
    rows: list[tuple[int, int, int]] = []
    for key in np.unique(keys).tolist():
        narrow = int(draw.integers(3, 5))
        for place in range(narrow):
            under, over = draw.integers(TOLERANCE // 2, 2 * TOLERANCE, 2).tolist()
            rows.append((key, SPAN * place // narrow - under, SPAN * (place + 1) // narrow + over))
        start = int(draw.integers(-TOLERANCE, SPAN // 2))
        rows.append((key, start, start + SPAN // 2 + TOLERANCE))
    table = np.array(rows, dtype=np.int64)
    return _Catalogue(keys, table[:, 0], kind_of[table[:, 0]], table[:, 1], table[:, 2])


def _kits(draw: np.random.Generator, size: Size) -> tuple[Kit, ...]:
    """Kits in order of service."""
    staged_by = np.sort(draw.integers(FIRST_DAY, YEAR, size.jobs)).tolist()
    depots = draw.choice(len(DEPOTS), size.jobs, p=DEMAND_OF_DEPOTS).tolist()
    return tuple(
        Kit(job=f"J{number:05d}", depot=depot, staged_by_day=day, good_through_day=day + 2, buyable=frozenset())
        for number, (day, depot) in enumerate(zip(staged_by, depots, strict=True))
    )


def _runs(draw: np.random.Generator, size: Size) -> Integers:
    """Rows (job, conductor, build, phases): a job has one to three cable builds and some seven runs."""
    counts = np.maximum(1, np.round(draw.lognormal(1.7, 0.75, size.jobs))).astype(np.int64)
    popular = 1 / np.arange(1, CONDUCTORS + 1)
    conductors = draw.choice(CONDUCTORS, (size.jobs, 3), p=popular / popular.sum())
    builds = draw.integers(0, BUILDS, (size.jobs, 3))
    job = np.repeat(np.arange(size.jobs), counts)
    which = draw.integers(0, 6, len(job)) % draw.integers(1, 4, size.jobs)[job]
    phases = draw.choice((3, 1), len(job), p=(0.75, 0.25))
    return np.stack((job, conductors[job, which], builds[job, which], phases), axis=1)


def _lines(draw: np.random.Generator, catalogue: _Catalogue, runs: Integers, owners: Integers) -> Integers:
    """Rows (job, key, low end of the diameter band, thousandths), in order of service."""
    bands = draw.integers(0, SPAN - TOLERANCE, size=(catalogue.keys.shape[0], CONDUCTORS, BUILDS))
    found = []
    for kind, share in enumerate(SHARE):
        for _ in range(1 if KINDS[kind] == "splice" else 2):
            job, conductor, build, phases = runs[draw.random(len(runs)) < share].T
            owner = owners[job]
            key = catalogue.keys[owner, conductor, kind]
            found.append(np.stack((job, key, bands[owner, conductor, build], phases * PIECE), axis=1))
    lines = np.concatenate(found)
    return lines[np.argsort(lines[:, 0], kind="stable")]


def _cells(catalogue: _Catalogue, lines: Integers) -> tuple[tuple[Cell, ...], Integers]:
    """Cells in order of service, and the cell of each line."""
    spec = lines[:, 1] * SPAN + lines[:, 2]
    specs, of_line = np.unique(spec, return_inverse=True)
    together, line_cell = np.unique(lines[:, 0] * len(specs) + of_line, return_inverse=True)
    quantity = np.bincount(line_cell, weights=lines[:, 3]).astype(np.int64).tolist()
    choices = [_choice(catalogue, *divmod(one, SPAN)) for one in specs.tolist()]
    cells = tuple(
        Cell(kit=kit, options=choices[one], stand_ins=(), quantity=pieces, spare=False)
        for (kit, one), pieces in zip((divmod(both, len(specs)) for both in together.tolist()), quantity, strict=True)
    )
    return cells, line_cell.astype(np.int64)


def _choice(catalogue: _Catalogue, key: int, low: int) -> tuple[int, ...]:
    """Items of the key whose range holds the band, the narrowest first."""
    fits = (catalogue.item_key == key) & (catalogue.low <= low) & (catalogue.high >= low + TOLERANCE)
    width = catalogue.high - catalogue.low
    return tuple(sorted(np.flatnonzero(fits).tolist(), key=lambda item: (int(width[item]), item)))


def _lots(
    draw: np.random.Generator, size: Size, catalogue: _Catalogue, cells: tuple[Cell, ...], factor: float
) -> tuple[Lot, ...]:
    """Lots of each item, most where most is asked; an item's stock is its expected demand times factor and noise."""
    demand = np.zeros(len(catalogue.low))
    for cell in cells:
        demand[list(cell.options)] += cell.quantity / PIECE / len(cell.options)
    counts = 1 + draw.poisson(size.lots * demand / demand.sum())
    lots: list[Lot] = []
    for item, count in enumerate(counts.tolist()):
        pieces = max(count, int(demand[item] * factor * draw.lognormal(-NOISE * NOISE / 2, NOISE)))
        share = draw.multinomial(pieces - count, draw.dirichlet(np.ones(count))) + 1
        lots.extend(_lot(draw, catalogue, item, quantity, len(lots) + number) for number, quantity in enumerate(share))
    return tuple(lots)


def _lot(draw: np.random.Generator, catalogue: _Catalogue, item: int, pieces: int, key: int) -> Lot:
    depot = int(draw.choice(len(DEPOTS), p=DEMAND_OF_DEPOTS))
    is_order = bool(draw.random() < ON_ORDER)
    ready = int(draw.integers(1, YEAR)) if is_order else 0
    dated = DATED[int(catalogue.item_kind[item])]
    return Lot(
        item=item,
        depot=depot,
        quantity=int(pieces) * PIECE,
        ready_day=ready,
        expiry_day=int(draw.integers(60, 2 * YEAR)) if dated else NEVER,
        arrival=tuple(ready + abs(depot - other) for other in range(len(DEPOTS))),
        only_kit=-1,
        own_depot_only=False,
        is_order=is_order,
        walk=key,
        key=key,
    )
