"""The problem as arrays: what is said of kits, cells and lots, to be looked at all at once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitting.calculation.promising.model import NEVER, ORDER, SHELF, TRANSFER, Lot, Problem
from kitting.calculation.promising.usable import ALWAYS, SOURCES, is_buyable

Integers = NDArray[np.int64]
Positions = NDArray[np.int32]
Truths = NDArray[np.bool_]
Choice = tuple[tuple[int, ...], tuple[int, ...]]  # options and stand-ins


@dataclass(frozen=True, slots=True)
class LotFacts:
    """Columns of lots.

    Args:
        item, depot, quantity, ready, expiry, only_kit, walk, key: as in ``Lot``.
        own_only, is_order: true where the pieces may not move; where they are on order.
        arrival: by lot and depot, as in ``Lot``.
        source: by lot and depot how the pieces come there, as a position in SOURCES; see ``source_of``.
        arrives: by lot and depot the day that decides whether they are in time; see ``arrival_day``.
    """

    item: Integers
    depot: Integers
    quantity: Integers
    ready: Integers
    expiry: Integers
    only_kit: Integers
    walk: Integers
    key: Integers
    own_only: Truths
    is_order: Truths
    arrival: Integers
    source: Integers
    arrives: Integers


@dataclass(frozen=True, slots=True)
class Places:
    """Where stock codes stand in orders of choice.

    Args:
        pair: choice x number of items + item, ascending.
        place: for each pair the first place of the item.
        stands_in: for each pair true where only an approval lets the item in.
        items: the number of items.
    """

    pair: Integers
    place: Integers
    stands_in: Truths
    items: int

    def find(self, choice: Integers, item: Integers) -> tuple[Integers, Truths]:
        """For pairs the position here, and true where the choice has the item."""
        wanted = choice * self.items + item
        at = np.minimum(np.searchsorted(self.pair, wanted), len(self.pair) - 1)
        return at, self.pair[at] == wanted


@dataclass(frozen=True, slots=True)
class Facts:
    """Columns of a problem.

    Args:
        good_through, dated: by kit.
        kit, depot, staged_by, quantity, spare, buyable: by cell.
        choice: for each cell the number of its order of choice.
        choices: the orders of choice, as cells first name them.
        lots: by lot.
    """

    good_through: Integers
    dated: Truths
    kit: Integers
    depot: Integers
    staged_by: Integers
    quantity: Integers
    spare: Truths
    buyable: Truths
    choice: Integers
    choices: tuple[Choice, ...]
    lots: LotFacts

    def usable(self, lot: Integers, cell: Integers) -> Truths:
        """For pairs of lot and cell true where the pieces may go into its kit there; see ``is_usable``."""
        kit, kept_for = self.kit[cell], self.lots.only_kit[lot]
        fits: Truths = (
            self.dated[kit]
            & ((kept_for < 0) | (kept_for == kit))
            & (self.lots.expiry[lot] >= self.good_through[kit])
            & (self.lots.arrives[lot, self.depot[cell]] <= self.staged_by[cell])
        )
        return fits

    def places(self, items: int) -> Places:
        """Where the items of a problem with so many stand in the orders of choice."""
        entries = [
            (number * items + item, place, place >= len(options))
            for number, (options, stand_ins) in enumerate(self.choices)
            for place, item in enumerate(options + stand_ins)
        ]
        pair, place, stands_in = np.array(entries, dtype=np.int64).reshape(-1, 3).T
        pair, first = np.unique(pair, return_index=True)
        return Places(pair, place[first], stands_in[first].astype(bool), items)


def facts_of(problem: Problem) -> Facts:
    """Columns of the kits, cells and lots of a problem."""
    kits, cells = problem.kits, problem.cells
    kit = _whole([cell.kit for cell in cells])
    numbers: dict[Choice, int] = {}
    choice = [numbers.setdefault((cell.options, cell.stand_ins), len(numbers)) for cell in cells]
    depot, staged_by = (_whole([getattr(one, name) for one in kits])[kit] for name in ("depot", "staged_by_day"))
    split = any(one.parts for one in kits)
    for index in [index for index, cell in enumerate(cells) if cell.depot >= 0] if split else ():
        asking = problem.asking(cells[index])
        depot[index], staged_by[index] = asking.depot, asking.staged_by_day
    return Facts(
        good_through=_whole([kit.good_through_day for kit in kits]),
        dated=np.array([kit.dated for kit in kits], dtype=bool),
        kit=kit,
        depot=depot,
        staged_by=staged_by,
        quantity=_whole([cell.quantity for cell in cells]),
        spare=np.array([cell.spare for cell in cells], dtype=bool),
        buyable=_buyable(problem, kit),
        choice=_whole(choice),
        choices=tuple(numbers),
        lots=_lot_facts(problem.lots, len(problem.depots)),
    )


def _buyable(problem: Problem, kit: Integers) -> Truths:
    buyable = np.array([bool(one.buyable or one.parts) for one in problem.kits], dtype=bool)[kit]
    for index in np.flatnonzero(buyable).tolist():
        cell = problem.cells[index]
        buyable[index] = is_buyable(cell, problem.asking(cell))
    return buyable


def _lot_facts(lots: tuple[Lot, ...], depots: int) -> LotFacts:
    depot, ready = _whole([lot.depot for lot in lots]), _whole([lot.ready_day for lot in lots])
    own_only = np.array([lot.own_depot_only for lot in lots], dtype=bool)
    is_order = np.array([lot.is_order for lot in lots], dtype=bool)
    arrival = _whole([lot.arrival for lot in lots]).reshape(len(lots), -1 if lots else depots)
    elsewhere = depot[:, None] != np.arange(arrival.shape[1])
    by_place = np.where(elsewhere, SOURCES.index(TRANSFER), SOURCES.index(SHELF))
    source = np.where(is_order[:, None], SOURCES.index(ORDER), by_place)
    arrives = np.where(source == SOURCES.index(SHELF), ALWAYS, arrival)
    return LotFacts(
        item=_whole([lot.item for lot in lots]),
        depot=depot,
        quantity=_whole([lot.quantity for lot in lots]),
        ready=ready,
        expiry=_whole([lot.expiry_day for lot in lots]),
        only_kit=_whole([lot.only_kit for lot in lots]),
        walk=_whole([lot.walk for lot in lots]),
        key=_whole([lot.key for lot in lots]),
        own_only=own_only,
        is_order=is_order,
        arrival=arrival,
        source=source,
        arrives=np.where(own_only[:, None] & elsewhere, NEVER, arrives),
    )


def _whole(numbers: list[int] | list[tuple[int, ...]]) -> Integers:
    return np.array(numbers, dtype=np.int64)
