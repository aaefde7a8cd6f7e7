"""Joints are counted once, by the cables that meet there; planned joints wait for a place."""

import pytest
from small_books import BASE, small

JOINT = "structure,position,kind,interface,phases,insert fitted,state,existing cable type"
END = "Q,a,integral 200 A,200 A 15 kV,ABC,,,"


def _positions(*rows: str) -> str:
    return "\n".join([JOINT, *rows])


def test_a_joint_that_two_rows_name_is_one_joint() -> None:
    """Three phases, the same cable on both sides: three splices and three connectors."""
    made = small(
        positions=_positions("J,j,joint,,ABC,,,", END, "R,a,integral 200 A,200 A 15 kV,ABC,,,"),
        schedule="J1,1,S12,ABC,CT-A,Q,a,J,j\nJ1,2,S12,ABC,CT-A,J,j,R,a",
    )
    assert made.kinds(structure="J") == {
        "splice": ("CS", 3), "splice connector": ("SC-10", 3), "rejacketing sleeve": ("RJ", 3),
        "shield continuity set": ("SA", 3),
    }  # fmt: skip


def test_the_existing_cable_is_the_other_side_where_only_one_row_comes() -> None:
    """4/0 in the ground, 1/0 new: a reducer, and one splice that holds both diameters."""
    made = small(positions=_positions("J,j,joint,,ABC,,,CT-C", END), schedule="J1,1,S12,ABC,CT-A,Q,a,J,j")
    line = made.lines(structure="J", kind="splice").iloc[0]
    assert (line["stock_code"], line["conductor_size"]) == ("CS", "")
    assert line["doi_low_mm"] == "18.542; 24.6634"
    assert made.kinds(structure="J")["splice connector"] == ("RC", 3)


def test_a_joint_with_one_side_can_not_be_told() -> None:
    """Nobody names the cable in the ground: the position is asked."""
    made = small(positions=_positions("J,j,joint,,ABC,,,", END), schedule="J1,1,S12,ABC,CT-A,Q,a,J,j")
    assert list(made.lines(structure="J")["answer"]) == ["can't tell"]
    assert ("positions", 2, "existing cable type") in [(q.sheet, q.row, q.column) for q in made.made.questions]


def test_four_cables_at_a_joint_have_no_rule() -> None:
    """Two make a straight joint, three a tap, more nothing the book knows."""
    ends = [f"Q,{letter},integral 200 A,200 A 15 kV,ABC,,," for letter in "abcd"]
    runs = [f"J1,{number},S12,ABC,CT-A,Q,{letter},J,j" for number, letter in enumerate("abcd", start=1)]
    three = small(positions=_positions("J,j,joint,,ABC,,,", *ends[:3]), schedule="\n".join(runs[:3]))
    assert "no rule" not in set(three.lines(structure="J")["answer"])
    four = small(positions=_positions("J,j,joint,,ABC,,,", *ends), schedule="\n".join(runs))
    assert list(four.lines(structure="J")["answer"]) == ["no rule"]


def test_phases_on_which_other_cables_meet_make_lines_of_their_own() -> None:
    """B and C meet the old cable, A a new one."""
    made = small(
        positions=_positions("J,j,joint,,ABC,,,CT-C", END, "R,a,integral 200 A,200 A 15 kV,A,,,"),
        schedule="J1,1,S12,ABC,CT-A,Q,a,J,j\nJ1,2,S12,A,CT-A,J,j,R,a",
    )
    lines = made.lines(structure="J", kind="splice connector")
    assert dict(zip(lines["phases"], lines["stock_code"], strict=True)) == {"A": "SC-10", "BC": "RC"}
    assert dict(zip(lines["phases"], lines["quantity"], strict=True)) == {"A": 1, "BC": 2}


@pytest.mark.parametrize(
    ("length", "reel", "tails", "joints"),
    [("8200", "3000", "0", 2), ("3000", "3000", "0", 0), ("2990", "3000", "20", 1), ("6000", "3000", "0", 1)],
)
def test_planned_joints_are_counted_from_the_reel_length(length: str, reel: str, tails: str, joints: int) -> None:
    """ceil((length + tails) / reel length) - 1 a conductor; common practice, 8200 ft on 3000 ft reels give 2."""
    types = (
        "cable type,conductor size,metal,insulation,DOI low (in),DOI high (in),jacketed,jacket low (in),"
        f"jacket high (in),reel length (ft)\nCT-A,1/0,Al,TR-XLPE,0.730,0.790,yes,1.00,1.08,{reel}"
    )
    header = "job,run,system,phases,cable type,length (ft),from structure,from position,to structure,to position"
    made = small(
        positions="P,a,integral 200 A,200 A 15 kV,ABC,,\nQ,a,integral 200 A,200 A 15 kV,ABC,,",
        schedule=f"{header}\nJ1,1,S12,ABC,CT-A,{length},P,a,Q,a",
        cable_types=types,
        reels="reel,cable type",
        policies=f"policy,value\ntails,{tails} ft",
    )
    planned = made.lines(side="joint")
    if not joints:
        assert planned.empty
        return
    assert list(planned["line"]) == ["J1/r1/joint/ABC/joint accessories"]
    assert list(planned["answer"]) == ["can't tell"]
    assert f"{joints} planned joint" in planned.iloc[0]["reason"]
    assert f"{joints * 3} in all" in planned.iloc[0]["reason"]
    assert [(q.sheet, q.column) for q in made.made.questions if q.severity == "ask"] == [("schedule", "length")]


def test_a_joint_of_two_makers_names_both_sources() -> None:
    """Some owners want a joint of one maker (common practice): the splice's sentence tells where they differ."""
    header, *rows = BASE["items"].splitlines()
    makers = {"CS": "Maker One", "SC-10": "Maker Two"}
    items = "\n".join([f"{header},maker", *(f"{row},{makers.get(row.split(',')[0], '')}" for row in rows)])
    positions = _positions("J,j,joint,,ABC,,,CT-A", END)
    run = "J1,1,S12,ABC,CT-A,Q,a,J,j"
    mixed = small(positions=positions, schedule=run, items=items)
    reason = mixed.lines(structure="J", kind="splice").iloc[0]["reason"]
    assert "makers differ in this joint: CS by Maker One, SC-10 by Maker Two" in reason
    same = small(positions=positions, schedule=run, items=items.replace("Maker Two", "Maker One"))
    assert "makers differ" not in same.lines(structure="J", kind="splice").iloc[0]["reason"]
