"""Tiers and the most kits overall are as good as trying every set of kits, and say what they can't promise."""

import os
import random
import subprocess
import sys
from dataclasses import replace
from itertools import chain, combinations, product
from pathlib import Path

import numpy as np
import pytest
from promising_cases import PIECE, can_be_bought, cell, held, kit, lot, named, problem, random_problem, serves

from kitting.calculation.most_kits import NEAR_DAYS, most_kits
from kitting.calculation.promising import choosing, promise, solver
from kitting.calculation.promising.model import NEVER, Problem, Promised
from kitting.calculation.promising.tiers import weight_of as weight_of_priority


def in_tiers(asked: Problem, seed: int, days: int = 2) -> Problem:
    """The same problem in tiers of days, with weights."""
    draw = random.Random(seed)
    kits = tuple(replace(made, weight=draw.choice([1, 1, 2, 4])) for made in asked.kits)
    return replace(asked, kits=kits, tier_days=days)


def with_kept_pins(asked: Problem, promised: Promised) -> Problem:
    """The same problem without the fixed pieces that could not be kept."""
    dropped = {(index, position): quantity for index, position, quantity in promised.not_kept}
    cells = [
        replace(
            made,
            fixed=tuple((position, quantity - dropped.get((index, position), 0)) for position, quantity in made.fixed),
        )
        for index, made in enumerate(asked.cells)
    ]
    return replace(asked, cells=tuple(cells))


def fits(asked: Problem, demand: dict[int, int]) -> bool:
    """Hall's condition for every set of lots: the cells that nothing else serves ask for no more than it holds."""
    left = [made.quantity for made in asked.lots]
    for made in asked.cells:
        for position, quantity in made.fixed:
            left[position] -= quantity
    reach = {index: {one for one in range(len(left)) if serves(asked, index, one)} for index in demand}
    return all(
        sum(quantity for index, quantity in demand.items() if reach[index] <= lots) <= sum(left[one] for one in lots)
        for lots in map(set, chain.from_iterable(combinations(range(len(left)), size) for size in range(len(left) + 1)))
    )


def open_need(asked: Problem, index: int) -> int:
    return asked.cells[index].quantity - sum(quantity for _, quantity in asked.cells[index].fixed)


def required(asked: Problem, kits: set[int]) -> dict[int, int]:
    return {
        index: open_need(asked, index)
        for index, made in enumerate(asked.cells)
        if made.kit in kits and not made.spare and not can_be_bought(asked, index)
    }


def best_weight(asked: Problem, kits: list[int], before: dict[int, int]) -> int:
    """The greatest weight of kits that fit beside what is held, by trying every set of them, heaviest first."""
    every = product((0, 1), repeat=len(kits))
    sets = [{one for one, taken in zip(kits, picks, strict=True) if taken} for picks in every]
    weights = sorted(((weight_of(asked, chosen), sorted(chosen)) for chosen in sets), reverse=True)
    return next(weight for weight, chosen in weights if fits(asked, before | required(asked, set(chosen))))


def weight_of(asked: Problem, kits: set[int]) -> int:
    return sum(asked.kits[one].weight for one in kits)


def tiers_of(asked: Problem) -> list[list[int]]:
    tiers: dict[int, list[int]] = {}
    for number, made in enumerate(asked.kits):
        if made.dated:
            tiers.setdefault(max(0, made.staged_by_day - asked.as_of_day) // asked.tier_days, []).append(number)
    return [tiers[number] for number in sorted(tiers)]


def assert_every_tier_is_best(asked: Problem, promised: Promised) -> None:
    """Tier by tier: the weight is what trying every set finds beside all pieces that earlier tiers hold."""
    have = held(promised)
    before: dict[int, int] = {}
    for tier in tiers_of(asked):
        served = {one for one in tier if promised.served_in_turn[one]}
        assert weight_of(asked, served) == best_weight(asked, tier, before)
        for index, made in enumerate(asked.cells):
            if made.kit in served and not made.spare:
                before[index] = have.get(index, 0) - (made.quantity - open_need(asked, index))
    assert fits(asked, before)


def assert_refusals_add_up(asked: Problem, promised: Promised) -> None:
    """What earlier tiers hold in a refusal's set, and what the kits chosen in its own require, leaves too little."""
    have = held(promised)
    tier_of = {one: number for number, tier in enumerate(tiers_of(asked)) for one in tier}
    for reason in promised.refused:
        lots = set(reason.lots)

        def confined(index: int, inside: set[int] = lots) -> bool:
            return all(one in inside for one in range(len(asked.lots)) if serves(asked, index, one))

        pinned = sum(quantity for made in asked.cells for one, quantity in made.fixed if one in lots)
        assert sum(asked.lots[one].quantity for one in lots) - pinned == reason.stock
        competing = 0
        for index, made in enumerate(asked.cells):
            if not made.spare and promised.served_in_turn[made.kit] and confined(index):
                same = tier_of[made.kit] == tier_of[reason.kit] and not can_be_bought(asked, index)
                if same or tier_of[made.kit] < tier_of[reason.kit]:
                    competing += have.get(index, 0) - (made.quantity - open_need(asked, index))
        assert competing == reason.competing
        asks = sum(need for index, need in required(asked, {reason.kit}).items() if confined(index))
        assert asks - (reason.stock - competing) == reason.missing > 0


def overall(asked: Problem) -> Problem:
    return replace(asked, kits=tuple(replace(made, weight=1) for made in asked.kits), tier_days=NEVER)


@pytest.mark.parametrize("block", range(10))
def test_every_tier_and_the_count_are_the_best_that_trying_every_set_of_kits_finds(block: int) -> None:
    other = 0
    for seed in range(block * 60, block * 60 + 60):
        asked = in_tiers(random_problem(seed, kits=6, cells=11, lots=6, items=4, most=3), seed, days=3)
        strict, promised, most = promise(replace(asked, tier_days=0)), promise(asked), promise(overall(asked))
        for made, problem_of in ((promised, asked), (most, overall(asked))):
            assert_every_tier_is_best(with_kept_pins(problem_of, made), made)
            assert_refusals_add_up(with_kept_pins(problem_of, made), made)
            assert (made.status, made.bound) == ("proven", sum(made.served_in_turn))
            assert sum(made.short.values()) == sum(strict.short.values())
        assert sum(most.served_in_turn) >= max(sum(strict.served_in_turn), sum(promised.served_in_turn))
        other += promised.served_in_turn != strict.served_in_turn
    assert other > 3


def test_two_kits_of_a_tier_win_over_an_earlier_one_unless_it_weighs_more() -> None:
    kits = [kit(staged_by=8), kit(staged_by=9), kit(staged_by=13), kit(staged_by=14)]
    cells = [cell(0, pieces=2), cell(1), cell(2), cell(3)]
    asked = replace(problem(kits, cells, [lot(pieces=2)]), tier_days=7)
    promised = promise(asked)
    assert (promised.served_in_turn, promised.policy) == ((False, True, True, False), "tiers of 1 week")
    first, last = promised.refused
    assert (first.kit, first.competing_kits, first.stock, first.missing) == (0, (1, 2), 2 * PIECE, 2 * PIECE)
    assert (last.kit, last.competing_kits, last.missing) == (3, (1, 2), PIECE)
    heavy = replace(asked, kits=(replace(kits[0], weight=weight_of_priority(1)), *kits[1:]))
    assert promise(heavy).served_in_turn == (True, False, False, False)
    assert promise(replace(asked, tier_days=0)).served_in_turn == (True, False, False, False)


def test_a_chosen_kit_gets_what_it_requires_before_another_gets_a_real_piece_that_could_be_bought() -> None:
    asked = problem([kit(buyable=[0]), kit()], [cell(0), cell(1)], [lot()])
    assert promise(asked).served_in_turn == (True, False)
    together = promise(replace(asked, tier_days=14))
    assert together.served_in_turn == (True, True)
    assert together.bought == together.short == {0: PIECE}


def medium(seed: int) -> Problem:
    return in_tiers(random_problem(seed, kits=40, cells=160, lots=50, items=8, most=5), seed, days=3)


@pytest.mark.parametrize(("seed", "lots"), [(12, 50), (18, 50), (55, 50), (55, 80), (57, 50)])
def test_tiers_that_trade_many_kits_against_each_other_are_served_as_well_as_their_bound(seed: int, lots: int) -> None:
    asked = in_tiers(random_problem(seed, kits=40, cells=160, lots=lots, items=12, most=5), seed, days=6)
    promised = promise(asked)
    assert (promised.status, promised.bound) == ("proven", sum(promised.served_in_turn))


def test_where_a_search_is_cut_short_the_choice_still_fits_and_the_best_lies_within_its_bound(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    apart = 0
    for seed in range(12):
        asked = replace(medium(seed), tier_days=NEVER)
        best = promise(asked)
        assert best.status == "proven"
        with monkeypatch.context() as patched:
            for name, value in {"MANY": 0, "FEW": 3, "NEAR": 3}.items():
                patched.setattr(choosing, name, value)
            rough = promise(asked)
        reached, possible = served_weight(asked, rough), served_weight(asked, best)
        behind = 0 if rough.status == "proven" else int(rough.status.split()[2])
        assert rough.status in ("proven", f"at most {behind} kits from best")
        assert reached <= possible <= reached + behind
        assert sum(rough.short.values()) == sum(best.short.values())
        apart += behind > 0
    assert apart > 3


def served_weight(asked: Problem, promised: Promised) -> int:
    return weight_of(asked, {number for number, served in enumerate(promised.served_in_turn) if served})


def takes_nothing_and_calls_it_best(program: solver.Program, *, nodes: int) -> solver.Proposal:
    assert nodes > 0
    nothing = np.zeros(len(program.cost))
    return solver.Proposal(columns=nothing, prices=nothing, bound=0.0, optimal=True)


@pytest.mark.parametrize("failure", ["missing", "no answer", "wrong bound"])
def test_without_an_answer_from_the_solver_the_plan_is_in_strict_order_and_says_so(
    failure: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = replace(medium(1), tier_days=7)
    if failure == "missing":
        monkeypatch.setattr(solver, "highspy", None)
    elif failure == "no answer":
        monkeypatch.setattr(choosing, "linear", lambda _program: None)
    else:
        monkeypatch.setattr(choosing, "whole", takes_nothing_and_calls_it_best)
    promised, strict = promise(asked), promise(replace(asked, tier_days=0))
    assert promised.policy == "strict order, as the solver gave no answer for tiers of 1 week"
    assert replace(promised, policy=strict.policy) == strict


def test_tiers_do_not_depend_on_the_order_of_the_rows_of_stock_and_keep_the_caps_of_stand_ins() -> None:
    capped = 0
    for seed in range(40):
        asked = replace(in_tiers(random_problem(seed, kits=8, cells=30, lots=20, items=5, most=4, fixed=False), seed))
        turned = replace(asked, lots=asked.lots[::-1])
        first, second = promise(asked), promise(turned)
        assert named(asked, first.allocations) == named(turned, second.allocations)
        assert (first.short, first.served_in_turn) == (second.short, second.served_in_turn)
        caps = dict.fromkeys(range(len(asked.items)), PIECE * (seed % 3))
        capped += promise(replace(asked, stand_in_caps=caps)).status == "not proven"  # audited inside
    assert capped > 5


def test_tiers_are_the_same_in_every_process() -> None:
    code = "from dataclasses import replace\nfrom promising_cases import random_problem\n"
    code += "from kitting.calculation.promising import promise\n"
    code += "many = [random_problem(seed, kits=40, cells=160, lots=50, items=8, most=5) for seed in range(6)]\n"
    code += "print([promise(replace(one, tier_days=days)) for one in many for days in (3, 99)])"
    folder = Path(__file__).parent
    plans = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={
                **os.environ,
                "PYTHONHASHSEED": hash_seed,
                "PYTHONPATH": os.pathsep.join([*sys.path, str(folder), str(folder.parents[2])]),
            },
            check=True,
            capture_output=True,
        ).stdout
        for hash_seed in ("0", "1", "77")
    }
    assert len(plans) == 1


def test_the_most_kits_overall_are_told_with_the_near_jobs_that_would_pay_or_win() -> None:
    kits = [
        replace(kit(staged_by=day, good_through=day), job=job, weight=weight)
        for job, day, weight in (("J0", 5, 4), ("J1", 1 + NEAR_DAYS, 1), ("J2", 2 + NEAR_DAYS, 1))
    ]
    asked = replace(problem(kits, [cell(0, pieces=2), cell(1), cell(2)], [lot(pieces=2)]), as_of_day=1)
    told = most_kits(asked, promise(asked))
    assert (told.by_plan, told.most, told.policy, told.status) == (1, 2, "most kits overall", "proven")
    assert told.near_until.toordinal() == 1 + NEAR_DAYS
    assert told.changed.to_numpy().tolist() == [["J0", "0001-01-05", "yes", "no"], ["J1", "0001-03-02", "no", "yes"]]
    alike = replace(asked, kits=tuple(replace(made, weight=1) for made in asked.kits), tier_days=NEVER)
    assert most_kits(asked, promise(alike)).changed.empty
