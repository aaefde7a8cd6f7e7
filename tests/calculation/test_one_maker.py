"""A joint whose pieces come from two makers is told, with both makers and where the pieces come from."""

from collections.abc import Mapping

from small_books import BASE, Small, small

POSITIONS = (
    "structure,position,kind,interface,phases,insert fitted,state,existing cable type\n"
    "J,j,joint,,ABC,,,\nQ,a,integral 200 A,200 A 15 kV,ABC,,,\nR,a,integral 200 A,200 A 15 kV,ABC,,,"
)
SCHEDULE = "J1,1,S12,ABC,CT-A,Q,a,J,j\nJ1,2,S12,ABC,CT-A,J,j,R,a"
ONE = {"CS": "Aldergate Joints", "SC-10": "Aldergate Joints", "EL-1": "Brimfield"}
TWO = {**ONE, "SC-10": "Brimfield"}


def joint(makers: Mapping[str, str], **more: str) -> Small:
    header, *rows = BASE["items"].splitlines()
    items = [f"{header},maker", *(f"{row},{makers.get(row.split(',')[0], '')}" for row in rows)]
    stock = "CS,N,A-1,bin,3\nSC-10,N,B-2,bin,3"
    return small(**{"items": "\n".join(items), "positions": POSITIONS, "schedule": SCHEDULE, "stock": stock, **more})


def told(made: Small) -> list[str]:
    return [one.problem for one in made.made.questions if (one.sheet, one.column) == ("items", "maker")]


def test_two_makers_in_one_joint_are_told_with_both_sources_and_one_maker_is_not() -> None:
    two = joint(TWO)
    assert told(joint(ONE)) == []
    assert told(two) == [
        "J1 J-j: makers differ in this joint: CS by Aldergate Joints (N/A-1); SC-10 by Brimfield (N/B-2)"
    ]
    reason = two.lines(structure="J", kind="splice")["reason"].iloc[0]
    assert reason.endswith("makers differ in this joint: CS by Aldergate Joints, SC-10 by Brimfield")
    assert {one.severity for one in two.made.questions if one.column == "maker"} == {"note"}


def test_what_is_still_to_be_bought_counts_by_the_code_that_would_be_bought() -> None:
    (sentence,) = told(joint(TWO, stock="CS,N,A-1,bin,3"))
    assert sentence.endswith("CS by Aldergate Joints (N/A-1); SC-10 by Brimfield (to be bought of nobody named)")


def test_an_item_whose_maker_nobody_has_given_is_no_other_maker() -> None:
    assert told(joint({"CS": "Aldergate Joints", "EL-1": "Brimfield"})) == []
