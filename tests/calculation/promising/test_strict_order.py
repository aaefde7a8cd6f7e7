"""The strict order is exactly what its words say: compared with enumerations and with an independent flow solver."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import networkx as nx
import pytest
from promising_cases import PIECE, can_be_bought, cell, held, kit, lot, named, problem, random_problem, serves

from kitting.calculation.promising import promise
from kitting.calculation.promising.model import NEVER, Problem, Promised

State = tuple[int, ...]


def brute_force(asked: Problem) -> tuple[list[bool], list[int], list[int]]:
    """Served in turn, real pieces of each kit's counted cells, real pieces of its spares: by trying every way.

    Keeps every remaining stock that the best plan so far can leave, so that no choice is made too early.
    """
    need, stock, counted = [made.quantity // PIECE for made in asked.cells], start(asked), [0] * len(asked.kits)
    for index, made in enumerate(asked.cells):
        for position, quantity in made.fixed:
            kept = min(quantity // PIECE, stock[position], need[index]) if serves(asked, index, position) else 0
            need[index] -= kept
            stock[position] -= kept
    spare = [0] * len(asked.kits)
    states, served = {tuple(stock)}, [made.dated for made in asked.kits]
    for number in range(len(asked.kits)):
        if served[number]:
            states, counted[number] = best_of_kit(asked, number, need, states, whole=True)
            served[number] = counted[number] >= 0
    for number, made in enumerate(asked.kits):
        if made.dated and not served[number]:
            states, counted[number] = best_of_kit(asked, number, need, states, whole=False)
    for number, made in enumerate(asked.kits):
        if made.dated:
            cells = [index for index, line in enumerate(asked.cells) if line.kit == number and line.spare]
            states, spare[number] = most(ways(asked, cells, need, states))
    return served, counted, spare


def start(asked: Problem) -> list[int]:
    return [made.quantity // PIECE for made in asked.lots]


def best_of_kit(
    asked: Problem, number: int, need: list[int], states: set[State], *, whole: bool
) -> tuple[set[State], int]:
    """Remaining stocks and pieces of the best ways to serve a kit; -1 pieces where it can't be completed."""
    cells = [index for index, line in enumerate(asked.cells) if line.kit == number and not line.spare]
    required = [index for index in cells if not can_be_bought(asked, index)] if whole else []
    found = [
        (state, pieces)
        for state, pieces, taken in ways(asked, cells, need, states)
        if all(taken[index] == need[index] for index in required)
    ]
    if not found:
        return states, -1
    top = max(pieces for _, pieces in found)
    return {state for state, pieces in found if pieces == top}, top


def most(found: Iterator[tuple[State, int, dict[int, int]]]) -> tuple[set[State], int]:
    found = list(found)
    top = max(pieces for _, pieces, _ in found)
    return {state for state, pieces, _ in found if pieces == top}, top


def ways(
    asked: Problem, cells: list[int], need: list[int], states: set[State]
) -> Iterator[tuple[State, int, dict[int, int]]]:
    """Every way to serve the cells, fully or in part, from every remaining stock: (stock left, pieces, by cell)."""
    reached: set[tuple[State, tuple[int, ...]]] = {(state, ()) for state in states}
    for index in cells:
        usable = [position for position in range(len(asked.lots)) if serves(asked, index, position)]
        following = set()
        for state, taken in reached:
            for picks in product(*(range(min(need[index], state[position]) + 1) for position in usable)):
                if sum(picks) <= need[index]:
                    left = list(state)
                    for position, pick in zip(usable, picks, strict=True):
                        left[position] -= pick
                    following.add((tuple(left), (*taken, sum(picks))))
        reached = following
    for state, taken in reached:
        yield state, sum(taken), dict(zip(cells, taken, strict=True))


def most_pieces(asked: Problem) -> int:
    """Thousandths that a maximum flow of an independent solver serves."""
    graph = nx.DiGraph()
    graph.add_nodes_from(["stock", "needs"])
    for index, made in enumerate(asked.cells):
        graph.add_edge(("cell", index), "needs", capacity=made.quantity)
        for position, piece in enumerate(asked.lots):
            if serves(asked, index, position):
                graph.add_edge("stock", ("lot", position), capacity=piece.quantity)
                graph.add_edge(("lot", position), ("cell", index))
    return int(nx.maximum_flow_value(graph, "stock", "needs"))


def confined(asked: Problem, index: int, lots: set[int]) -> bool:
    return all(position in lots for position in range(len(asked.lots)) if serves(asked, index, position))


def assert_refusals_add_up(asked: Problem, promised: Promised) -> None:
    """Each refusal's set, by arithmetic from the problem: what earlier kits must hold there leaves too little."""
    fixed: dict[int, int] = {}
    for index, made in enumerate(asked.cells):
        for position, quantity in made.fixed:
            dropped = sum(left for *where, left in promised.not_kept if where == [index, position])
            fixed[position] = fixed.get(position, 0) + quantity - dropped
    have = held(promised)
    for index, made in enumerate(asked.cells):  # pieces beyond the fixed ones
        have[index] = have.get(index, 0) - sum(quantity for _, quantity in made.fixed)
        have[index] += sum(left for where, _, left in promised.not_kept if where == index)
    for reason in promised.refused:
        lots = set(reason.lots)
        assert sum(asked.lots[position].quantity - fixed.get(position, 0) for position in lots) == reason.stock
        inside = [
            index
            for index, made in enumerate(asked.cells)
            if made.kit < reason.kit and promised.served_in_turn[made.kit] and not made.spare
            if have[index] and confined(asked, index, lots)
        ]
        assert sum(have[index] for index in inside) == reason.competing
        assert tuple(sorted({asked.cells[index].kit for index in inside})) == reason.competing_kits
        asks = sum(
            made.quantity - sum(quantity for _, quantity in made.fixed)
            + sum(left for where, _, left in promised.not_kept if where == index)
            for index, made in enumerate(asked.cells)
            if made.kit == reason.kit and not made.spare and not can_be_bought(asked, index)
            if confined(asked, index, lots)
        )  # fmt: skip
        assert asks - (reason.stock - reason.competing) == reason.missing > 0
        assert confined(asked, reason.cell, lots)


@pytest.mark.parametrize("block", range(12))
def test_small_plans_equal_an_enumeration_of_every_way_to_serve_the_kits(block: int) -> None:
    refused = bought = 0
    for seed in range(block * 50, block * 50 + 50):
        asked = random_problem(seed)
        promised = promise(asked)
        served, counted, spare = brute_force(asked)
        assert list(promised.served_in_turn) == served, seed
        have = held(promised)
        fixed = {index: sum(q for _, q in made.fixed) for index, made in enumerate(asked.cells)}
        for index, _, left in promised.not_kept:
            fixed[index] -= left
        for number in range(len(asked.kits)):
            for is_spare, expected in ((False, counted), (True, spare)):
                own = [i for i, made in enumerate(asked.cells) if made.kit == number and made.spare == is_spare]
                assert sum(have.get(i, 0) - fixed[i] for i in own) == PIECE * expected[number], (seed, number)
        assert_refusals_add_up(asked, promised)
        refused += len(promised.refused)
        bought += bool(promised.bought)
    assert refused > 20
    assert bought > 5


@pytest.mark.parametrize("block", range(4))
def test_pieces_short_of_medium_plans_equal_an_independent_maximum_flow(block: int) -> None:
    for seed in range(block * 30, block * 30 + 30):
        asked = random_problem(seed, kits=25, cells=120, lots=60, items=12, most=9, fixed=False)
        promised = promise(asked)
        assert sum(held(promised).values()) == most_pieces(asked), seed
        assert_refusals_add_up(asked, promised)


def test_a_diameter_sweep_fails_where_range_and_date_meet_and_re_routing_does_not() -> None:
    # Lines (d = 1, due day 1) and (d = 2, due day 0); items [0, 3] on hand and [0, 5] available on day 1.
    kits = [kit(staged_by=0, good_through=0), kit(staged_by=1, good_through=1)]
    narrow, wide = lot(0), lot(1, is_order=True, arrival=(1,))
    asked = problem(kits, [cell(0, (0, 1)), cell(1, (0, 1))], [narrow, wide])
    assert promise(asked).served_in_turn == (True, True)
    reverse = problem([kits[1], kits[0]], [cell(0, (0, 1)), cell(1, (0, 1))], [narrow, wide])
    assert promise(reverse).served_in_turn == (True, True)


def test_due_date_order_with_the_smallest_range_fails_too_and_re_routing_does_not() -> None:
    # Lines (2, day 0) and (0 to 1, day 2); items [0, 4] and [1, 5], both on hand: only [0, 4] holds the second line.
    kits = [kit(staged_by=0), kit(staged_by=2)]
    asked = problem(kits, [cell(0, (0, 1)), cell(1, (0,))], [lot(0), lot(1)])
    promised = promise(asked)
    assert promised.served_in_turn == (True, True)
    assert named(asked, promised.allocations) == [(0, 0, 1), (1, 0, 1)]


def test_a_kit_takes_nothing_unless_it_can_be_completed_and_then_shares_what_is_left() -> None:
    kits = [kit(), kit()]
    cells = [cell(0, (0,)), cell(0, (1,)), cell(1, (0,))]
    promised = promise(problem(kits, cells, [lot(0)]))
    assert promised.served_in_turn == (False, True)
    assert promised.short == {0: PIECE, 1: PIECE}
    (reason,) = promised.refused
    assert (reason.kit, reason.cell, reason.items, reason.stock, reason.missing) == (0, 1, (1,), 0, PIECE)


def test_a_real_piece_goes_to_the_earlier_kit_before_a_bought_one() -> None:
    # Trap T57: 5 pieces at the other depot don't count yet; each kit is completed or refused in its turn.
    kits = [kit(buyable=[0]), kit()]
    promised = promise(problem(kits, [cell(0, pieces=2), cell(1, pieces=1)], [lot(pieces=2)]))
    assert promised.served_in_turn == (True, False)
    assert promised.short == {1: PIECE}
    assert promised.bought == {}
    both = promise(problem([kits[0], kit(buyable=[0])], [cell(0, pieces=2), cell(1, pieces=2)], [lot(pieces=3)]))
    assert both.served_in_turn == (True, True)
    assert both.short == both.bought == {1: PIECE}


def test_shared_inserts_go_kit_by_kit_and_a_kit_that_can_not_be_bought_for_is_served_last() -> None:
    # Trap T03 (12 + 5 pieces for 6 + 8 + 3) and trap T57 (the 5 not known, too late to buy).
    kits = [kit(depot=0, staged_by=3), kit(depot=0, staged_by=19), kit(depot=1, staged_by=39)]
    cells = [cell(0, pieces=6), cell(1, pieces=8), cell(2, pieces=3)]
    north, mill = lot(pieces=12, arrival=(0, 1, 1)), lot(pieces=5, depot=2, arrival=(1, 1, 0), key=1)
    asked = problem(kits, cells, [north, mill])
    promised = promise(asked)
    assert promised.served_in_turn == (True, True, True)
    assert named(asked, promised.allocations) == [(0, 0, 6), (1, 0, 6), (1, 1, 2), (2, 1, 3)]
    without = promise(problem(kits, cells, [north]))
    assert without.served_in_turn == (True, False, True)
    assert named(asked, without.allocations) == [(0, 0, 6), (1, 0, 3), (2, 0, 3)]
    assert without.short == {1: 5 * PIECE}
    (reason,) = without.refused
    assert (reason.stock, reason.competing, reason.missing) == (12 * PIECE, 6 * PIECE, 2 * PIECE)
    buying = [kit(staged_by=3), kit(staged_by=19, buyable=[0]), kit(depot=1, staged_by=39, buyable=[0])]
    bought = promise(problem(buying, cells, [north]))
    assert bought.served_in_turn == (True, True, True)
    assert bought.bought == {1: 2 * PIECE, 2: 3 * PIECE}


def test_first_to_expire_is_worked_out_across_kits() -> None:
    # Trap T05: 6 pieces good to day 31, 6 fresh; the first kit (day 21) needs 3, the second (day 42) needs 6.
    kits = [kit(staged_by=19, good_through=21), kit(staged_by=39, good_through=42)]
    asked = problem(kits, [cell(0, pieces=3), cell(1, pieces=6)], [lot(pieces=6), lot(pieces=6, expiry=31, key=1)])
    promised = promise(asked)
    assert promised.short == {}
    assert named(asked, promised.allocations) == [(0, 1, 3), (1, 0, 6)]


def test_an_arrester_comes_from_the_own_depot_before_a_transfer_and_to_the_earlier_kit_first() -> None:
    # Traps T11 and T56: M has 2, N has 4; the first kit at M takes all 6, the second is short 3.
    kits = [kit(depot=1, staged_by=3), kit(depot=1, staged_by=45, buyable=[0])]
    lots = [lot(pieces=4, arrival=(0, 1)), lot(pieces=2, depot=1, arrival=(1, 0), key=1)]
    asked = problem(kits, [cell(0, pieces=6), cell(1, pieces=3)], lots)
    promised = promise(asked)
    assert [(made.lot, made.quantity, made.source) for made in promised.allocations] == [
        (1, 2 * PIECE, "shelf"),
        (0, 4 * PIECE, "transfer"),
    ]
    assert promised.bought == promised.short == {1: 3 * PIECE}


def test_spares_come_last_and_never_cost_a_kit_its_place() -> None:
    asked = problem([kit(), kit()], [cell(0), cell(0, spare=True), cell(1)], [lot(pieces=2)])
    promised = promise(asked)
    assert promised.served_in_turn == (True, True)
    assert promised.short == {1: PIECE}
    assert promised.bought == {}


def test_a_kit_without_a_cutover_is_promised_nothing_and_reported_nowhere() -> None:
    asked = problem([kit(dated=False), kit()], [cell(0), cell(1)], [lot()])
    promised = promise(asked)
    assert promised.served_in_turn == (False, True)
    assert promised.short == {}
    assert promised.refused == ()
    assert [made.cell for made in promised.allocations] == [1]


def test_pinned_and_staged_pieces_leave_first_and_one_that_no_longer_serves_is_reported() -> None:
    kits = [kit(), kit(good_through=20)]
    lots = [lot(pieces=2, expiry=15), lot(pieces=1, key=1)]
    asked = problem(kits, [cell(0, pieces=1), cell(1, pieces=1, fixed=((1, 1),))], lots)
    promised = promise(asked)
    assert named(asked, promised.allocations) == [(0, 0, 1), (1, 1, 1)]
    expired = problem(kits, [cell(0, pieces=1), cell(1, pieces=1, fixed=((0, 1),))], lots)
    promised = promise(expired)
    assert promised.not_kept == ((1, 0, PIECE),)
    assert named(expired, promised.allocations) == [(0, 0, 1), (1, 1, 1)]


def test_a_piece_kept_for_one_kit_serves_no_other_and_supplier_owned_stays_at_its_depot() -> None:
    kits = [kit(depot=0), kit(depot=0), kit(depot=1)]
    kept = problem(kits, [cell(0), cell(1)], [lot(only_kit=1, arrival=(0, 1))])
    assert promise(kept).served_in_turn[:2] == (False, True)
    owned = problem(kits, [cell(2), cell(0)], [lot(own_depot_only=True, arrival=(0, 1))])
    assert promise(owned).served_in_turn == (True, True, False)


def test_the_own_shelf_serves_a_kit_whose_staged_by_day_has_passed_and_a_transfer_does_not() -> None:
    late = [kit(depot=0, staged_by=-3)]
    assert promise(problem(late, [cell(0)], [lot(arrival=(0, 1))])).served_in_turn == (True,)
    assert promise(problem(late, [cell(0)], [lot(depot=1, arrival=(1, 0))])).served_in_turn == (False,)


def test_the_first_day_a_refused_kit_would_fit_counts_stock_on_order() -> None:
    kits = [kit(staged_by=10, good_through=12)]
    orders = [lot(is_order=True, arrival=(14,)), lot(is_order=True, arrival=(17,), key=1)]
    (reason,) = promise(problem(kits, [cell(0, pieces=2)], orders)).refused
    assert reason.first_day == 17
    spoiled = [lot(is_order=True, arrival=(14,)), lot(is_order=True, arrival=(17,), expiry=18)]
    (reason,) = promise(problem(kits, [cell(0, pieces=2)], spoiled)).refused
    assert reason.first_day == NEVER


def test_a_stand_in_is_used_up_to_its_approved_number_in_order_of_service_and_the_plan_says_it_is_not_proven() -> None:
    kits = [kit(), kit(), kit()]
    cells = [cell(number, (0,), 2, stand_ins=(1,)) for number in range(3)]
    lots = [lot(0, 2), lot(1, 4, key=1)]
    free = promise(problem(kits, cells, lots, caps={1: 4}))
    assert (free.served_in_turn, free.status) == ((True, True, True), "proven")
    asked = problem(kits, cells, lots, caps={1: 3})
    capped = promise(asked)
    assert (capped.served_in_turn, capped.status) == ((True, True, False), "not proven")
    assert sum(quantity for _, key, quantity in named(asked, capped.allocations) if key == 1) == 3
    assert capped.short == {2: PIECE}
    pinned = problem(kits, [*cells[:2], cell(2, (0,), 2, stand_ins=(1,), fixed=((1, 2),))], lots, caps={1: 2})
    assert named(pinned, promise(pinned).allocations) == [(0, 0, 2), (2, 1, 2)]
    over = problem(kits, [cell(0, (0,), 2, stand_ins=(1,), fixed=((1, 2),))], lots, caps={1: 1})
    assert promise(over).not_kept == ((0, 1, PIECE),)


def test_random_plans_keep_every_stand_in_cap_and_lose_no_piece() -> None:
    binding = 0
    for seed in range(200):
        asked = random_problem(seed, kits=6, cells=12, lots=8, items=4, most=3)
        asked = replace(asked, stand_in_caps=dict.fromkeys(range(len(asked.items)), PIECE * (seed % 3)))
        promised = promise(asked)  # the audit inside checks the caps and that every piece is promised or short
        binding += promised.status != "proven"
    assert binding > 20


def test_the_order_of_the_rows_of_stock_does_not_matter() -> None:
    for seed in range(60):
        asked = random_problem(seed, kits=8, cells=30, lots=20, items=5, most=4, fixed=False)
        turned = problem(asked.kits, asked.cells, asked.lots[::-1])
        first, second = promise(asked), promise(turned)
        assert named(asked, first.allocations) == named(turned, second.allocations)
        assert first.short == second.short
        assert [reason.missing for reason in first.refused] == [reason.missing for reason in second.refused]
