"""The cost of a small plan is the least of all ways to give every cell what it was promised."""

from functools import cache

from promising_cases import PIECE, held, random_problem, serves
from test_cost_step import piece_cost

from kitting.calculation.promising import promise
from kitting.calculation.promising.model import Problem


def least_of_all_ways(asked: Problem, pieces: list[int]) -> int:
    """Cost of a piece summed over the cells of ``pieces``, one entry for each piece, tried lot by lot."""

    @cache
    def least(done: int, left: tuple[int, ...]) -> int:
        if done == len(pieces):
            return 0
        cell = pieces[done]
        return min(
            (
                piece_cost(asked, cell, lot) + least(done + 1, (*left[:lot], left[lot] - 1, *left[lot + 1 :]))
                for lot in range(len(left))
                if left[lot] and serves(asked, cell, lot)
            ),
            default=10**9,
        )

    return least(0, tuple(lot.quantity // PIECE for lot in asked.lots))


def test_no_other_way_to_give_the_same_cells_the_same_pieces_costs_less() -> None:
    dearer = 0
    for seed in range(150):
        asked = random_problem(seed, kits=5, cells=7, lots=6, items=3, most=2, fixed=False)
        promised = promise(asked)
        pieces = [cell for cell, quantity in sorted(held(promised).items()) for _ in range(quantity // PIECE)]
        assert promised.cheapest
        assert promised.cost == least_of_all_ways(asked, pieces) * PIECE, seed
        dearer += promised.cost > 0
    assert dearer > 100  # most of the problems leave something to choose
