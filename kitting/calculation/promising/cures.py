"""What would complete a kit that is short: the smallest sets of moves, each tried by planning again with it.

A kit is cured when, planned again, every counted piece of it is promised. In a group of stock codes that lacks no
counted piece every demand fits together whoever is served, so such a group can't change and is left out of the trial.
What a kit lacks in its turn can be told group by group, with the kits served before it: pieces brought to it alone
change none of them. There each further piece of one move lowers what is missing by one until it lowers it no more
(an augmenting path more, or none), so the least quantity of a move is what the kit misses without it. And several
moves together win no more than each alone, as what a flow can serve is a polymatroid (see ``strict_order``): those
whose gains don't add up to what is missing need no trial. What is taken from other lots wins at most itself: a lender
that is served before takes from the others what it lent, and the kit may have used those lots.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from kitting.calculation.promising.eligibility import eligibility, item_groups
from kitting.calculation.promising.model import Kit, Problem, Promised
from kitting.calculation.promising.move_candidates import IN_HAND, Candidates, Chances
from kitting.calculation.promising.moves import (
    BUY,
    EFFORT,
    EXPEDITE,
    FROM_OTHERS,
    SLIP,
    STAND_IN,
    Move,
    Part,
    slipped,
)
from kitting.calculation.promising.strict_order import StrictOrder

MOST_WORK = 10_000  # cells planned again for all kits together; a limit of work, not of time, so that plans repeat
MOST_CURES = 4  # of one kit
MOST_MOVES = 3  # in one group of stock codes
MOST_DAYS = 6  # later days tried for one kit

# Each kind is tried beside buying in time; where that finds no cure from what is in hand, several kinds together.
_ALONE = ((BUY,), *((kind, BUY) for kind in (*IN_HAND, EXPEDITE, *FROM_OTHERS)))
_TOGETHER = (tuple((*pair, BUY) for pair in combinations(IN_HAND, 2)), ((*IN_HAND, BUY),))

Solve = Callable[[Problem], Promised]


@dataclass(frozen=True, slots=True)
class Cure:
    """Moves that complete a kit, and what they break: (kit, cell, thousandths that it is shorter than before).

    ``instead`` is what kits that give pieces take then: (kit, position in ``Problem.lots``, thousandths more of it).
    """

    kit: int
    moves: tuple[Move, ...]
    breaks: tuple[tuple[int, int, int], ...]
    instead: tuple[tuple[int, int, int], ...] = ()


@dataclass(slots=True)
class _Group:
    """A group of stock codes that a kit lacks: itself and the kits before it, what is missing, what may help.

    ``known`` is the smallest set of moves by kinds, ``left`` what is missing after moves that were tried.
    """

    part: Part
    own: frozenset[int]
    missing: int
    candidates: Mapping[str, Sequence[Move]]
    known: dict[tuple[str, ...], tuple[Move, ...] | None] = field(default_factory=dict)
    left: dict[tuple[Move, ...], int] = field(default_factory=dict)


class CureSearch:
    """Looks for cures, kit by kit, until the limit of work is reached.

    Args:
        problem: what was asked.
        promised: what was answered; a kit with a counted cell short there is to be cured.
        chances: what a person may do beside.
        solve: plans a problem again, by the rule that made ``promised``.
    """

    def __init__(self, problem: Problem, promised: Promised, chances: Chances, solve: Solve) -> None:
        self._problem, self._promised, self._chances, self._solve = problem, promised, chances, solve
        self._candidates = Candidates(problem, promised, chances)
        self._work = 0
        self._group_of = group_of = item_groups(
            len(problem.items), {cell.options + cell.stand_ins for cell in problem.cells}
        )
        self._scarce = {group_of[item] for item in problem.stand_in_caps or ()}
        self._cells: dict[int, list[int]] = defaultdict(list)
        self._lots: dict[int, list[int]] = defaultdict(list)
        self._groups_of_kit: dict[int, dict[int, None]] = defaultdict(dict)
        for index, cell in enumerate(problem.cells):
            if problem.kits[cell.kit].dated and (cell.fixed or not cell.spare):
                group = group_of[cell.options[0]]
                self._cells[group].append(index)
                self._groups_of_kit[cell.kit][group] = None
                if not cell.spare and promised.short.get(index):
                    self._scarce.add(group)
        for position, lot in enumerate(problem.lots):
            self._lots[group_of[lot.item]].append(position)

    def short_kits(self) -> list[int]:
        """Kits with a counted piece short, in the order of service."""
        cells = self._problem.cells
        return sorted({cells[cell].kit for cell in self._promised.short if not cells[cell].spare})

    def cures(self, kit: int) -> list[Cure] | None:
        """The cures of a kit: first those that break nothing, then by effort, then by number of moves.

        None where the limit of work is reached.
        """
        if self._work > MOST_WORK:
            return None
        groups = self._lacking(kit)
        found = [*self._bringing(kit, groups), *self._slips(kit, groups)] if groups else []
        return sorted(found, key=_rank)[:MOST_CURES]

    def _planned(self, problem: Problem) -> Promised:
        """The whole plan of a part, audited as any other."""
        self._work += len(problem.cells)
        return self._solve(problem)

    def _around(self, kit: int, also: frozenset[int]) -> Part:
        """All that can matter to a kit: groups that are scarce or named, joined by the kits that use them."""
        new = sorted(also | (self._scarce & self._groups_of_kit[kit].keys()))
        groups, kits = set(new), {kit}
        for group in new:
            for other in sorted({self._problem.cells[cell].kit for cell in self._cells[group]} - kits):
                kits.add(other)
                joined = (self._scarce & self._groups_of_kit[other].keys()) - groups
                groups |= joined
                new += sorted(joined)
        cells = sorted(cell for group in groups for cell in self._cells[group])
        lots = sorted(lot for group in groups for lot in self._lots[group])
        return Part(self._problem, {cell: self._problem.cells[cell] for cell in cells}, lots)

    def _lacking(self, kit: int) -> list[_Group]:
        """The groups of stock codes in which a kit lacks pieces in its turn."""
        found = []
        anything = frozenset(range(len(self._problem.items)))
        kits = tuple(
            _buying(other, anything) if place == kit else other for place, other in enumerate(self._problem.kits)
        )
        for number in self._groups_of_kit[kit]:
            if number in self._scarce:
                group = self._group(number, kit, kits)
                group.missing = self._missing(kit, group, ())
                if group.missing:
                    group.candidates = self._candidates.of(kit, sorted(group.own), group.missing)
                    found.append(group)
        return found

    def _group(self, number: int, kit: int, kits: tuple[Kit, ...]) -> _Group:
        """The kit's cells, where it may lack any piece; those of kits served before; what others hold for good."""
        own, cells = set(), {}
        for index in self._cells[number]:
            cell = self._problem.cells[index]
            if cell.kit == kit and not cell.spare:
                own.add(index)
                cells[index] = cell
            elif cell.kit < kit and self._promised.served_in_turn[cell.kit] and not cell.spare:
                cells[index] = cell
            elif cell.fixed:
                cells[index] = replace(cell, quantity=self._candidates.fixed_pieces(index), spare=True)
        part = Part(replace(self._problem, kits=kits), cells, self._lots[number])
        return _Group(part, frozenset(own), 0, {})

    def _missing(self, kit: int, group: _Group, moves: Sequence[Move]) -> int:
        """Thousandths that the kit lacks in its turn after these moves."""
        tried = tuple(moves)
        if tried not in group.left:
            problem = group.part.changed(kit, tried)
            self._work += len(problem.cells)
            order = StrictOrder(problem, eligibility(problem))
            order.serve_in_turn()
            places = [place for place, index in enumerate(group.part.cells) if index in group.own]
            group.left[tried] = sum(order.missing[place] for place in places)
        return group.left[tried]

    def _bringing(self, kit: int, groups: Sequence[_Group]) -> list[Cure]:
        """Verified cures that bring pieces to the kit: of one kind beside buying, else of several."""
        found = list(self._verified(kit, groups, _ALONE))
        for kinds in _TOGETHER:
            if all(move.kind not in (BUY, *IN_HAND) for cure in found for move in cure.moves) and self._in_hand(groups):
                found += self._verified(kit, groups, kinds)
        return found

    def _in_hand(self, groups: Sequence[_Group]) -> bool:
        return all(any(kind in group.candidates for kind in (BUY, *IN_HAND)) for group in groups)

    def _verified(self, kit: int, groups: Sequence[_Group], choices: Sequence[tuple[str, ...]]) -> Iterator[Cure]:
        tried, parts = set(), dict[frozenset[int], Part]()
        for kinds in choices:
            moves = self._smallest_of_all(kit, groups, kinds)
            if moves and moves not in tried:
                tried.add(moves)
                also = frozenset(self._group_of[move.item] for move in moves if move.kind == STAND_IN)
                around = parts[also] if also in parts else parts.setdefault(also, self._around(kit, also))
                cure = self._cure(kit, around, moves, self._planned(around.changed(kit, moves)))
                if cure is not None:
                    yield cure

    def _cure(self, kit: int, around: Part, moves: tuple[Move, ...], promised: Promised) -> Cure | None:
        """The cure, where the plan made with it leaves the kit nothing short."""
        breaks = []
        for place, index in enumerate(around.cells):
            cell = self._problem.cells[index]
            short = promised.short.get(place, 0)
            if cell.kit == kit and short and not cell.spare:
                return None
            more = short - self._promised.short.get(index, 0)
            if more > 0 and not cell.spare:
                breaks.append((cell.kit, index, more))
        return Cure(kit, moves, tuple(sorted(breaks)), self._instead(around, moves, promised))

    def _instead(self, around: Part, moves: tuple[Move, ...], promised: Promised) -> tuple[tuple[int, int, int], ...]:
        """What the kits that give pieces take more of, of the same group of stock codes."""
        giving = {(move.lender, self._group_of[move.item]) for move in moves if move.kind in FROM_OTHERS}
        if not giving:
            return ()
        more: dict[tuple[int, int], int] = defaultdict(int)
        lots = self._problem.lots
        for piece in promised.allocations:
            if piece.lot < len(around.lots):
                more[self._problem.cells[around.cells[piece.cell]].kit, around.lots[piece.lot]] += piece.quantity
        for piece in self._promised.allocations:
            more[self._problem.cells[piece.cell].kit, piece.lot] -= piece.quantity
        return tuple(
            (kit, lot, quantity)
            for (kit, lot), quantity in sorted(more.items())
            if quantity > 0 and (kit, self._group_of[lots[lot].item]) in giving
        )

    def _smallest_of_all(self, kit: int, groups: Sequence[_Group], kinds: tuple[str, ...]) -> tuple[Move, ...] | None:
        """The smallest set of moves of these kinds, every kind but buying among them; None where there is none."""
        moves: list[Move] = []
        for group in groups:
            present = tuple(kind for kind in kinds if kind in group.candidates)
            if present not in group.known:
                group.known[present] = self._smallest(kit, group, present)
            smallest = group.known[present]
            if smallest is None:
                return None
            moves += smallest
        used = {move.kind for move in moves}
        return tuple(moves) if used >= set(kinds[:-1]) or len(kinds) > 3 else None

    def _smallest(self, kit: int, group: _Group, kinds: tuple[str, ...]) -> tuple[Move, ...] | None:
        moves = [move for kind in kinds for move in group.candidates[kind]]
        if not moves or sum(move.quantity for move in moves) < group.missing or self._missing(kit, group, moves):
            return None
        for size in range(1, MOST_MOVES + 1):
            for chosen in combinations(moves, size):
                if self._may_do(kit, group, chosen) and not self._missing(kit, group, chosen):
                    return self._least(kit, group, chosen)
        return None

    def _may_do(self, kit: int, group: _Group, chosen: tuple[Move, ...]) -> bool:
        """False where the moves bring too little, or what each may win is too little together."""
        if len(chosen) == 1 or sum(move.quantity for move in chosen) < group.missing:
            return sum(move.quantity for move in chosen) >= group.missing
        gains = [move.quantity if move.lots else group.missing - self._missing(kit, group, (move,)) for move in chosen]
        return sum(gains) >= group.missing

    def _least(self, kit: int, group: _Group, chosen: tuple[Move, ...]) -> tuple[Move, ...]:
        """The same moves with the least quantities, the last of them spared first."""
        moves = list(chosen)
        for place in reversed(range(len(moves))):
            most = moves[place]
            others = [*moves[:place], *moves[place + 1 :]]
            moves[place] = replace(most, quantity=min(most.quantity, self._missing(kit, group, others)))
            if most.kind in FROM_OTHERS and self._missing(kit, group, moves):
                moves[place] = most  # a lender before the kit may re-route and take what the kit had
        return tuple(move for move in moves if move.quantity)

    def _slips(self, kit: int, groups: Sequence[_Group]) -> list[Cure]:
        """The first later cutover that completes the kit, with what must still be bought for it."""
        around = self._around(kit, frozenset(self._groups_of_kit[kit]))
        lacking = [(sorted(group.own), group.missing) for group in groups]
        for day in self._candidates.later_days(kit, lacking)[:MOST_DAYS]:
            slip = self._chances.slip(kit, day)
            problem, places = slipped(around.problem, kit, slip)
            promised = self._planned(problem)
            if not promised.served_in_turn[places[kit]]:
                continue
            buys = self._buys(kit, around, promised, slip.kit)
            if buys:
                promised = self._planned(slipped(around.changed(kit, buys), kit, slip)[0])
            cure = self._cure(kit, around, (Move(SLIP, -1, 0, slip.cutover_day), *buys), promised)
            if cure is not None:
                return [cure]
        return []

    def _buys(self, kit: int, around: Part, promised: Promised, later: Kit) -> tuple[Move, ...]:
        """What a kit with its later dates still has to buy."""
        pieces: dict[tuple[int, int], int] = {}
        for place, short in promised.short.items():
            cell = self._problem.cells[around.cells[place]]
            if cell.kit == kit and not cell.spare:
                item = next(item for item in cell.options if item in later.at(cell.depot).buyable)
                pieces[cell.depot, item] = pieces.get((cell.depot, item), 0) + short
        return tuple(
            Move(BUY, item, quantity, later.at(depot).staged_by_day, to=depot)
            for (depot, item), quantity in pieces.items()
        )


def _buying(kit: Kit, items: frozenset[int]) -> Kit:
    """The kit where these items, and no others, can be bought for it at each of its depots."""
    return replace(kit, buyable=items, parts=tuple(replace(part, buyable=items) for part in kit.parts))


def _rank(cure: Cure) -> tuple[object, ...]:
    effort = sorted((EFFORT.index(move.kind) for move in cure.moves), reverse=True)
    return bool(cure.breaks), effort[0], len(cure.moves), effort
