"""Standard locations one after the other: which positions, and which runs between them."""

import pytest
from refusals import refusal

from kitting.calculation.standard_runs import Chain, chain


def ends(made: Chain) -> list[str]:
    """Each run as ``P1/b-P2/a``."""
    return [
        f"{run['from_structure']}/{run['from_position']}-{run['to_structure']}/{run['to_position']}"
        for run in made.runs
    ]


def test_a_loop_of_pads_runs_from_the_last_position_of_each_to_the_first_of_the_next() -> None:
    pads = ("P1", "P2", "P3", "P4")
    loop = chain("three-phase pad", pads, begin=("R1", "a"), end=("R2", "a"))
    assert ends(loop) == ["R1/a-P1/a", "P1/b-P2/a", "P2/b-P3/a", "P3/b-P4/a", "P4/b-R2/a"]
    assert [run["run"] for run in loop.runs] == ["1", "2", "3", "4", "5"]
    assert {(row["kind"], row["phases"], row["state"]) for row in loop.positions} == {("well 200 A", "ABC", "in use")}
    assert len(loop.positions) == 8


def test_a_position_at_which_no_run_lands_is_unused() -> None:
    radial = chain("single-phase pad", ("P1", "P2"))
    assert ends(radial) == ["P1/b-P2/a"]
    states = {(row["structure"], row["position"]): row["state"] for row in radial.positions}
    assert states == {
        ("P1", "a"): "unused", ("P1", "b"): "in use", ("P2", "a"): "in use", ("P2", "b"): "unused",
    }  # fmt: skip
    assert {run["phases"] for run in radial.runs} == {"A"}


def test_a_joint_takes_two_cables_and_a_riser_ends_one() -> None:
    assert ends(chain("straight splice", ("V1", "V2"), begin=("A", "a"), end=("B", "b"))) == [
        "A/a-V1/j", "V1/j-V2/j", "V2/j-B/b"
    ]  # fmt: skip
    assert ends(chain("riser", ("R1", "R2"))) == ["R1/a-R2/a"]
    assert "R2 can't stand between" in refusal("ends-a-run", chain, "riser", ("R1", "R2", "R3"))


@pytest.mark.parametrize(
    ("structures", "code", "said"),
    [((), "no-structures", "in the order of the cable"), (("P1", "P2", "P1"), "named-twice", "P1 is named twice"),
     (("P1",), "nothing-to-join", "needs two ends")],
)  # fmt: skip
def test_a_chain_without_two_ends_or_with_a_structure_twice_is_refused(
    structures: tuple[str, ...], code: str, said: str
) -> None:
    assert said in refusal(code, chain, "three-phase pad", structures)


def test_an_unknown_location_is_refused_with_those_there_are() -> None:
    assert "riser, single-phase pad" in refusal("unknown-location", chain, "manhole", ("M1", "M2"))
