"""The moves that might help a kit in one group of stock codes: of each kind the few that bring usable pieces."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from kitting.calculation.promising.model import NEVER, Kit, Lot, Problem, Promised
from kitting.calculation.promising.moves import (
    BUY,
    EXPEDITE,
    FROM_OTHERS,
    HURRY,
    RESERVE,
    STAND_IN,
    SWAP,
    TRANSFER,
    TRUCK,
    Move,
    Slip,
)
from kitting.calculation.promising.usable import arrival_day, is_usable

MOST_CANDIDATES = 8  # moves of one kind in one group
IN_HAND = (TRANSFER, TRUCK, RESERVE, STAND_IN, HURRY)

Pieces = list[tuple[int, int]]  # (lot, thousandths)


@dataclass(frozen=True, slots=True)
class Chances:
    """What the problem itself does not hold.

    Args:
        locked: pieces that a person may release, as (TRUCK or RESERVE, lot).
        unapproved: for a cell the items that pass every hard check and are not approved for it, best first.
        buy_day: for an item, a kit and its depot (-1: it has one) the day on which pieces ordered on the as-of day can
            be staged there, or NEVER.
        slip: for a kit and a day the earliest later cutover whose staged-by day is that day or later, and at each of
            its depots as much later.
    """

    locked: tuple[tuple[str, Lot], ...]
    unapproved: Callable[[int], tuple[int, ...]]
    buy_day: Callable[[int, int, int], int]
    slip: Callable[[int, int], Slip]


class Candidates:
    """Who holds what, and what nobody holds, after a plan."""

    def __init__(self, problem: Problem, promised: Promised, chances: Chances) -> None:
        self._problem, self._chances = problem, chances
        self._served = promised.served_in_turn
        self._left = [lot.quantity for lot in problem.lots]
        self._lots: dict[int, list[int]] = defaultdict(list)
        self._held: dict[int, dict[int, Pieces]] = defaultdict(lambda: defaultdict(list))
        self._fixed: dict[int, dict[int, Pieces]] = defaultdict(lambda: defaultdict(list))
        for position, lot in enumerate(problem.lots):
            self._lots[lot.item].append(position)
        for piece in promised.allocations:
            self._left[piece.lot] -= piece.quantity
            kit = problem.cells[piece.cell].kit
            self._held[problem.lots[piece.lot].item][kit].append((piece.lot, piece.quantity))
        not_kept: dict[tuple[int, int], int] = defaultdict(int)
        for index, position, quantity in promised.not_kept:
            not_kept[index, position] += quantity
        self._kept: dict[int, int] = defaultdict(int)
        for index, cell in enumerate(problem.cells):
            for position, quantity in cell.fixed:
                lost = min(quantity, not_kept[index, position])
                not_kept[index, position] -= lost
                self._kept[index] += quantity - lost
                if quantity > lost:
                    self._fixed[problem.lots[position].item][cell.kit].append((position, quantity - lost))

    def fixed_pieces(self, cell: int) -> int:
        """Thousandths that a cell holds for good: pinned, picked or staged, and still there."""
        return self._kept[cell]

    def of(self, kit: int, own: Sequence[int], missing: int) -> Mapping[str, list[Move]]:
        """Candidates by kind.

        Args:
            kit: the kit.
            own: its cells in the group.
            missing: thousandths that they lack together.
        """
        found: dict[str, list[Move]] = defaultdict(list)
        for depot, cells in self._by_depot(own).items():
            for move in self._coming_to(kit, depot, cells, missing):
                if len(found[move.kind]) < MOST_CANDIDATES:
                    found[move.kind].append(replace(move, to=depot) if depot >= 0 else move)
        return {kind: moves for kind, moves in found.items() if moves}

    def _by_depot(self, own: Sequence[int]) -> Mapping[int, list[int]]:
        """Cells by the depot at which they are staged, -1 where the kit has one."""
        found: dict[int, list[int]] = defaultdict(list)
        for index in own:
            found[self._problem.cells[index].depot].append(index)
        return dict(sorted(found.items()))

    def _coming_to(self, kit: int, depot: int, own: Sequence[int], missing: int) -> Iterator[Move]:
        asking, choice = self._problem.kits[kit].at(depot), self._choice(own, stand_ins=True)
        yield from self._bought(asking, self._choice(own, stand_ins=False), missing)
        yield from self._sooner(asking, choice)
        yield from self._released(kit, asking, choice)
        yield from self._stand_ins(kit, asking, own)
        yield from self._lent(kit, asking, choice)

    def _choice(self, own: Sequence[int], *, stand_ins: bool) -> tuple[int, ...]:
        """All that the cells may use: first choices first."""
        choices = []
        for index in own:
            cell = self._problem.cells[index]
            choices.append(cell.options + cell.stand_ins if stand_ins else cell.options)
        longest = max(map(len, choices))
        return tuple(dict.fromkeys(choice[at] for at in range(longest) for choice in choices if at < len(choice)))

    def _bought(self, asking: Kit, options: Sequence[int], missing: int) -> Iterator[Move]:
        for item in options:
            if item in asking.buyable:
                yield Move(BUY, item, missing, asking.staged_by_day)
            elif asking.staged_by_day > self._problem.as_of_day:
                yield Move(EXPEDITE, item, missing, asking.staged_by_day)

    def _sooner(self, asking: Kit, choice: Sequence[int]) -> Iterator[Move]:
        """Pieces that nobody holds and that come too late, or to another depot only."""
        problem = self._problem
        if asking.staged_by_day <= problem.as_of_day:
            return
        for item in choice:
            piles: dict[tuple[str, int], Pieces] = defaultdict(list)
            for position in self._lots[item]:
                lot = problem.lots[position]
                movable = lot.only_kit == -1 and not lot.own_depot_only and lot.expiry_day >= asking.good_through_day
                if self._left[position] and movable and arrival_day(lot, asking.depot) > asking.staged_by_day:
                    piles[HURRY if lot.is_order else TRANSFER, lot.depot].append((position, self._left[position]))
            for (kind, depot), pile in sorted(piles.items()):
                if kind == TRANSFER:
                    yield _taking(Move(kind, item, 0, asking.staged_by_day, depot), pile)
                else:
                    yield from (_taking(Move(kind, item, 0, asking.staged_by_day, depot), [one]) for one in pile)

    def _released(self, kit: int, asking: Kit, choice: Sequence[int]) -> Iterator[Move]:
        for item in choice:
            piles: dict[tuple[str, int], int] = defaultdict(int)
            for kind, lot in self._chances.locked:
                if lot.item == item and is_usable(lot, asking, kit):
                    piles[kind, lot.depot] += lot.quantity
            for (kind, depot), pieces in sorted(piles.items(), key=lambda pile: (pile[0][1] != asking.depot, pile[0])):
                yield Move(kind, item, pieces, asking.staged_by_day, depot)

    def _stand_ins(self, kit: int, asking: Kit, own: Sequence[int]) -> Iterator[Move]:
        """Pieces that nobody holds, then those of kits that come later in the order of service."""
        serves: dict[int, list[int]] = defaultdict(list)
        for index in own:
            for item in self._chances.unapproved(index):
                serves[item].append(index)
        for item, cells in serves.items():
            piles: dict[int, Pieces] = defaultdict(list)
            free = [(position, self._left[position]) for position in self._lots[item] if self._left[position]]
            for position, pieces in free + self._held_later(item, kit):
                lot = self._problem.lots[position]
                if is_usable(lot, asking, kit):
                    piles[lot.depot].append((position, pieces))
            for depot, pile in sorted(piles.items(), key=lambda one: (one[0] != asking.depot, one[0])):
                yield _taking(Move(STAND_IN, item, 0, asking.staged_by_day, depot, cells=tuple(cells)), pile)

    def _held_later(self, item: int, kit: int) -> Pieces:
        """Pieces of kits that come later, the last first, but for what is fixed to them."""
        pieces: dict[int, int] = {}
        for other in sorted((other for other in self._held[item] if other > kit), reverse=True):
            for position, quantity in self._held[item][other]:
                pieces[position] = pieces.get(position, 0) + quantity
            for position, quantity in self._fixed[item].get(other, ()):
                pieces[position] -= quantity
        return [(position, quantity) for position, quantity in pieces.items() if quantity]

    def _lent(self, kit: int, asking: Kit, choice: Sequence[int]) -> Iterator[Move]:
        """Pieces of other kits, the last to be served first: what lies on a shelf or is to come, what lies in a bag."""
        lots = self._problem.lots
        found = []
        for place, item in enumerate(choice):
            for lender, pile in self._lenders(item, kit).items():
                own = [(lots[position], pieces, position) for position, pieces in pile if not lots[position].let_go]
                usable = [
                    (position, pieces) for lot, pieces, position in own
                    if is_usable(replace(lot, only_kit=-1), asking, kit)
                ]  # fmt: skip
                for kind in FROM_OTHERS:
                    some = [(lot, pieces) for lot, pieces in usable if (lots[lot].only_kit == -1) == (kind == SWAP)]
                    if some:
                        move = Move(kind, item, 0, asking.staged_by_day, lots[some[0][0]].depot, lender=lender)
                        found.append((-lender, place, _taking(move, some)))
        yield from (move for _, _, move in sorted(found, key=lambda one: one[:2]))

    def _lenders(self, item: int, kit: int) -> dict[int, Pieces]:
        """Who holds pieces that the kit can't have in its turn: kits served before, and what is kept for others."""
        before = {lender for lender in self._held[item] if lender < kit and self._served[lender]}
        piles = {
            lender: [*(self._held if lender in before else self._fixed)[item].get(lender, ())]
            for lender in sorted({*before, *self._fixed[item]} - {kit})
        }
        for position in self._lots[item]:
            owner = self._problem.lots[position].only_kit
            if self._left[position] and owner not in (-1, kit):
                piles.setdefault(owner, []).append((position, self._left[position]))
        return piles

    def later_days(self, kit: int, lacking: Sequence[tuple[Sequence[int], int]]) -> list[int]:
        """Staged-by days after the kit's own on which more can be there, from the first that may bring enough.

        Args:
            kit: the kit.
            lacking: for each group that lacks pieces the kit's cells and how many thousandths are missing.
        """
        whole, problem = self._problem.kits[kit], self._problem
        days: set[int] = set()
        first = whole.staged_by_day + 1
        for own, missing in lacking:
            ways: dict[int, set[int]] = defaultdict(set)  # lot -> when it can be at depots of the kit, as its own days
            bought = []
            for depot, cells in self._by_depot(own).items():
                asking = whole.at(depot)
                later = asking.staged_by_day - whole.staged_by_day
                for item in self._choice(cells, stand_ins=True):
                    for position in self._lots[item]:
                        lot = problem.lots[position]
                        if self._left[position] and lot.only_kit in (-1, kit):
                            day = arrival_day(lot, asking.depot)
                            ways[position] |= {day - later} if asking.staged_by_day < day < NEVER else set()
                for item in self._choice(cells, stand_ins=False):
                    day = self._chances.buy_day(item, kit, depot)
                    bought += [(day - later, missing)] if asking.staged_by_day < day < NEVER else []
            coming = sorted([(min(found), self._left[lot]) for lot, found in ways.items() if found] + bought)
            days = days.union(*ways.values(), (day for day, _ in bought))
            first = max(first, _enough(coming, missing))
        return [day for day in sorted(days) if day >= first]


def _enough(coming: Sequence[tuple[int, int]], missing: int) -> int:
    """The first day on which so many thousandths have come, or NEVER."""
    for day, pieces in coming:
        missing -= pieces
        if missing <= 0:
            return day
    return NEVER


def _taking(move: Move, pile: Pieces) -> Move:
    """The move with the most pieces that a pile of lots has, taken in the order of the pile."""
    merged: dict[int, int] = {}
    for position, pieces in pile:
        merged[position] = merged.get(position, 0) + pieces
    return replace(move, quantity=sum(merged.values()), lots=tuple(merged.items()))
