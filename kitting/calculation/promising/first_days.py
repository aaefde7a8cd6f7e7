"""The first day on which pieces that no kit served in turn holds would complete a refused kit.

Stock on order counts, re-routing of others does not, and the last day the pieces must be good for moves with the
staged-by day, as do those of all its depots. A kit moved to that day is served in turn, and nobody loses a piece.
"""

import numpy as np

from kitting.calculation.promising.eligibility import Eligibility
from kitting.calculation.promising.flow import Flow
from kitting.calculation.promising.model import NEVER, Problem
from kitting.calculation.promising.strict_order import StrictOrder

Row = list[tuple[int, int, int, int]]  # (arrival day, last good day, class, kit it is kept for), first to arrive first


class FirstDays:
    """Free pieces by item and depot, asked kit by kit."""

    def __init__(self, problem: Problem, eligible: Eligibility, order: StrictOrder) -> None:
        self._problem = problem
        self._eligible = eligible
        self._order = order
        self._shelves: dict[tuple[int, int], Row] = {}
        lots, items = eligible.facts.lots, len(problem.items)
        free = np.flatnonzero(np.array(order.flow.room, dtype=np.int64))
        first = np.array([eligible.members[lot_class][0] for lot_class in free.tolist()], dtype=np.int64)
        at, depot = np.nonzero(lots.arrives[first] < NEVER)
        lot = first[at]
        columns = (lots.arrives[lot, depot], lots.expiry[lot], free[at], lots.only_kit[lot])
        shelf = depot * items + lots.item[lot]
        in_turn = np.lexsort((*reversed(columns), shelf))
        self._entries = [column[in_turn].tolist() for column in columns]
        self._bounds = np.searchsorted(shelf[in_turn], np.arange(lots.arrival.shape[1] * items + 1)).tolist()

    def first_day(self, kit: int, failed: int) -> int:
        """The day, or NEVER; ``failed`` is the cell at which the kit was refused, the likeliest to say NEVER."""
        cells = self._order.required[kit]
        earliest, rows = self._problem.kits[kit].staged_by_day + 1, {}
        for cell in [failed, *cells]:
            if cell not in rows:
                rows[cell] = self._row(cell)
                earliest = max(earliest, self._enough(rows[cell], self._eligible.need[cell]))
                if earliest == NEVER:
                    return NEVER
        days = {arrival for row in rows.values() for arrival, *_ in row if arrival >= earliest}
        return next((day for day in sorted(days | {earliest}) if self._fits(kit, day, rows)), NEVER)

    def _shelf(self, item: int, depot: int) -> Row:
        """Classes of an item with free pieces, where a way leads to the depot."""
        shelf = self._shelves.get((item, depot))
        if shelf is None:
            at = depot * len(self._problem.items) + item
            here = slice(*self._bounds[at : at + 2])
            shelf = self._shelves[item, depot] = list(zip(*(column[here] for column in self._entries), strict=True))
        return shelf

    def _row(self, cell: int) -> Row:
        """Classes with free pieces that the cell could use one day after its own, with days as of the whole kit."""
        asking = self._problem.cells[cell]
        kit = self._problem.asking(asking)
        choice = asking.options + asking.stand_ins
        row = [entry for item in choice for entry in self._shelf(item, kit.depot)]
        if len(choice) > 1:
            row.sort()
        last_day = kit.good_through_day
        row = [entry for entry in row if entry[1] > last_day and entry[3] in (-1, asking.kit)]
        later = kit.staged_by_day - self._problem.kits[asking.kit].staged_by_day
        return [(arrival - later, last, one, owner) for arrival, last, one, owner in row] if later else row

    def _enough(self, row: Row, need: int) -> int:
        """First day with enough free pieces for one cell alone, whatever their last good day, or NEVER."""
        for arrival, _, lot_class, _ in row:
            need -= self._order.flow.room[lot_class]
            if need <= 0:
                return arrival
        return NEVER

    def _fits(self, kit: int, day: int, rows: dict[int, Row]) -> bool:
        """True where the kit's required cells fit together into free pieces, staged on that day."""
        asking = self._problem.kits[kit]
        good_through = asking.good_through_day + day - asking.staged_by_day
        room, need = self._order.flow.room, self._eligible.need
        usable = {}
        for cell in reversed(rows):
            row = rows[cell]
            usable[cell] = [one for arrival, expiry, one, _ in row if arrival <= day and expiry >= good_through]
            if sum([room[one] for one in usable[cell]]) < need[cell]:
                rows[cell] = rows.pop(cell)  # to be looked at first on the next day
                return False
        place: dict[int, int] = {}
        arcs = [[place.setdefault(one, len(place)) for one in classes] for classes in usable.values()]
        flow = Flow([room[one] for one in place], [0] * len(place), arcs, range(len(arcs)))
        return not any(flow.fill(position, need[cell]) for position, cell in enumerate(usable))
