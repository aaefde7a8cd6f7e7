"""Each cure is what it says: planned again in whole, with moves made here in plain words, and against all others."""

import random
from dataclasses import replace
from itertools import combinations

import pytest
from promising_cases import PIECE, at_depot, cell, held, kit, lot, problem, random_problem, serves

from kitting.calculation.promising import promise
from kitting.calculation.promising.cures import Cure, CureSearch, _Group
from kitting.calculation.promising.model import NEVER, Cell, Kit, Lot, Problem, Promised
from kitting.calculation.promising.move_candidates import Chances
from kitting.calculation.promising.moves import (
    BORROW,
    BUY,
    EXPEDITE,
    HURRY,
    RESERVE,
    SLIP,
    STAND_IN,
    SWAP,
    TRANSFER,
    TRUCK,
    Move,
    Slip,
)

LEAD = 4


def chances(
    asked: Problem, *, locked: tuple[tuple[str, Lot], ...] = (), unapproved: dict[int, tuple[int, ...]] | None = None
) -> Chances:
    return Chances(
        locked=locked,
        unapproved=lambda index: (unapproved or {}).get(index, ()),
        buy_day=lambda item, _kit, _depot: LEAD + item,
        slip=lambda number, day: later(asked, number, day),
    )


def later(asked: Problem, number: int, day: int) -> Slip:
    """The kit staged on that day; its last good day moves with it, and what can be bought by then is buyable."""
    was = asked.kits[number]

    def moved(part: Kit) -> Kit:
        staged = part.staged_by_day + day - was.staged_by_day
        return replace(
            part,
            staged_by_day=staged,
            good_through_day=part.good_through_day + day - was.staged_by_day,
            buyable=part.buyable | {item for item in range(len(asked.items)) if LEAD + item <= staged},
            parts=tuple(map(moved, part.parts)),
            weight=1,
        )

    before = sum(other.staged_by_day <= day for place, other in enumerate(asked.kits) if place != number)
    return Slip(moved(was), before, day)


def searched(asked: Problem, given: Chances) -> tuple[Promised, dict[int, list[Cure]]]:
    promised = promise(asked)
    search = CureSearch(asked, promised, given, promise)
    return promised, {number: search.cures(number) or [] for number in search.short_kits()}


def random_case(seed: int) -> tuple[Problem, Chances]:
    """A random problem, some locked pieces and some items that would serve and are not approved."""
    asked = random_problem(seed, kits=5, cells=9, lots=7, items=4, most=3)
    draw = random.Random(seed + 1)
    locked = []
    for number in range(draw.randrange(4)):
        home = draw.randrange(len(asked.depots))
        arrival = tuple(0 if to == home else draw.choice([1, 2, NEVER]) for to in range(len(asked.depots)))
        made = lot(draw.randrange(len(asked.items)), draw.randint(1, 2), depot=home, arrival=arrival, key=number)
        locked.append((draw.choice([TRUCK, RESERVE]), made))
    unapproved = {
        index: tuple(
            item
            for item in range(len(asked.items))
            if item not in made.options + made.stand_ins and draw.random() < 0.2
        )
        for index, made in enumerate(asked.cells)
    }
    return asked, chances(asked, locked=tuple(locked), unapproved=unapproved)


def lend(cells: list[Cell], lender: int, position: int, pieces: int) -> None:
    """Take pieces of a lot from those that are fixed to the cells of a kit."""
    for index, made in enumerate(cells):
        if made.kit == lender and pieces:
            kept = []
            for where, fixed in made.fixed:
                gone = min(fixed, pieces) if where == position else 0
                pieces -= gone
                kept += [(where, fixed - gone)] if fixed > gone else []
            cells[index] = replace(made, fixed=tuple(kept))


def after(asked: Problem, number: int, moves: tuple[Move, ...]) -> tuple[Problem, dict[int, int]]:
    """The whole problem with the moves made, and the new place of each kit."""
    lots, cells, items = list(asked.lots), list(asked.cells), list(asked.items)
    places = {place: place for place in range(len(asked.kits))}
    for move in moves:
        if move.kind == SLIP:
            continue
        left = move.quantity
        for position, most in move.lots:
            taken = min(left, most)
            left -= taken
            lots[position] = replace(lots[position], quantity=lots[position].quantity - taken)
            lend(cells, move.lender, position, taken)
        assert not left or move.kind in (BUY, EXPEDITE, TRUCK, RESERVE)
        home = asked.kits[number].at(move.to).depot
        arrival = tuple(0 if depot == home else NEVER for depot in range(len(asked.depots)))
        item = move.item
        if move.kind == STAND_IN:  # only the approved pieces may stand in
            item = len(items)
            items.append("APPROVED")
        brought = lot(item, 1, depot=home, arrival=arrival, only_kit=number, own_depot_only=True, key=len(lots))
        lots.append(replace(brought, quantity=move.quantity))
        for index in move.cells:
            cells[index] = replace(cells[index], stand_ins=(*cells[index].stand_ins, item))
    kits = list(asked.kits)
    for move in moves:
        if move.kind == SLIP:
            slip = later(asked, number, move.day)
            order = [other for other in range(len(kits)) if other != number]
            order.insert(slip.place, number)
            places = {other: place for place, other in enumerate(order)}
            kits = [slip.kit if other == number else asked.kits[other] for other in order]
            cells = [replace(made, kit=places[made.kit]) for made in cells]
            lots = [replace(made, only_kit=places.get(made.only_kit, -1)) for made in lots]
    return replace(asked, kits=tuple(kits), cells=tuple(cells), lots=tuple(lots), items=tuple(items)), places


def is_whole(asked: Problem, number: int, moves: tuple[Move, ...]) -> bool:
    changed, places = after(asked, number, moves)
    have = held(promise(changed))
    own = [index for index, made in enumerate(changed.cells) if made.kit == places[number] and not made.spare]
    return all(have.get(index, 0) == changed.cells[index].quantity for index in own)


def test_each_cure_completes_its_kit_in_the_whole_plan_and_shows_exactly_what_it_breaks() -> None:
    seen: dict[str, int] = {}
    broken = to_one_of_two_depots = 0
    for seed in range(75):
        asked, given = random_case(seed)
        promised, found = searched(asked, given)
        for number, cures in found.items():
            for cure in cures:
                assert cure.moves
                assert is_whole(asked, number, cure.moves)
                short = promise(after(asked, number, cure.moves)[0]).short
                breaks = {
                    (made.kit, index): short.get(index, 0) - promised.short.get(index, 0)
                    for index, made in enumerate(asked.cells)
                    if made.kit != number and not made.spare
                }
                assert {one: pieces for one, pieces in breaks.items() if pieces > 0} == {
                    (other, index): pieces for other, index, pieces in cure.breaks
                }
                broken += bool(cure.breaks)
                to_one_of_two_depots += any(move.to >= 0 for move in cure.moves)
                for move in cure.moves:
                    seen[move.kind] = seen.get(move.kind, 0) + 1
    assert set(seen) == {BUY, TRANSFER, TRUCK, RESERVE, STAND_IN, HURRY, EXPEDITE, SLIP, SWAP, BORROW}
    assert min(seen.values()) > 1
    assert broken > 8
    assert to_one_of_two_depots > 8


def every_move(asked: Problem, given: Chances, promised: Promised, number: int, kind: str) -> list[Move]:
    """All moves of a kind for a kit, with all the pieces there are, written again from their words."""
    own = [index for index, made in enumerate(asked.cells) if made.kit == number and not made.spare]
    need = sum(asked.cells[index].quantity for index in own)
    left = [made.quantity for made in asked.lots]
    for piece in promised.allocations:
        left[piece.lot] -= piece.quantity
    found: list[Move] = []
    for depot in sorted({asked.cells[index].depot for index in own}):
        cells = [index for index in own if asked.cells[index].depot == depot]
        moves = moves_to_depot(asked, given, left, cells, Move(kind, -1, need, at_depot(asked, cells[0])[1], to=depot))
        found += moves
    return found


def moves_to_depot(asked: Problem, given: Chances, left: list[int], own: list[int], move: Move) -> list[Move]:
    """The same for cells at one depot; ``move`` says the kind and the day."""
    codes = {item for index in own for item in asked.cells[index].options}
    choice = codes | {item for index in own for item in asked.cells[index].stand_ins}
    last_day = asked.kits[asked.cells[own[0]].kit].good_through_day
    if move.kind in (BUY, EXPEDITE):
        in_time = {item for item in codes if item in at_depot(asked, own[0])[2]}
        wanted = in_time if move.kind == BUY else codes - in_time if move.day > 0 else set()
        return [replace(move, item=item) for item in sorted(wanted)]
    if move.kind in (TRUCK, RESERVE):
        trial = replace(asked, lots=tuple(made for one, made in given.locked if one == move.kind))
        return [
            replace(move, item=made.item, quantity=made.quantity, depot=made.depot)
            for place, made in enumerate(trial.lots)
            if any(serves(trial, index, place) for index in own)
        ]
    found = []
    for place, made in enumerate(asked.lots):
        free = left[place] and made.only_kit == -1 and not made.own_depot_only and made.item in choice
        late = move.day > 0 and not any(serves(asked, index, place) for index in own)
        if free and late and made.is_order == (move.kind == HURRY) and made.expiry_day >= last_day:
            lots = ((place, left[place]),)
            found.append(replace(move, item=made.item, quantity=left[place], depot=made.depot, lots=lots))
    return found


def test_no_cure_has_a_move_or_a_piece_too_many() -> None:
    looked = 0
    for seed in range(40):
        asked, given = random_case(seed)
        promised, found = searched(asked, given)
        for number, cures in found.items():
            for cure in cures:
                used = {move.kind for move in cure.moves}
                if used & {SLIP, SWAP, BORROW, STAND_IN}:
                    continue
                pool = [move for kind in sorted(used) for move in every_move(asked, given, promised, number, kind)]
                for size in range(len(cure.moves)):
                    assert not any(is_whole(asked, number, chosen) for chosen in combinations(pool, size))
                for place, move in enumerate(cure.moves):
                    fewer = replace(move, quantity=move.quantity - PIECE)
                    rest = (*cure.moves[:place], *cure.moves[place + 1 :])
                    assert not is_whole(asked, number, (*rest, fewer) if fewer.quantity else rest)
                looked += 1
    assert looked > 30


def test_moves_left_untried_as_they_win_too_little_would_have_cured_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    cases = [random_case(seed) for seed in range(30, 150)]
    found = [searched(asked, given)[1] for asked, given in cases]
    left_out = 0
    may_do = CureSearch._may_do

    def all_tried(self: CureSearch, kit: int, group: _Group, chosen: tuple[Move, ...]) -> bool:
        nonlocal left_out
        enough = sum(move.quantity for move in chosen) >= group.missing
        left_out += enough and not may_do(self, kit, group, chosen)
        return enough

    monkeypatch.setattr(CureSearch, "_may_do", all_tried)
    assert [searched(asked, given)[1] for asked, given in cases] == found
    assert left_out > 3


def test_a_kit_that_one_move_would_complete_is_told_so() -> None:
    told = 0
    for seed in range(40):
        asked, given = random_case(seed)
        promised, found = searched(asked, given)
        for number, cures in found.items():
            for kind in (BUY, TRANSFER, TRUCK, RESERVE, HURRY, EXPEDITE):
                moves = every_move(asked, given, promised, number, kind)
                if any(is_whole(asked, number, (move,)) for move in moves):
                    assert cures
                    told += 1
    assert told > 15


def test_pieces_let_go_past_their_date_for_one_kit_are_borrowed_for_no_other() -> None:
    kits = [kit(staged_by=5, good_through=5), kit(staged_by=8, good_through=8)]
    cells = [cell(0), cell(1, fixed=((0, 1),))]
    kept = lot(expiry=8, only_kit=1, arrival=(0,))
    for let_go, lends in ((False, True), (True, False)):
        asked = problem(kits, cells, [replace(kept, let_go=let_go)])
        _, found = searched(asked, chances(asked))
        assert (BORROW in {move.kind for cure in found[0] for move in cure.moves}) == lends
