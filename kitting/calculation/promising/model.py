"""The promising problem as integers: kits in order of service, lots with dates, and what is promised to whom.

Everything is an integer: items, depots and kits are positions in lists, days are proleptic Gregorian ordinals
(``date.toordinal()``), quantities are thousandths of a stock unit.
"""

from array import array
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

NEVER = 2**31  # a day no plan reaches: the expiry of a lot that has none

SHELF, TRANSFER, ORDER = "shelf", "transfer", "order"


@dataclass(frozen=True, slots=True)
class Lot:
    """Pieces of one item that lie, or will land, at one place.

    Args:
        item: index of the stock code.
        depot: index of the depot where the pieces lie or land; -1 for pieces on the road, which come as a transfer.
        quantity: thousandths of a stock unit, above zero.
        ready_day: day the pieces are usable there: the as-of day for a shelf, promised + receiving for an order.
        expiry_day: last good day, or NEVER.
        arrival: for each depot index the day the pieces can be there, or NEVER if no way leads (own: ready_day).
        only_kit: kit index the pieces are kept for (staging, bag), or -1.
        own_depot_only: true where the pieces may not move to another depot (supplier-owned).
        is_order: true for a piece on order.
        walk: position in the natural order of place then lot, for ties.
        key: index of the row of stock or orders, to name place, lot and order again.
        let_go: true where the pieces are past their date and serve ``only_kit`` by signature: nobody may borrow them.
    """

    item: int
    depot: int
    quantity: int
    ready_day: int
    expiry_day: int
    arrival: tuple[int, ...]
    only_kit: int
    own_depot_only: bool
    is_order: bool
    walk: int
    key: int
    let_go: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """Lines of one kit that ask the same: equal options, one quantity.

    Args:
        kit: index of the kit, in order of service.
        options: item indices that serve, best first.
        stand_ins: item indices allowed as stand-ins for this kit, best first, after all options.
        quantity: thousandths.
        spare: a spare line: served after everything else, never counted for completeness.
        fixed: (lot position in Supply.lots, thousandths) pieces already pinned, picked or staged for this cell.
        kept: the same for pieces beyond the fixed ones that an earlier plan promised: kept where nothing is lost by it.
        depot: index of the depot at which the pieces are staged; only where the kit has several, else -1.
    """

    kit: int
    options: tuple[int, ...]
    stand_ins: tuple[int, ...]
    quantity: int
    spare: bool
    fixed: tuple[tuple[int, int], ...] = ()
    kept: tuple[tuple[int, int], ...] = ()
    depot: int = -1


@dataclass(frozen=True, slots=True)
class Kit:
    """One job in order of service: its depot, staged-by day and the last day its pieces must be good for.

    ``buyable`` holds the items that can still be bought in time for this job: pieces without limit, dearest of all.
    ``dated`` is false for a job without a cutover: nothing is promised to it. ``weight`` counts inside a tier only.
    ``parts`` is the same kit as each of its depots sees it, where its bags are staged at several: its own staged-by day
    is then the earliest of theirs.
    """

    job: str
    depot: int
    staged_by_day: int
    good_through_day: int
    buyable: frozenset[int]
    dated: bool = True
    weight: int = 1
    parts: "tuple[Kit, ...]" = ()

    def at(self, depot: int) -> "Kit":
        """The kit as its bags at a depot see it; -1: as a whole."""
        return next((part for part in self.parts if part.depot == depot), self)


@dataclass(frozen=True, slots=True)
class Problem:
    """Kits in order of service, their cells in line order, and the free lots.

    ``tier_days`` is the length of a tier; 0: strict order, NEVER: all kits in one.
    """

    kits: tuple[Kit, ...]
    cells: tuple[Cell, ...]
    lots: tuple[Lot, ...]
    items: tuple[str, ...]
    depots: tuple[str, ...]
    as_of_day: int
    stand_in_caps: Mapping[int, int] | None = None
    tier_days: int = 0

    def asking(self, cell: Cell) -> Kit:
        """The kit of a cell as the depot sees it at which the cell is staged."""
        return self.kits[cell.kit].at(cell.depot)


class Allocation(NamedTuple):
    """Pieces of one lot for one cell; ``source`` is shelf, transfer or order; ``ready_day`` is at its depot."""

    cell: int
    lot: int
    quantity: int
    source: str
    ready_day: int


@dataclass(frozen=True, slots=True)
class RefusedKit:
    """Why a kit can't be completed: a set of items whose pieces earlier kits hold (a saturated set).

    ``items`` have ``stock`` free thousandths, in ``lots``; earlier kits, and those that the same tier chose before this
    one (``competing_kits``), whose cells have no other choice, hold ``competing`` of them; the cells of this kit that
    have no other choice either ask for ``stock - competing + missing``; ``cell`` is the first of them that failed.
    ``holders`` are the kits of all cells that hold pieces of the set, in turn, of which the first ``before`` compete.
    ``first_day`` is the first staged-by day on which pieces that no kit served in turn holds would complete the kit
    (the last good day moves with it), or NEVER.
    """

    kit: int
    cell: int
    items: tuple[int, ...]
    stock: int
    holders: "array[int]"
    before: int
    competing: int
    missing: int
    first_day: int
    lots: tuple[int, ...]

    @property
    def competing_kits(self) -> tuple[int, ...]:
        """Each once. Refused kits share their holders: thousands may compete for a set, and thousands be refused."""
        return tuple(sorted(set(self.holders[: self.before])))


@dataclass(frozen=True, slots=True)
class Promised:
    """The plan of pieces.

    Args:
        allocations: in cell order, then the order the pieces were taken.
        bought: for each cell index the thousandths that count as bought in time (reported short with an order-by).
        short: for each cell index the thousandths that can't be had, the bought ones included.
        served_in_turn: for each kit true when it was completed in its turn (buying in time counts).
        refused: the refused kits with their reason.
        policy: name of the rule used.
        status: ``not proven``, ``proven`` or ``at most n kits from best``.
        bound: greatest number of complete kits that any plan in this order could have, or None; in tiers the kits
            served and the weight that a better choice could still win.
        not_kept: (cell, lot, thousandths) fixed pieces that the lot no longer holds, or that no longer serve.
        cost: what all pieces cost together (``costs``), in thousandths of a piece's cost.
        cheapest: true where it is proven that the same cells can't be served at less cost.
    """

    allocations: tuple[Allocation, ...]
    bought: Mapping[int, int]
    short: Mapping[int, int]
    served_in_turn: tuple[bool, ...]
    refused: tuple[RefusedKit, ...]
    policy: str
    status: str
    bound: int | None
    not_kept: tuple[tuple[int, int, int], ...] = ()
    cost: int = 0
    cheapest: bool = True
