"""The cost step: every cell keeps as many pieces as it has, taken from where they cost least in all.

Which kits are served is settled before; here pieces only change places inside a group of classes. A group of which it
is not proven that nothing is cheaper (``transport``) is dropped, and its pieces stay.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain

import numpy as np

from kitting.calculation.promising.costs import Costs, costs_of_arcs
from kitting.calculation.promising.eligibility import Eligibility, numbered, spans
from kitting.calculation.promising.facts import Integers, Positions, Truths
from kitting.calculation.promising.flow import Flow
from kitting.calculation.promising.model import Problem
from kitting.calculation.promising.transport import Transport

BATCH = 500_000  # arcs that are priced at once
KEPT = 5_000  # a piece stays where an earlier plan had it: more than any way to serve costs, less than a piece short


@dataclass(frozen=True, slots=True)
class Held:
    """Thousandths held: by which cell, along which arc (a position in ``Eligibility.targets``)."""

    cell: Integers
    arc: Integers
    quantity: Integers

    def of(self, wanted: Integers) -> "Held":
        """What is held by cells that want something."""
        return self.at(np.flatnonzero(wanted[self.cell]))

    def at(self, entries: Integers) -> "Held":
        """Some entries, in this order."""
        return Held(self.cell[entries], self.arc[entries], self.quantity[entries])


@dataclass(frozen=True, slots=True)
class Cheapest:
    """Who holds which pieces, what they cost together, and whether it is proven that nothing is cheaper."""

    held: Held
    cost: int
    proven: bool


def cheapest(problem: Problem, eligible: Eligibility, flow: Flow, costs: Costs) -> Cheapest:
    """The pieces of a finished flow from where they cost least; what an earlier plan promised stays where it can."""
    price = costs_of_arcs(eligible, costs)
    cell, lot_class, quantity = _served(flow)
    wanted = np.zeros(len(problem.cells), dtype=np.int64)
    np.add.at(wanted, cell, quantity)
    kept, chains = _kept(problem, eligible, wanted), _chains(eligible, costs)
    found, dropped = [], [wanted[:0]]
    for some in _batches(eligible, wanted):
        asked = _asked(eligible, price, some, kept.of(some))
        taken, left = asked.solved(eligible, chains)
        found.append(asked.handed_out(wanted, taken))
        dropped.append(left)
    stays = np.isin(np.array(flow.group, dtype=np.int64)[lot_class], np.concatenate(dropped))
    found.append(_along(eligible, flow, cell[stays], lot_class[stays], quantity[stays]))
    held = Held(*(np.concatenate([getattr(one, name) for one in found]) for name in Held.__slots__))
    return Cheapest(held, _total(price, held), proven=not stays.any())


def _batches(eligible: Eligibility, wanted: Integers) -> Iterator[Integers]:
    """What is wanted, some whole groups at a time, to bound the memory."""
    counts = np.diff(eligible.starts)
    used = np.flatnonzero(counts)
    group = np.full(len(counts), -1)
    group[used] = np.array(eligible.groups, dtype=np.int64)[eligible.targets[eligible.starts[used]]]
    arcs = np.zeros(max(eligible.groups, default=-1) + 2, dtype=np.int64)
    np.add.at(arcs, group, counts)
    batch = (np.cumsum(arcs) // BATCH)[group][eligible.shape]
    for number in np.unique(batch[wanted > 0]).tolist():
        yield np.where(batch == number, wanted, 0)


def as_served(_: Problem, eligible: Eligibility, flow: Flow, costs: Costs) -> Cheapest:
    """The pieces of a finished flow from where it took them, with what they cost."""
    served = _along(eligible, flow, *_served(flow))
    return Cheapest(served, _total(costs_of_arcs(eligible, costs), served), proven=False)


def _total(price: Positions, held: Held) -> int:
    return int((price[held.arc] * held.quantity).sum())


def _served(flow: Flow) -> tuple[Integers, Integers, Integers]:
    """Cells, classes and thousandths of what a flow holds."""
    cell = np.array(list(chain.from_iterable(flow.held)), dtype=np.int64)
    quantity = np.array(list(chain.from_iterable(holders.values() for holders in flow.held)), dtype=np.int64)
    return cell, np.repeat(np.arange(len(flow.held)), [len(holders) for holders in flow.held]), quantity


def _along(eligible: Eligibility, flow: Flow, cell: Integers, lot_class: Integers, quantity: Integers) -> Held:
    pairs = zip(cell.tolist(), lot_class.tolist(), strict=True)
    place = np.array([flow.arcs[one].index(of) for one, of in pairs], dtype=np.int64)
    return Held(cell, eligible.starts[eligible.shape[cell]] + place, quantity)


def _kept(problem: Problem, eligible: Eligibility, wanted: Integers) -> Held:
    """What an earlier plan promised to cells that want pieces, where they may still use it."""
    class_of: dict[int, int] = {}
    if any(cell.kept for cell in problem.cells):
        class_of = {lot: lot_class for lot_class, lots in enumerate(eligible.members) for lot in lots}
    kept: dict[tuple[int, int], int] = {}
    for index in np.flatnonzero(wanted).tolist() if class_of else ():
        first, end = eligible.starts[eligible.shape[index] :][:2].tolist()
        usable = eligible.targets[first:end].tolist()
        for lot, quantity in problem.cells[index].kept:
            if class_of[lot] in usable:
                arc = first + usable.index(class_of[lot])
                kept[index, arc] = kept.get((index, arc), 0) + quantity
    cell, arc = np.array(list(kept), dtype=np.int64).reshape(-1, 2).T
    return Held(cell, arc, np.array(list(kept.values()), dtype=np.int64))


def _asked(eligible: Eligibility, price: Positions, wanted: Integers, kept: Held) -> "_Asked":
    """Cells of one shape ask together; a cell that keeps pieces asks alone, and pays less for them."""
    cells = np.flatnonzero(wanted)
    shape = eligible.shape[cells]
    group = np.array(eligible.groups, dtype=np.int64)[eligible.targets[eligible.starts[shape]]]
    alone = np.where(np.isin(cells, kept.cell), cells, -1)
    first, asker = numbered(group, shape, alone)
    starts, counts = eligible.starts[shape[first]], np.diff(eligible.starts)[shape[first]]
    ends = np.cumsum(counts)
    arc = spans(starts, counts).astype(np.int32)
    total = np.zeros(len(first), dtype=np.int64)
    np.add.at(total, asker, wanted[cells])
    keeper = asker[np.searchsorted(cells, kept.cell)]
    in_turn = np.argsort(keeper, kind="stable")
    kept, keeper = kept.at(in_turn), keeper[in_turn]
    beside = ends[keeper]
    target = np.insert(np.repeat(np.arange(len(first), dtype=np.int32), counts), beside, keeper)
    return _Asked(
        cells=cells,
        asker=asker,
        group=group[first],
        wanted=total,
        target=target,
        arc=np.insert(arc, beside, kept.arc),
        price=np.insert(price[arc], beside, price[kept.arc] - KEPT),
        limited=beside + np.arange(len(beside)),
        most=np.minimum(kept.quantity, total[keeper]),
    )


@dataclass(frozen=True, slots=True)
class _Chains:
    """Classes group by group and chain by chain, easiest first, and for each its own price and whether it is linked."""

    classes: Integers
    own: Integers
    linked: Truths


def _chains(eligible: Eligibility, costs: Costs) -> _Chains:
    """Classes of an item in a depot, of which one is ready later or expires sooner than the one before, or both."""
    lots = eligible.facts.lots
    first = np.array([members[0] for members in eligible.members], dtype=np.int64)
    horizon = eligible.facts.good_through[eligible.facts.dated].max(initial=0)
    expiry = np.minimum(eligible.expiry, horizon)
    alike = [facts[first] for facts in (lots.only_kit, lots.own_only, lots.depot, lots.item)]
    classes = np.lexsort((-expiry, lots.ready[first], lots.is_order[first], *alike, np.array(eligible.groups)))
    first, expiry = first[classes], expiry[classes]
    at_home = costs.way[first, lots.depot[first]]
    linked = np.zeros(len(first), dtype=bool)
    linked[1:] = (
        np.all([facts[classes[1:]] == facts[classes[:-1]] for facts in alike], axis=0)
        & (np.diff(lots.arrives[first], axis=0) >= 0).all(axis=1)
        & (np.diff(expiry) <= 0)
        & (np.diff(costs.way[first], axis=0) == np.diff(at_home)[:, None]).all(axis=1)
    )
    return _Chains(classes, costs.expiry[first] + at_home, linked)


@dataclass(frozen=True, slots=True)
class _Asked:
    """Cells that ask the same together, group by group, and the arcs that they may use.

    Args:
        cells: those that want pieces, in order of service.
        asker: for each of them the number of those that it asks with.
        group: for each asker its group.
        wanted: for each asker its thousandths.
        target: for each arc its asker, in order.
        arc: for each its position in ``Eligibility.targets``.
        price: for each the cost of a piece.
        limited: arcs along which pieces are kept.
        most: for each of them how many thousandths.
    """

    cells: Integers
    asker: Integers
    group: Integers
    wanted: Integers
    target: Positions
    arc: Positions
    price: Positions
    limited: Integers
    most: Integers

    def solved(self, eligible: Eligibility, chains: "_Chains") -> tuple[Integers, Integers]:
        """Thousandths along each arc at the least cost, and the groups that ask and of which that is not proven."""
        groups, asker_part = np.unique(self.group, return_inverse=True)
        group_of = np.array(eligible.groups, dtype=np.int64)
        asks = np.isin(group_of[chains.classes], groups)
        classes = chains.classes[asks]
        place = np.zeros(len(group_of), dtype=np.int32)
        place[classes] = np.arange(len(classes))
        class_part, arc_part = np.searchsorted(groups, group_of[classes]), asker_part.astype(np.int32)[self.target]
        stock = np.array(eligible.stock, dtype=np.int64)[classes]
        unit = np.zeros(len(groups), dtype=np.int64)
        for part, quantity in ((asker_part, self.wanted), (class_part, stock), (arc_part[self.limited], self.most)):
            np.gcd.at(unit, part, quantity)
        pieces, proven = Transport(
            wanted=self.wanted // unit[asker_part],
            stock=stock // unit[class_part],
            target=self.target,
            source=place[eligible.targets[self.arc]],
            price=self.price,
            limited=self.limited,
            most=self.most // unit[arc_part[self.limited]],
            asker_part=asker_part,
            class_part=class_part,
            own=chains.own[asks],
            linked=chains.linked[asks],
        ).least()
        pieces *= np.where(proven, unit, 0)[arc_part]
        return pieces, groups[~proven]

    def handed_out(self, wanted: Integers, taken: Integers) -> Held:
        """What is taken, to cells in order of service, the cheapest first."""
        given = np.flatnonzero(taken)
        given = given[np.lexsort((self.price[given], self.target[given]))]
        served = np.zeros(len(self.wanted), dtype=bool)
        served[self.target[given]] = True
        askers = np.flatnonzero(served[self.asker])
        cells = self.cells[askers[np.argsort(self.asker[askers], kind="stable")]]
        by_cell, by_arc = np.cumsum(wanted[cells]), np.cumsum(taken[given])
        ends = np.union1d(by_cell, by_arc)
        return Held(
            cell=cells[np.searchsorted(by_cell, ends)],
            arc=self.arc[given[np.searchsorted(by_arc, ends)]].astype(np.int64),
            quantity=np.diff(ends, prepend=0),
        )
