"""The one door to the solver, HiGHS: linear and whole-number programs whose answers are proposals only.

Limits are nodes, never a clock, and one thread: the same program has the same answer. No start is ever passed.
"""

import importlib.util
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

# Without it a plan is still made; it then says what was not proven.
highspy: Any = importlib.import_module("highspy") if importlib.util.find_spec("highspy") else None

Integers = NDArray[np.int64]
Floats = NDArray[np.float64]
DUAL_SIMPLEX, DEVEX, BY_ROW = 1, 1, 1  # with these twice as fast as the primal one on transportation programs
# Few cuts kept and no search for first answers: twice as fast on choices of kits, with the same answers.
WITHOUT_HUNTING = {
    "mip_pool_soft_limit": 1,
    "mip_heuristic_run_feasibility_jump": False,
    "mip_heuristic_run_rins": False,
    "mip_heuristic_run_rens": False,
}


@dataclass(frozen=True, slots=True)
class Program:
    """Minimise ``cost``: each column from 0 to ``most``, each row of summed columns from ``low`` to ``high``.

    Args:
        cost, most: one number a column.
        starts: entries of column c are ``rows[starts[c]:starts[c + 1]]``.
        rows, factors: the rows a column counts in, and how often.
        low, high: bounds of the rows; minus infinity for none.
    """

    cost: Integers
    most: Integers
    starts: Integers
    rows: NDArray[np.int64] | NDArray[np.int32]
    factors: NDArray[np.int64] | NDArray[np.int8]
    low: Floats
    high: Integers


@dataclass(frozen=True, slots=True)
class Proposal:
    """Column values and row prices as the solver gives them; ``bound``: no answer costs less, it says."""

    columns: Floats
    prices: Floats
    bound: float
    optimal: bool


def linear(program: Program) -> Proposal | None:
    """A proposal for the program in fractions, or None where the solver is missing or fails."""
    return next(linear_in_turn([program]))


def linear_in_turn(programs: Iterable[Program]) -> Iterator[Proposal | None]:
    """The same for many programs. Each has the answer that it has alone."""
    options = {"simplex_dual_edge_weight_strategy": DEVEX, "simplex_price_strategy": BY_ROW}
    solver = _solver({"presolve": "off", "simplex_strategy": DUAL_SIMPLEX, **options})
    return (_solved(solver, program) for program in programs)


def whole(program: Program, *, nodes: int) -> Proposal | None:
    """A proposal in whole numbers after at most so many nodes, or None where the solver finds none."""
    solver = _solver({"mip_rel_gap": 0.0, "mip_abs_gap": 0.999, "mip_max_nodes": nodes, **WITHOUT_HUNTING})
    return _solved(solver, program, whole=True)


def _solver(options: Mapping[str, Any]) -> Any:
    """A solver with these options, or None."""
    if highspy is None:
        return None
    solver = highspy.Highs()
    for name, value in {"output_flag": False, "threads": 1, **options}.items():
        solver.setOptionValue(name, value)
    return solver


def _solved(solver: Any, program: Program, *, whole: bool = False) -> Proposal | None:
    if solver is None:
        return None
    _pass(solver, program, whole=whole)
    solver.run()
    info, solution = solver.getInfo(), solver.getSolution()
    optimal = solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    proposal = Proposal(
        columns=np.array(solution.col_value),
        prices=np.array(solution.row_dual),
        bound=info.mip_dual_bound if whole else info.objective_function_value,
        optimal=optimal,
    )
    valid = solution.value_valid and (optimal or whole)
    solver.clearModel()
    return proposal if valid else None


def _pass(solver: Any, program: Program, *, whole: bool) -> None:
    columns = len(program.cost)
    kind = highspy.HighsVarType.kInteger if whole else highspy.HighsVarType.kContinuous
    solver.passModel(
        columns,
        len(program.high),
        len(program.rows),
        int(highspy.MatrixFormat.kColwise),
        int(highspy.ObjSense.kMinimize),
        0.0,  # added to the cost
        program.cost.astype(float),
        np.zeros(columns),
        program.most.astype(float),
        program.low,
        program.high.astype(float),
        program.starts.astype(np.int32),
        program.rows.astype(np.int32, copy=False),
        program.factors.astype(float),
        np.full(columns, int(kind), dtype=np.int32),
    )
