"""Which pieces may serve which cell: lots merged into classes, and for each cell its usable classes, best first.

Lots that no rule can tell apart (same item, depot, dates and owner) are one class; merging them is exact, because every
cell that may use one may use the other at the same preference. The order of the lots in the problem does not matter:
classes are numbered by what they are. Cells of one depot and choice whose dates let in the same pieces are of a shape.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain, pairwise

import numpy as np
from numpy.typing import NDArray

from kitting.calculation.promising.facts import Facts, Integers, Positions, facts_of
from kitting.calculation.promising.model import NEVER, Problem
from kitting.calculation.promising.usable import SOURCES, is_usable

Steps = NDArray[np.int16]
Pieces = tuple[tuple[int, int, int], ...]  # (cell, lot, thousandths)

CHUNK = 4_096  # cells handled at once, to bound the memory


def numbered(*facts: Integers) -> tuple[Integers, Integers]:
    """Distinct combinations of facts, in order: where each stands first, and for each entry the number of its own."""
    order = np.lexsort(facts[::-1])
    is_new = np.ones(len(order), dtype=bool)
    is_new[1:] = np.any(np.diff(np.stack(facts)[:, order]), axis=0)
    number = np.empty(len(order), dtype=np.int64)
    number[order] = np.cumsum(is_new) - 1
    return order[is_new], number


def spans(starts: Integers, counts: Integers) -> Integers:
    """Positions of so many entries from each start on, end to end."""
    first = np.cumsum(counts) - counts
    positions: Integers = np.arange(counts.sum()) + np.repeat(starts - first, counts)
    return positions


@dataclass(frozen=True, slots=True)
class Eligibility:
    """Lot classes, and the usable classes of each cell by its shape.

    Args:
        facts: the problem as arrays.
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

    facts: Facts
    members: tuple[tuple[int, ...], ...]
    stock: list[int]
    expiry: Integers
    groups: list[int]
    need: list[int]
    shape: Integers
    like: Integers
    starts: Integers
    targets: Positions
    steps: Steps
    fixed: Pieces
    not_kept: Pieces

    def lists(self) -> list[list[int]]:
        """For each shape its usable classes, best first. Equal integers are one object, which quarters the memory."""
        flat = np.arange(len(self.stock)).astype(object)[self.targets].tolist()
        return [flat[low:high] for low, high in pairwise(self.starts.tolist())]


def eligibility(problem: Problem) -> Eligibility:
    """Merge the lots, take the fixed pieces off, and list for each cell what it may use."""
    facts = facts_of(problem)
    fixed, not_kept = _take_fixed(problem)
    left, need = facts.lots.quantity.copy(), facts.quantity.copy()
    for cell, lot, quantity in fixed:
        left[lot] -= quantity
        need[cell] -= quantity
    order, number, first = _classes(facts)
    stock = np.zeros(len(first), dtype=np.int64)
    np.add.at(stock, number, left)
    members = order.tolist()
    bounds = np.cumsum(np.bincount(number, minlength=len(first))).tolist()
    shape, like, starts, targets, steps = _arcs(facts, first, len(problem.items))
    return Eligibility(
        facts=facts,
        members=tuple(tuple(members[low:high]) for low, high in pairwise([0, *bounds])),
        stock=stock.tolist(),
        expiry=facts.lots.expiry[first],
        groups=_groups(facts, first, len(problem.items)),
        need=need.tolist(),
        shape=shape,
        like=like,
        starts=starts,
        targets=targets,
        steps=steps,
        fixed=fixed,
        not_kept=not_kept,
    )


def _take_fixed(problem: Problem) -> tuple[Pieces, Pieces]:
    """Fixed pieces in cell order, and those that can't be kept."""
    left: dict[int, int] = {}
    caps = dict(problem.stand_in_caps or {})
    kept: list[tuple[int, int, int]] = []
    not_kept: list[tuple[int, int, int]] = []
    for index, cell in enumerate(problem.cells):
        open_need = cell.quantity
        for position, quantity in cell.fixed:
            lot = problem.lots[position]
            serves = lot.item in cell.options + cell.stand_ins and is_usable(lot, problem.asking(cell), cell.kit)
            taken = min(quantity, left.setdefault(position, lot.quantity), open_need) if serves else 0
            if lot.item in caps and lot.item in cell.stand_ins:
                taken = min(taken, caps[lot.item])
                caps[lot.item] -= taken
            if taken:
                left[position] -= taken
                open_need -= taken
                kept.append((index, position, taken))
            if taken < quantity:
                not_kept.append((index, position, quantity - taken))
    return tuple(kept), tuple(not_kept)


def _classes(facts: Facts) -> tuple[Integers, Integers, Integers]:
    """Lots class by class, first to expire first; the class of each lot; the first lot of each class.

    The classes are in an order that only their facts decide. Lots that outlast every kit are equal in their date: which
    of them is taken first is settled inside the class.
    """
    lots = facts.lots
    horizon = facts.good_through[facts.dated].max(initial=0)
    _, number = numbered(
        lots.item,
        lots.depot,
        lots.is_order.astype(np.int64),
        lots.own_only.astype(np.int64),
        lots.only_kit,
        lots.ready,
        np.minimum(lots.expiry, horizon),
        *lots.arrival.T,
    )
    order = np.lexsort((lots.key, lots.walk, lots.expiry, number))
    return order, number, order[np.flatnonzero(np.diff(number[order], prepend=-1))]


def item_groups(items: int, choices: Iterable[tuple[int, ...]]) -> list[int]:
    """For each of so many items the least item of its group: orders of choice join items."""
    parent = list(range(items))

    def root(item: int) -> int:
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    for choice in choices:
        for item in choice[1:]:
            low, high = sorted((root(choice[0]), root(item)))
            parent[high] = low
    return [root(item) for item in parent]


def _groups(facts: Facts, first: Integers, items: int) -> list[int]:
    """For each class the number of its group, counted from 0."""
    group_of = item_groups(items, (options + stand_ins for options, stand_ins in facts.choices))
    numbers: dict[int, int] = {}
    return [numbers.setdefault(group_of[item], len(numbers)) for item in facts.lots.item[first].tolist()]


def _arcs(facts: Facts, first: Integers, items: int) -> tuple[Integers, Integers, Integers, Positions, Steps]:
    """Shape of every cell, a cell of every shape, and the usable classes of shapes as compressed rows."""
    owner = facts.kit
    dated = facts.dated[owner]
    templates, numbers = _templates(facts, first, items, np.where(dated, facts.choice, -1))
    staged_by, good_through = facts.staged_by, facts.good_through[owner]
    like, shape = templates.shapes(numbers, owner, staged_by, good_through)
    counts, targets, steps = [np.zeros(1, dtype=np.int64)], [templates.classes[:0]], [templates.steps[:0]]
    for low, high in pairwise([*range(0, len(like), CHUNK), len(like)]):
        cells = like[low:high]
        rows = templates.rows(numbers[cells], owner[cells], staged_by[cells], good_through[cells])
        counts.append(rows[0])
        targets.append(rows[1])
        steps.append(rows[2])
    return shape, like, np.cumsum(np.concatenate(counts)), np.concatenate(targets), np.concatenate(steps)


def _templates(facts: Facts, first: Integers, items: int, choice: Integers) -> tuple["_Templates", Integers]:
    """For each choice and depot the classes that could ever serve, best first; and the template of each cell.

    ``choice`` is -1 for a cell that nothing serves.
    """
    depots = facts.lots.arrival.shape[1]
    used, numbers = np.unique(np.where(choice < 0, -1, choice * depots + facts.depot), return_inverse=True)
    flat = np.array(list(chain.from_iterable(chain(*facts.choices))), dtype=np.int64)
    lengths = np.array([len(options) + len(stand_ins) for options, stand_ins in facts.choices], dtype=np.int64)
    asked, depot = np.divmod(used, depots)
    counts = np.where(asked < 0, 0, lengths[asked])
    entry = spans((np.cumsum(lengths) - lengths)[asked], counts)
    place = entry - np.repeat((np.cumsum(lengths) - lengths)[asked], counts)
    shelf = _Shelves.of(facts, first, items)
    wanted = np.repeat(depot, counts) * items + flat[entry]
    on_shelf = np.diff(shelf.bounds)[wanted]
    found = spans(shelf.bounds[wanted], on_shelf)
    ends = np.concatenate(([0], np.cumsum(on_shelf)))[np.concatenate(([0], np.cumsum(counts)))]
    lot_class = shelf.classes[found]
    templates = _Templates(
        bounds=ends,
        classes=lot_class.astype(np.int32),
        arrivals=shelf.arrives[found],
        steps=(len(SOURCES) * np.repeat(place, on_shelf) + shelf.source[found]).astype(np.int16),
        expiry=facts.lots.expiry[first],
        only_kit=facts.lots.only_kit[first],
    )
    return templates, numbers.astype(np.int64)


@dataclass(frozen=True, slots=True)
class _Templates:
    """Templates as arrays, and the facts of classes that the dates of a kit are held against."""

    bounds: Integers
    classes: Positions
    arrivals: Integers
    steps: Steps
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
    ) -> tuple[Integers, Positions, Steps]:
        """For cells with these templates and dates: arcs per cell, their classes and steps."""
        lengths = self.bounds[templates + 1] - self.bounds[templates]
        cell = np.repeat(np.arange(len(templates)), lengths)
        entry = spans(self.bounds[templates], lengths)
        lot_class = self.classes[entry]
        only = self.only_kit[lot_class]
        usable = (
            (self.arrivals[entry] <= staged_by[cell])
            & (self.expiry[lot_class] >= good_through[cell])
            & ((only < 0) | (only == kit[cell]))
        )
        counts = np.bincount(cell[usable], minlength=len(templates)).astype(np.int64)
        return counts, lot_class[usable], self.steps[entry][usable]


@dataclass(frozen=True, slots=True)
class _Shelves:
    """For each depot and item the classes that could serve there, best first, end to end."""

    bounds: Integers
    classes: Integers
    arrives: Integers
    source: Integers

    @classmethod
    def of(cls, facts: Facts, first: Integers, items: int) -> "_Shelves":
        """Shelves number depot x items + item; ``first`` is a lot of each class."""
        arrives, source = facts.lots.arrives[first], facts.lots.source[first]
        lot_class, depot = np.nonzero(arrives < NEVER)
        arrives, source = arrives[lot_class, depot], source[lot_class, depot]
        lot = first[lot_class]
        shelf = depot * items + facts.lots.item[lot]
        order = np.lexsort((lot_class, facts.lots.walk[lot], arrives, facts.lots.expiry[lot], source, shelf))
        bounds = np.searchsorted(shelf[order], np.arange(facts.lots.arrival.shape[1] * items + 1))
        return cls(bounds, lot_class[order], arrives[order], source[order])


def _joined(template: Integers, number: Integers) -> Integers:
    """Both as one integer, in the order of templates, then numbers."""
    return template * 4 * NEVER + number
