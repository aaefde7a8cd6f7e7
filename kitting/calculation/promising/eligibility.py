"""Which pieces may serve which cell: lots merged into classes, and for each cell its usable classes, best first.

Lots that no rule can tell apart (same item, depot, dates and owner) are one class; merging them is exact, because every
cell that may use one may use the other at the same preference. The order of the lots in the problem does not matter:
classes are numbered by what they are. Cells of one depot and choice whose dates let in the same pieces are of a shape.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from kitting.calculation.promising.model import NEVER, ORDER, SHELF, TRANSFER, Cell, Kit, Lot, Problem

Integers = NDArray[np.int64]
Positions = NDArray[np.int32]
Pieces = tuple[tuple[int, int, int], ...]  # (cell, lot, thousandths)

SOURCES = (SHELF, TRANSFER, ORDER)  # own depot before transfer before order
ALWAYS = -NEVER  # the arrival day of a piece that already lies at the kit's depot
CHUNK = 16_384  # cells handled at once, to bound the memory


def source_of(lot: Lot, depot: int) -> str:
    """How a piece comes to a depot: from its shelf, by transfer, or with an order."""
    if lot.is_order:
        return ORDER
    return SHELF if lot.depot == depot else TRANSFER


def arrival_day(lot: Lot, depot: int) -> int:
    """Day that decides whether a piece is in time at a depot; a piece on the depot's own shelf always is."""
    if lot.own_depot_only and lot.depot != depot:
        return NEVER
    return ALWAYS if source_of(lot, depot) == SHELF else lot.arrival[depot]


def is_usable(lot: Lot, kit: Kit, kit_index: int) -> bool:
    """True where a lot's pieces may go into a kit: kept for nobody else, there in time and good long enough."""
    return (
        kit.dated
        and lot.only_kit in (-1, kit_index)
        and lot.expiry_day >= kit.good_through_day
        and arrival_day(lot, kit.depot) <= kit.staged_by_day
    )


def is_buyable(cell: Cell, kit: Kit) -> bool:
    """True where missing pieces of a counted line can still be bought in time (own codes only, never a stand-in)."""
    return not cell.spare and any(item in kit.buyable for item in cell.options)


def numbered(*facts: Integers) -> tuple[Integers, Integers]:
    """Distinct combinations of facts, in order: where each stands first, and for each entry the number of its own."""
    order = np.lexsort(facts[::-1])
    is_new = np.ones(len(order), dtype=bool)
    is_new[1:] = np.any(np.diff(np.stack(facts)[:, order]), axis=0)
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.cumsum(is_new) - 1
    return order[is_new], number


@dataclass(frozen=True, slots=True)
class Eligibility:
    """Lot classes, and the usable classes of each cell by its shape.

    Args:
        members: for each class its lots (positions in ``Problem.lots``), first to expire first, then in walk order.
        stock: for each class the free thousandths, fixed pieces taken off.
        expiry: for each class the last good day.
        groups: for each class its group: classes that one cell may use belong together.
        need: for each cell the thousandths that are not fixed.
        shape: for each cell its shape: cells of one shape have one depot, one choice and the same usable classes.
        like: for each shape a cell of it.
        starts: arcs of shape s are ``targets[starts[s]:starts[s + 1]]``.
        targets: usable classes, best first: order of choice, then source, first to expire, first to arrive, walk.
        steps: for each arc 3 x the position in the order of choice + the source's position.
        fixed: (cell, lot, thousandths) taken before anything else.
        not_kept: fixed pieces that can't be kept: the lot no longer holds them, or no longer serves.
    """

    members: tuple[tuple[int, ...], ...]
    stock: list[int]
    expiry: Integers
    groups: list[int]
    need: list[int]
    shape: Integers
    like: Integers
    starts: Integers
    targets: Positions
    steps: Positions
    fixed: Pieces
    not_kept: Pieces

    def lists(self) -> list[list[int]]:
        """For each shape its usable classes, best first. Equal integers are one object, which quarters the memory."""
        flat = np.arange(len(self.stock)).astype(object)[self.targets].tolist()
        return [flat[low:high] for low, high in pairwise(self.starts.tolist())]


def eligibility(problem: Problem) -> Eligibility:
    """Merge the lots, take the fixed pieces off, and list for each cell what it may use."""
    fixed, not_kept, left = _take_fixed(problem)
    members = _classes(problem)
    need = [cell.quantity for cell in problem.cells]
    for cell, _, quantity in fixed:
        need[cell] -= quantity
    expiry = np.array([problem.lots[lots[0]].expiry_day for lots in members], dtype=np.int64)
    shape, like, starts, targets, steps = _arcs(problem, members, expiry)
    return Eligibility(
        members=members,
        stock=[sum(left[lot] for lot in lots) for lots in members],
        expiry=expiry,
        groups=_groups(problem, members),
        need=need,
        shape=shape,
        like=like,
        starts=starts,
        targets=targets,
        steps=steps,
        fixed=fixed,
        not_kept=not_kept,
    )


def _take_fixed(problem: Problem) -> tuple[Pieces, Pieces, list[int]]:
    """Fixed pieces in cell order, those that can't be kept, and what is left of each lot."""
    left = [lot.quantity for lot in problem.lots]
    caps = dict(problem.stand_in_caps or {})
    kept: list[tuple[int, int, int]] = []
    not_kept: list[tuple[int, int, int]] = []
    for index, cell in enumerate(problem.cells):
        open_need = cell.quantity
        for position, quantity in cell.fixed:
            lot = problem.lots[position]
            serves = lot.item in cell.options + cell.stand_ins and is_usable(lot, problem.kits[cell.kit], cell.kit)
            taken = min(quantity, left[position], open_need) if serves else 0
            if lot.item in caps and lot.item in cell.stand_ins:
                taken = min(taken, caps[lot.item])
                caps[lot.item] -= taken
            left[position] -= taken
            open_need -= taken
            if taken:
                kept.append((index, position, taken))
            if taken < quantity:
                not_kept.append((index, position, quantity - taken))
    return tuple(kept), tuple(not_kept), left


def _classes(problem: Problem) -> tuple[tuple[int, ...], ...]:
    """Positions of equal lots together, first to expire first; the classes in an order that only their facts decide.

    Lots that outlast every kit are equal in their date: which of them is taken first is settled inside the class.
    """
    lots = problem.lots
    horizon = max((kit.good_through_day for kit in problem.kits if kit.dated), default=0)
    together: dict[tuple[object, ...], list[int]] = {}
    for position in sorted(range(len(lots)), key=lambda at: (lots[at].expiry_day, lots[at].walk, lots[at].key)):
        lot = lots[position]
        facts = (
            lot.item,
            lot.depot,
            lot.is_order,
            lot.own_depot_only,
            lot.only_kit,
            lot.ready_day,
            min(lot.expiry_day, horizon),
            lot.arrival,
        )
        together.setdefault(facts, []).append(position)
    return tuple(tuple(together[facts]) for facts in sorted(together))


def item_groups(problem: Problem) -> list[int]:
    """For each item the least item of its group: the choices of cells join items."""
    parent = list(range(len(problem.items)))

    def root(item: int) -> int:
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    for choice in {cell.options + cell.stand_ins for cell in problem.cells}:
        for item in choice[1:]:
            low, high = sorted((root(choice[0]), root(item)))
            parent[high] = low
    return [root(item) for item in parent]


def _groups(problem: Problem, members: tuple[tuple[int, ...], ...]) -> list[int]:
    """For each class the number of its group, counted from 0."""
    group_of = item_groups(problem)
    numbers: dict[int, int] = {}
    return [numbers.setdefault(group_of[problem.lots[lots[0]].item], len(numbers)) for lots in members]


class _Templates:
    """For each choice and depot the classes that could ever serve, best first, end to end in flat arrays."""

    def __init__(self, problem: Problem, members: tuple[tuple[int, ...], ...]) -> None:
        self._first = [problem.lots[lots[0]] for lots in members]
        self._of_item: dict[int, list[int]] = {}
        for position, lot in enumerate(self._first):
            self._of_item.setdefault(lot.item, []).append(position)
        self._shelves: dict[tuple[int, int], tuple[list[int], list[int], list[int]]] = {}
        self._numbers: dict[tuple[tuple[int, ...], tuple[int, ...], int], int] = {}
        self.bounds = [0]
        self.classes: list[int] = []
        self.arrivals: list[int] = []
        self.steps: list[int] = []

    def number(self, options: tuple[int, ...], stand_ins: tuple[int, ...], depot: int) -> int:
        """Number of the template for an order of choice at a depot."""
        number = self._numbers.get((options, stand_ins, depot))
        if number is None:
            number = self._numbers[options, stand_ins, depot] = len(self.bounds) - 1
            for position, item in enumerate(options + stand_ins):
                sources, arrivals, classes = self._shelf(item, depot)
                self.classes.extend(classes)
                self.arrivals.extend(arrivals)
                self.steps.extend([len(SOURCES) * position + source for source in sources])
            self.bounds.append(len(self.classes))
        return number

    def _shelf(self, item: int, depot: int) -> tuple[list[int], list[int], list[int]]:
        """Sources, arrival days and classes of one item for one depot, best first."""
        shelf = self._shelves.get((item, depot))
        if shelf is None:
            found = []
            for lot_class in self._of_item.get(item, ()):
                lot = self._first[lot_class]
                arrival = arrival_day(lot, depot)
                if arrival < NEVER:
                    source = SOURCES.index(source_of(lot, depot))
                    found.append((source, lot.expiry_day, arrival, lot.walk, lot_class))
            found.sort()
            shelf = self._shelves[item, depot] = (
                [source for source, *_ in found],
                [arrival for _, _, arrival, *_ in found],
                [lot_class for *_, lot_class in found],
            )
        return shelf


def _arcs(
    problem: Problem, members: tuple[tuple[int, ...], ...], expiry: Integers
) -> tuple[Integers, Integers, Integers, Positions, Positions]:
    """Shape of every cell, a cell of every shape, and the usable classes of shapes as compressed rows."""
    templates = _Templates(problem, members)
    nothing = templates.number((), (), 0)
    kits = problem.kits
    numbers = np.array(
        [
            templates.number(cell.options, cell.stand_ins, kits[cell.kit].depot) if kits[cell.kit].dated else nothing
            for cell in problem.cells
        ],
        dtype=np.int64,
    )
    owner = np.array([cell.kit for cell in problem.cells], dtype=np.int64)
    staged_by = np.array([kit.staged_by_day for kit in kits], dtype=np.int64)[owner]
    good_through = np.array([kit.good_through_day for kit in kits], dtype=np.int64)[owner]
    only_kit = np.array([problem.lots[lots[0]].only_kit for lots in members], dtype=np.int64)
    flat = _Flat(
        bounds=np.array(templates.bounds, dtype=np.int64),
        classes=np.array(templates.classes, dtype=np.int32),
        arrivals=np.array(templates.arrivals, dtype=np.int64),
        steps=np.array(templates.steps, dtype=np.int32),
        expiry=expiry,
        only_kit=only_kit,
    )
    like, shape = flat.shapes(numbers, owner, staged_by, good_through)
    counts, targets, steps = [np.zeros(1, dtype=np.int64)], [flat.classes[:0]], [flat.steps[:0]]
    for low, high in pairwise([*range(0, len(like), CHUNK), len(like)]):
        cells = like[low:high]
        rows = flat.rows(numbers[cells], owner[cells], staged_by[cells], good_through[cells])
        counts.append(rows[0])
        targets.append(rows[1])
        steps.append(rows[2])
    return shape, like, np.cumsum(np.concatenate(counts)), np.concatenate(targets), np.concatenate(steps)


@dataclass(frozen=True, slots=True)
class _Flat:
    """Templates as arrays, and the facts of classes that the dates of a kit are held against."""

    bounds: Integers
    classes: Positions
    arrivals: Integers
    steps: Positions
    expiry: Integers
    only_kit: Integers

    def shapes(
        self, templates: Integers, kit: Integers, staged_by: Integers, good_through: Integers
    ) -> tuple[Integers, Integers]:
        """A cell of each shape, and the shape of each cell: of one template, between the same dates of its classes."""
        template = np.repeat(np.arange(len(self.bounds) - 1), np.diff(self.bounds))
        only = self.only_kit[self.classes]
        own = np.isin(_joined(templates, kit), _joined(template, only))
        return numbered(
            templates,
            np.searchsorted(np.sort(_joined(template, self.arrivals)), _joined(templates, staged_by), "right"),
            np.searchsorted(np.sort(_joined(template, self.expiry[self.classes])), _joined(templates, good_through)),
            np.where(own, kit, -1),
        )

    def rows(
        self, templates: Integers, kit: Integers, staged_by: Integers, good_through: Integers
    ) -> tuple[Integers, Positions, Positions]:
        """For cells with these templates and dates: arcs per cell, their classes and steps."""
        lengths = self.bounds[templates + 1] - self.bounds[templates]
        cell = np.repeat(np.arange(len(templates)), lengths)
        first = np.cumsum(lengths) - lengths
        entry = np.arange(len(cell)) + (self.bounds[templates] - first)[cell]
        lot_class = self.classes[entry]
        only = self.only_kit[lot_class]
        usable = (
            (self.arrivals[entry] <= staged_by[cell])
            & (self.expiry[lot_class] >= good_through[cell])
            & ((only < 0) | (only == kit[cell]))
        )
        counts = np.bincount(cell[usable], minlength=len(templates)).astype(np.int64)
        return counts, lot_class[usable], self.steps[entry][usable]


def _joined(template: Integers, number: Integers) -> Integers:
    """Both as one integer, in the order of templates, then numbers."""
    return template * 4 * NEVER + number
