"""Made-up jobs, items and lots for the promising benchmark, repeatable from a seed.

The shape: owners' standards of eight conductor sizes and six kinds; per size some twenty cable builds whose
diameters the ranges of the items overlap, nest or miss; jobs over one year at four depots; a third of the lots on
order; shelf life on three kinds. All of it is invented; only the shape matters.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import prod
from typing import Any

import numpy as np
import pandas as pd
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
    """Rows as they would be received, and how many cable runs they are made of.

    Args:
        runs: cable runs.
        jobs: depot, staged_by; in order of service.
        lines: job, key, low (end of the diameter band), thousandths; in order of service.
        items: key, low, high (ends of the range).
        lots: item, depot, thousandths, ready, expiry, is_order.
    """

    runs: int
    jobs: pd.DataFrame
    lines: pd.DataFrame
    items: pd.DataFrame
    lots: pd.DataFrame


@dataclass(frozen=True, slots=True)
class Asked:
    """What ``promise`` is asked, and the cell and the thousandths of each line."""

    problem: Problem
    line_cell: Integers
    line_quantity: Integers


@dataclass(frozen=True, slots=True)
class _Catalogue:
    """Key of every (owner, conductor, kind); for each item its key, its kind and the range it takes."""

    keys: Integers
    item_key: Integers
    item_kind: Integers
    low: Integers
    high: Integers


def made_up(size: Size, *, stock: str, seed: int, coupled: bool = False) -> MadeUp:
    """Rows of a size; ``stock`` is tight, normal or ample."""
    draw = np.random.default_rng(seed)
    catalogue = _catalogue(draw, size, coupled=coupled)
    owners = draw.integers(0, size.owners, size.jobs)
    jobs = _jobs(draw, size)
    runs = _runs(draw, size)
    lines = _lines(draw, catalogue, runs, owners)
    items = pd.DataFrame({"key": catalogue.item_key, "low": catalogue.low, "high": catalogue.high})
    return MadeUp(
        runs=len(runs),
        jobs=jobs,
        lines=lines,
        items=items,
        lots=_lots(draw, size, catalogue, _demand(items, lines), STOCK[stock]),
    )


def compressed(rows: MadeUp) -> Asked:
    """Rows as kits, cells and lots."""
    cells, line_cell = _cells(rows.items, rows.lines)
    kits = tuple(
        Kit(job=f"J{number:05d}", depot=depot, staged_by_day=day, good_through_day=day + 2, buyable=frozenset())
        for number, (depot, day) in enumerate(_rows(rows.jobs))
    )
    problem = Problem(
        kits=kits,
        cells=cells,
        lots=_as_lots(rows.lots),
        items=tuple(f"CODE-{item:05d}" for item in range(len(rows.items))),
        depots=DEPOTS,
        as_of_day=0,
    )
    return Asked(problem, line_cell, rows.lines["thousandths"].to_numpy())


def line_by_line(made: Asked, eligible: Eligibility) -> tuple[list[int], list[int]]:
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


def _jobs(draw: np.random.Generator, size: Size) -> pd.DataFrame:
    """Depot and staged-by day, in order of service."""
    staged_by = np.sort(draw.integers(FIRST_DAY, YEAR, size.jobs))
    return pd.DataFrame({"depot": draw.choice(len(DEPOTS), size.jobs, p=DEMAND_OF_DEPOTS), "staged_by": staged_by})


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


def _lines(draw: np.random.Generator, catalogue: _Catalogue, runs: Integers, owners: Integers) -> pd.DataFrame:
    """Job, key, low end of the diameter band and thousandths, in order of service."""
    bands = draw.integers(0, SPAN - TOLERANCE, size=(catalogue.keys.shape[0], CONDUCTORS, BUILDS))
    found = []
    for kind, share in enumerate(SHARE):
        for _ in range(1 if KINDS[kind] == "splice" else 2):
            job, conductor, build, phases = runs[draw.random(len(runs)) < share].T
            owner = owners[job]
            key = catalogue.keys[owner, conductor, kind]
            found.append(np.stack((job, key, bands[owner, conductor, build], phases * PIECE), axis=1))
    lines = np.concatenate(found)
    return pd.DataFrame(lines[np.argsort(lines[:, 0], kind="stable")], columns=["job", "key", "low", "thousandths"])


def _cells(items: pd.DataFrame, lines: pd.DataFrame) -> tuple[tuple[Cell, ...], Integers]:
    """Cells in order of service, and the cell of each line."""
    job, key, low, thousandths = (lines[column].to_numpy() for column in lines)
    specs, of_line = np.unique(key * SPAN + low, return_inverse=True)
    together, line_cell = np.unique(job * len(specs) + of_line, return_inverse=True)
    quantity = np.zeros(len(together), dtype=np.int64)
    np.add.at(quantity, line_cell, thousandths)
    choices = _choices(items, specs)
    cells = tuple(
        Cell(kit=kit, options=choices[one], stand_ins=(), quantity=pieces, spare=False)
        for (kit, one), pieces in zip(
            (divmod(both, len(specs)) for both in together.tolist()), quantity.tolist(), strict=True
        )
    )
    return cells, line_cell.astype(np.int64)


def _choices(items: pd.DataFrame, specs: Integers) -> list[tuple[int, ...]]:
    """For each spec the items of the key whose range holds the band, the narrowest first."""
    key, low, high = (items[column].to_numpy() for column in items)
    by_width = np.lexsort((np.arange(len(key)), high - low, key))
    first, end = (np.searchsorted(key[by_width], specs // SPAN, side) for side in ("left", "right"))
    of_key = [by_width[one:last] for one, last in zip(first.tolist(), end.tolist(), strict=True)]
    bands = zip(of_key, (specs % SPAN).tolist(), strict=True)
    return [tuple(some[(low[some] <= band) & (high[some] >= band + TOLERANCE)].tolist()) for some, band in bands]


def _demand(items: pd.DataFrame, lines: pd.DataFrame) -> NDArray[np.float64]:
    """Pieces asked of each item, where those that serve a line share it alike."""
    demand = np.zeros(len(items))
    cells, _ = _cells(items, lines)
    for cell in cells:
        demand[list(cell.options)] += cell.quantity / PIECE / len(cell.options)
    return demand


def _lots(
    draw: np.random.Generator, size: Size, catalogue: _Catalogue, demand: NDArray[np.float64], factor: float
) -> pd.DataFrame:
    """Lots of each item, most where most is asked; an item's stock is its expected demand times factor and noise."""
    counts = 1 + draw.poisson(size.lots * demand / demand.sum())
    rows: list[tuple[int, int, int, int, int, bool]] = []
    for item, count in enumerate(counts.tolist()):
        pieces = max(count, int(demand[item] * factor * draw.lognormal(-NOISE * NOISE / 2, NOISE)))
        share = draw.multinomial(pieces - count, draw.dirichlet(np.ones(count))) + 1
        rows.extend(_row(draw, catalogue, item, quantity) for quantity in share.tolist())
    return pd.DataFrame(rows, columns=["item", "depot", "thousandths", "ready", "expiry", "is_order"])


def _row(
    draw: np.random.Generator, catalogue: _Catalogue, item: int, pieces: int
) -> tuple[int, int, int, int, int, bool]:
    depot = int(draw.choice(len(DEPOTS), p=DEMAND_OF_DEPOTS))
    is_order = bool(draw.random() < ON_ORDER)
    ready = int(draw.integers(1, YEAR)) if is_order else 0
    dated = DATED[int(catalogue.item_kind[item])]
    return item, depot, pieces * PIECE, ready, int(draw.integers(60, 2 * YEAR)) if dated else NEVER, is_order


def _as_lots(lots: pd.DataFrame) -> tuple[Lot, ...]:
    return tuple(
        Lot(
            item=item,
            depot=depot,
            quantity=thousandths,
            ready_day=ready,
            expiry_day=expiry,
            arrival=tuple(ready + abs(depot - other) for other in range(len(DEPOTS))),
            only_kit=-1,
            own_depot_only=False,
            is_order=is_order,
            walk=key,
            key=key,
        )
        for key, (item, depot, thousandths, ready, expiry, is_order) in enumerate(_rows(lots))
    )


def _rows(table: pd.DataFrame) -> Iterator[tuple[Any, ...]]:
    """Rows of a table, in plain Python numbers."""
    return zip(*(table[column].tolist() for column in table), strict=True)
