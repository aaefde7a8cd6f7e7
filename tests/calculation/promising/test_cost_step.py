"""The same pieces for the same cells at the least cost, and a new plan that keeps what an earlier one promised."""

from collections.abc import Callable
from dataclasses import replace
from itertools import product

import networkx as nx
import numpy as np
import pytest
from promising_cases import PIECE, at_depot, cell, held, kit, lot, named, problem, random_problem, serves

from kitting.calculation.promising import promise
from kitting.calculation.promising.model import Cell, Problem, Promised
from kitting.calculation.promising.transport import Transport
from kitting.management.benchmarks.promising_data import Size, compressed, made_up


def piece_cost(asked: Problem, cell_index: int, lot_index: int) -> int:
    """The cost of a piece, written again from its words."""
    asking, piece = asked.cells[cell_index], asked.lots[lot_index]
    depot, _, _ = at_depot(asked, cell_index)
    place = (asking.options + asking.stand_ins).index(piece.item)
    cost = 1000 * place + (1000 if piece.item not in asking.options else 0)
    if piece.is_order:
        cost += 400
    if piece.depot != depot:
        cost += min(200 + 5 * max(0, piece.arrival[depot] - piece.ready_day), 349)
    last = max((kit.good_through_day for kit in asked.kits if kit.dated), default=0)
    of_item = {min(one.expiry_day, last) for one in asked.lots if one.item == piece.item}
    return cost + sum(day < min(piece.expiry_day, last) for day in of_item)


def least_cost(asked: Problem, promised: Promised) -> int:
    """Thousandths of cost of an independent solver for cells that get exactly what the plan promised them."""
    graph = nx.DiGraph()
    pieces = held(promised)
    graph.add_node("stock", demand=-sum(pieces.values()) // PIECE)
    graph.add_node("spill", demand=0)
    for index in range(len(asked.cells)):
        graph.add_node(("cell", index), demand=pieces.get(index, 0) // PIECE)
        for position, piece in enumerate(asked.lots):
            if serves(asked, index, position):
                graph.add_edge("stock", ("lot", position), capacity=piece.quantity // PIECE, weight=0)
                graph.add_edge(("lot", position), ("cell", index), weight=piece_cost(asked, index, position))
    return int(nx.network_simplex(graph)[0]) * PIECE


@pytest.mark.parametrize("block", range(4))
def test_the_cost_of_medium_plans_equals_an_independent_least_cost_flow(block: int) -> None:
    for seed in range(block * 30, block * 30 + 30):
        asked = random_problem(seed, kits=25, cells=100, lots=60, items=10, most=9, fixed=False)
        stretched = tuple(replace(one, good_through_day=one.good_through_day * 90) for one in asked.kits)
        lots = tuple(replace(one, expiry_day=min(2**31, one.expiry_day * 90)) for one in asked.lots)
        asked = replace(asked, kits=stretched, lots=lots)
        promised = promise(asked)
        assert promised.cheapest
        assert promised.cost == least_cost(asked, promised), seed


def test_a_piece_comes_from_the_own_depot_and_the_narrow_range_stays_with_who_needs_it() -> None:
    # The first kit could take either code; the second only the first code; the own depot's piece is not carted away.
    kits = [kit(depot=0), kit(depot=1)]
    lots = [lot(0, arrival=(0, 3)), lot(1, arrival=(0, 3), key=1), lot(0, depot=1, arrival=(3, 0), key=2)]
    asked = problem(kits, [cell(0, (0, 1)), cell(1, (0,))], lots)
    promised = promise(asked)
    assert named(asked, promised.allocations) == [(0, 0, 1), (1, 2, 1)]
    assert (promised.cost, promised.cheapest) == (0, True)


def test_the_first_to_expire_goes_first_and_an_order_to_the_own_depot_before_one_that_must_be_carried_on() -> None:
    dates = [lot(pieces=3, expiry=day, key=day) for day in (90, 110)]
    asked = problem([kit(), kit(good_through=400)], [cell(0, pieces=4), cell(1)], [*dates, lot(expiry=500, key=500)])
    assert named(asked, promise(asked).allocations) == [(0, 90, 3), (0, 110, 1), (1, 500, 1)]
    carried, landed = lot(is_order=True, arrival=(4, 3), depot=1), lot(is_order=True, arrival=(5, 9), key=1)
    asked = problem([kit()], [cell(0)], [carried, landed])
    assert named(asked, promise(asked).allocations) == [(0, 1, 1)]


def test_prices_that_do_not_prove_an_answer_are_not_taken_for_a_proof() -> None:
    numbers = np.array([1, 1], dtype=np.int64)
    zeros, sources, prices = np.zeros(2, dtype=np.int64), np.array([0, 1], np.int32), np.array([5, 3], np.int32)
    trade = Transport(
        wanted=numbers[:1],
        stock=numbers,
        target=np.zeros(2, np.int32),
        source=sources,
        price=prices,
        limited=zeros[:0],
        most=zeros[:0],
        asker_part=zeros[:1],
        class_part=zeros,
        own=zeros,
        linked=np.zeros(2, dtype=bool),
    )
    assert trade.least()[1].all()
    dear, cheap = np.array([1, 0]), np.array([0, 1])
    assert trade.is_least(cheap, np.array([3]), zeros).all()
    assert not trade.is_least(dear, np.array([5]), zeros).any()
    assert not trade.is_least(np.array([0, 2]), np.array([3]), zeros).any()
    assert not trade.is_least(zeros, np.array([3]), zeros).any()


def chained(draw: np.random.Generator) -> Transport:
    """Six askers and three chains of four lots: each may use the first lots of a chain, and there is enough for all."""
    reach = draw.integers(0, 5, (6, 3))
    reach[:, 0] = np.maximum(1, reach[:, 0])
    base, own = draw.integers(0, 9, (6, 3)), draw.integers(0, 9, 12)
    chains = product(range(6), range(3))
    pairs = [(asker, 4 * chain + place) for asker, chain in chains for place in range(reach[asker, chain])]
    target, source = np.array(pairs, dtype=np.int32).T
    stock = draw.integers(1, 6, 12)
    stock[0] += 18
    return Transport(
        wanted=draw.integers(1, 4, 6),
        stock=stock,
        target=target,
        source=source,
        price=(base[target, source // 4] + own[source]).astype(np.int32),
        limited=np.zeros(0, dtype=np.int64),
        most=np.zeros(0, dtype=np.int64),
        asker_part=np.zeros(6, dtype=np.int64),
        class_part=np.zeros(12, dtype=np.int64),
        own=own,
        linked=np.arange(12) % 4 > 0,
    )


def test_lots_handed_on_in_chains_cost_what_they_cost_one_by_one() -> None:
    unproven = 0
    for seed in range(100):
        straight = chained(np.random.default_rng(seed))
        # Where the steps of a chain cost one more than another, what is claimed must still be true.
        crossed = replace(straight, price=straight.price + straight.source % 4 * straight.target % 3)
        for trade in (straight, crossed):
            pieces, proven = trade.least()
            apart, proven_apart = replace(trade, linked=np.zeros(12, dtype=bool)).least()
            assert proven_apart.all()
            assert proven.all() or trade is crossed
            unproven += not proven.all()
            assert not proven.all() or (trade.price * pieces).sum() == (trade.price * apart).sum()
    assert unproven


def test_a_plan_priced_in_small_batches_is_the_same_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = random_problem(3, kits=25, cells=100, lots=60, items=10, most=9)
    at_once = promise(asked)
    monkeypatch.setattr("kitting.calculation.promising.cost_step.BATCH", 1)
    monkeypatch.setattr("kitting.calculation.promising.transport.PAIRS", 1)
    assert promise(asked) == at_once


def test_without_a_solver_the_pieces_stay_and_the_plan_says_that_nothing_is_proven_of_their_cost(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked = random_problem(3, kits=25, cells=100, lots=60, items=10, most=9, fixed=False)
    proven = promise(asked)
    monkeypatch.setattr("kitting.calculation.promising.solver.highspy", None)
    plain = promise(asked)
    assert (proven.cheapest, plain.cheapest) == (True, False)
    assert proven.cost < plain.cost
    assert (plain.served_in_turn, plain.short, plain.status) == (proven.served_in_turn, proven.short, "proven")


def with_kept(asked: Problem, promised: Promised) -> Problem:
    kept: dict[int, list[tuple[int, int]]] = {}
    for made in promised.allocations:
        kept.setdefault(made.cell, []).append((made.lot, made.quantity))
    return replace(asked, cells=tuple(replace(one, kept=tuple(kept.get(at, ()))) for at, one in enumerate(asked.cells)))


def moved(before: Promised, after: Promised) -> int:
    """Thousandths that lie elsewhere, or are no longer promised."""
    now = {(made.cell, made.lot): made.quantity for made in after.allocations}
    return sum(made.quantity - min(made.quantity, now.get((made.cell, made.lot), 0)) for made in before.allocations)


def one_count_wrong(asked: Problem) -> Problem:
    most = max(range(len(asked.lots)), key=lambda at: asked.lots[at].quantity)
    lots = list(asked.lots)
    lots[most] = replace(lots[most], quantity=lots[most].quantity - 5 * PIECE)
    return replace(asked, lots=tuple(lots))


def one_receipt_late(asked: Problem) -> Problem:
    late = next(at for at, one in enumerate(asked.lots) if one.is_order and one.ready_day > 100)
    lots = list(asked.lots)
    later = tuple(day + 30 for day in lots[late].arrival)
    lots[late] = replace(lots[late], ready_day=lots[late].ready_day + 30, arrival=later)
    return replace(asked, lots=tuple(lots))


def one_job_slips(asked: Problem) -> Problem:
    kits = list(asked.kits)
    kits[100] = replace(kits[100], staged_by_day=kits[101].staged_by_day, good_through_day=kits[101].good_through_day)
    return replace(asked, kits=tuple(kits))


def one_rush_job(asked: Problem) -> Problem:
    """A job like the hundredth, first in the order of service."""
    rush = replace(asked.kits[100], staged_by_day=asked.kits[0].staged_by_day)
    own = [replace(one, kit=0, kept=()) for one in asked.cells if one.kit == 100]
    shifted = [replace(one, kit=one.kit + 1) for one in asked.cells]
    return replace(asked, kits=(rush, *asked.kits), cells=(*shifted, *own))


@pytest.fixture(scope="module")
def a_year() -> tuple[Problem, Promised]:
    """A year of jobs in tight stock, and its plan."""
    problem = compressed(made_up(Size(jobs=400, owners=2, lots=3_000), stock="tight", seed=2)).problem
    return problem, promise(problem)


@pytest.mark.parametrize(
    ("event", "stirs"),
    [(one_count_wrong, False), (one_receipt_late, True), (one_job_slips, False), (one_rush_job, True)],
)
def test_one_event_moves_at_most_one_piece_in_a_hundred_and_costs_no_kit(
    a_year: tuple[Problem, Promised], event: Callable[[Problem], Problem], stirs: bool
) -> None:
    asked, before = a_year
    changed = event(with_kept(asked, before))
    after = promise(changed)
    anew = promise(replace(changed, cells=tuple(replace(one, kept=()) for one in changed.cells)))
    total = sum(made.quantity for made in before.allocations)
    assert moved(before, after) <= min(total // 100, moved(before, anew))
    assert stirs == (moved(before, anew) > total // 100)  # without regard to the earlier plan
    assert (after.served_in_turn, after.short) == (anew.served_in_turn, anew.short)


def test_a_plan_of_the_same_facts_keeps_every_piece_even_a_dearer_one() -> None:
    kits, lots = [kit(depot=0)], [lot(depot=1, arrival=(1, 0)), lot(arrival=(0, 1), key=1)]
    asked = problem(kits, [cell(0)], lots)
    assert named(asked, promise(asked).allocations) == [(0, 1, 1)]
    kept = replace(asked, cells=(replace(asked.cells[0], kept=((0, PIECE),)),))
    assert named(kept, promise(kept).allocations) == [(0, 0, 1)]


def test_kept_pieces_never_cost_a_kit_and_the_order_of_the_lots_does_not_matter() -> None:
    for seed in range(60):
        asked = random_problem(seed, kits=8, cells=30, lots=20, items=5, most=4)
        kept = with_kept(asked, promise(asked))
        last = len(asked.lots) - 1

        def turned(one: Cell, last: int = last) -> Cell:
            fixed, kept = (tuple((last - at, quantity) for at, quantity in pieces) for pieces in (one.fixed, one.kept))
            return replace(one, fixed=fixed, kept=kept)

        other = replace(kept, lots=kept.lots[::-1], cells=tuple(map(turned, kept.cells)))
        first, second = promise(kept), promise(other)
        assert sorted(named(kept, first.allocations)) == sorted(named(other, second.allocations))
        assert (first.served_in_turn, first.short, first.cost) == (second.served_in_turn, second.short, second.cost)


def test_equal_lots_give_a_cell_whole_from_the_tightest_place_and_else_in_whole_sets_of_three() -> None:
    places = [lot(pieces=pieces, walk=walk, key=walk) for walk, pieces in enumerate((9, 4, 4, 3))]
    whole = problem([kit()], [cell(0, pieces=4)], places)
    assert named(whole, promise(whole).allocations) == [(0, 1, 4)]
    split = problem([kit()], [cell(0, pieces=6)], places[1:])
    assert named(split, promise(split).allocations) == [(0, 1, 3), (0, 2, 3)]
    scraps = problem([kit()], [cell(0, pieces=6)], [lot(pieces=pieces, walk=pieces, key=pieces) for pieces in (2, 4)])
    assert sorted(named(scraps, promise(scraps).allocations)) == [(0, 2, 2), (0, 4, 4)]
