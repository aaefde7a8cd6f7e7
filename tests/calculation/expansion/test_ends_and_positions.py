"""What each cable end and each position takes."""

import pytest
from changed_books import Change, changed, clean_book
from desk import Desk
from small_books import BASE, small

WELL = "P,a,well 200 A,200 A 15 kV,ABC,yes,"
RUN = "J1,1,S12,ABC,CT-A,P,a,Q,a"
TO = "Q,a,integral 200 A,200 A 15 kV,ABC,,"


def test_a_200_a_end_takes_elbow_connector_probe_seal_ground_and_tag_for_each_phase() -> None:
    """Three phases, one cable each: three of everything, by the end and not by the row."""
    made = small(positions=f"{WELL}\n{TO}", schedule=RUN)
    assert made.kinds(structure="P") == {
        "elbow": ("EL-1", 3),
        "elbow connector": ("CC-10", 3),
        "probe": ("PB", 3),
        "shield ground set": ("GK", 3),
        "jacket seal": ("JS-1", 3),
        "phase tag": ("TAG", 3),
    }


@pytest.mark.parametrize(("fitted", "inserts"), [("no", 3), ("yes", 0)])
def test_an_insert_goes_only_into_an_empty_well(fitted: str, inserts: int) -> None:
    """The position says whether its insert is in; a bushing that is integral needs none."""
    made = small(positions=f"P,a,well 200 A,200 A 15 kV,ABC,{fitted},\n{TO}", schedule=RUN)
    assert sum(made.lines(kind="bushing insert")["quantity"]) == inserts


def test_a_well_that_does_not_say_is_asked() -> None:
    """A blank is not a no: the position table can't tell, and one question names the cell."""
    made = small(positions=f"P,a,well 200 A,200 A 15 kV,ABC,,\n{TO}", schedule=RUN)
    line = made.lines(structure="P", side="position").iloc[0]
    assert line["line"] == "J1/P-a/position/ABC/position accessories"
    assert (line["answer"], line["kind"], line["quantity"]) == ("can't tell", "", "")
    assert [(q.sheet, q.row, q.column) for q in made.made.questions if q.severity == "ask"] == [
        ("positions", 2, "insert fitted")
    ]


def test_a_35_kv_interface_must_be_given_and_a_15_kv_one_is_worked_out() -> None:
    """15 kV leaves one 200 A interface; 35 kV leaves small and large."""
    at_15 = small(positions=f"P,a,well 200 A,,ABC,yes,\n{TO}", schedule=RUN)
    assert set(at_15.lines(structure="P", kind="elbow")["interface"]) == {"200 A 15 kV"}
    at_35 = small(
        positions="P,a,well 200 A,,ABC,yes,\nQ,a,integral 200 A,200 A 35 kV large,ABC,,",
        schedule="J1,1,S35,ABC,CT-A,P,a,Q,a",
    )
    assert set(at_35.lines(structure="P", kind="elbow")["answer"]) == {"can't tell"}
    assert ("positions", 2, "interface") in [(q.sheet, q.row, q.column) for q in at_35.made.questions]


def test_the_connector_follows_the_equipment_but_never_below_the_system() -> None:
    """A 25 kV interface on a 15 kV system is used; a 15 kV interface on a 25 kV system is asked."""
    above = small(positions=f"P,a,well 200 A,200 A 25 kV,ABC,no,\n{TO}", schedule=RUN)
    insert = above.lines(structure="P", kind="bushing insert").iloc[0]
    assert (insert["stock_code"], insert["class_kv"]) == ("BI-25", "25")
    below = small(positions=f"{WELL}\n{TO}", schedule=RUN.replace("S12", "S25"))
    assert set(below.lines(structure="P", kind="elbow")["answer"]) == {"can't tell"}


def test_two_cables_on_a_200_a_position_conflict() -> None:
    """One interface takes one cable; both ends say so."""
    made = small(
        positions=f"{WELL}\n{TO}\nQ,b,integral 200 A,200 A 15 kV,ABC,,",
        schedule=f"{RUN}\nJ1,2,S12,ABC,CT-A,P,a,Q,b",
    )
    lines = made.lines(structure="P", position="a", answer="conflict")
    assert list(lines["line"]) == ["J1/P-a/r1-from/ABC/end accessories", "J1/P-a/r2-from/ABC/end accessories"]
    assert made.made.jobs[0].answer == "conflict"


SIX = "P,a,bushing 600 A,600 A 15/25 kV,ABC,,"


def test_one_cable_on_a_600_a_bushing_takes_one_assembly() -> None:
    """Tee, adapter, lug at the end; stud and insulating plug at the position."""
    made = small(positions=f"{SIX}\n{TO}", schedule=RUN)
    kinds = made.kinds(structure="P")
    assert {kind: kinds[kind] for kind in ("tee", "cable adapter", "lug", "stud", "insulating plug")} == {
        "tee": ("TEE", 3), "cable adapter": ("CA", 3), "lug": ("LUG-10", 3), "stud": ("STUD", 3),
        "insulating plug": ("IP", 3),
    }  # fmt: skip
    assert "connecting plug" not in kinds


def test_two_cables_stack_with_a_connecting_plug_and_three_have_no_rule() -> None:
    """Two tees a phase, one connecting plug between them, one insulating plug at the back."""
    two = small(
        positions=f"{SIX}\n{TO}\nQ,b,integral 200 A,200 A 15 kV,ABC,,",
        schedule=f"{RUN}\nJ1,2,S12,ABC,CT-A,P,a,Q,b",
    )
    assert sum(two.lines(structure="P", kind="tee")["quantity"]) == 6
    assert sum(two.lines(structure="P", kind="stud")["quantity"]) == 6
    assert sum(two.lines(structure="P", kind="connecting plug")["quantity"]) == 3
    assert sum(two.lines(structure="P", kind="insulating plug")["quantity"]) == 3
    header = "job,run,system,phases,cables per phase,cable type,from structure,from position,to structure,to position"
    three = small(
        positions=f"{SIX}\nQ,a,bushing 600 A,600 A 15/25 kV,ABC,,",
        schedule=f"{header}\nJ1,1,S12,ABC,3,CT-A,P,a,Q,a",
    )
    assert set(three.lines(structure="P")["answer"]) == {"no rule"}


def test_a_one_piece_housing_needs_no_adapter() -> None:
    """A tee with an insulation range of its own takes the cable without an adapter."""
    one_piece = BASE["items"].replace(
        "TEE,Tee,tee,15; 25,600 A 15/25 kV,,,,", "TEE,Tee,tee,15; 25,600 A 15/25 kV,,0.7,0.9,"
    )
    assert one_piece != BASE["items"]
    kinds = small(positions=f"{SIX}\n{TO}", schedule=RUN, items=one_piece).kinds(structure="P")
    assert kinds["tee"] == ("TEE", 3)
    assert "cable adapter" not in kinds


def test_cables_per_phase_multiply_what_is_given_per_phase() -> None:
    """Two cables on each of three phases: six tees, six tags."""
    header = "job,run,system,phases,cables per phase,cable type,from structure,from position,to structure,to position"
    made = small(
        positions=f"{SIX}\nQ,a,bushing 600 A,600 A 15/25 kV,ABC,,",
        schedule=f"{header}\nJ1,1,S12,ABC,2,CT-A,P,a,Q,a",
    )
    assert made.kinds(structure="P")["tee"] == ("TEE", 6)
    assert made.kinds(structure="P")["phase tag"] == ("TAG", 6)


@pytest.mark.parametrize(
    ("position", "kinds"),
    [
        ("P,b,well 200 A,200 A 15 kV,ABC,no,", {"bushing insert": ("BI", 3), "insulated cap": ("PC", 3)}),
        ("P,b,well 200 A,200 A 15 kV,ABC,yes,", {"insulated cap": ("PC", 3)}),
        ("P,b,integral 200 A,200 A 15 kV,ABC,,", {"insulated cap": ("PC", 3)}),
        ("P,b,well 200 A,200 A 15 kV,ABC,no,dead", {}),
        ("P,b,well 200 A,200 A 15 kV,ABC,yes,in use", {}),
        ("P,b,integral 200 A,200 A 15 kV,ABC,,end of line", {"elbow arrester": ("EA-8", 3)}),
        (
            "P,b,well 200 A,200 A 15 kV,ABC,no,end of line",
            {"bushing insert": ("BI", 3), "elbow arrester": ("EA-8", 3)},
        ),
    ],
)
def test_a_position_without_a_cable_takes_what_its_state_says(position: str, kinds: dict[str, tuple[str, int]]) -> None:
    """Unused: insert and cap; dead: nothing; end of line: the arrester takes the place of the cap."""
    made = small(positions=f"{WELL}\n{position}\n{TO}", schedule=RUN)
    assert made.kinds(structure="P", position="b") == kinds


def test_an_end_of_line_with_a_cable_takes_a_feed_through_insert() -> None:
    """No interface is free beside the elbow, so the insert is a feed-through one."""
    made = small(positions=f"P,a,well 200 A,200 A 15 kV,ABC,no,end of line\n{TO}", schedule=RUN)
    kinds = made.kinds(structure="P", side="position")
    assert kinds == {"feed-through insert": ("FT", 3), "elbow arrester": ("EA-8", 3)}


@pytest.mark.parametrize(
    ("sides", "kinds"),
    [
        ("insert", {"standoff bushing", "elbow arrester"}),
        ("both", {"parking arrester", "elbow arrester"}),
        ("parked", {"parking arrester", "insulated cap"}),
    ],
)
def test_the_policy_says_on_which_side_of_an_open_point_arresters_stand(sides: str, kinds: set[str]) -> None:
    """On the insert the parked elbow leaves, on the parking stand, or both."""
    made = small(
        positions=f"P,a,well 200 A,200 A 15 kV,ABC,yes,open point\n{TO}",
        schedule=RUN,
        policies=f"policy,value\narrester sides,{sides}",
    )
    assert set(made.lines(structure="P", side="position")["kind"]) == kinds


def test_a_junction_takes_caps_on_its_free_ways() -> None:
    """Two cables on a three-way junction leave one way a phase."""
    made = small(
        positions=f"P,a,junction 200 A,200 A 15 kV,ABC,,\n{TO}\nQ,b,integral 200 A,200 A 15 kV,ABC,,",
        schedule=f"{RUN}\nJ1,2,S12,ABC,CT-A,P,a,Q,b",
    )
    kinds = made.kinds(structure="P", side="position")
    assert kinds == {"junction": ("JC-3", 3), "insulated cap": ("PC", 3)}
    assert sum(made.lines(structure="P", kind="elbow")["quantity"]) == 6


def test_a_position_belongs_to_the_first_job_in_the_order_of_service() -> None:
    """J2 is in April: the unused well at the shared structure is J1's, unless the position names its job."""
    shared = "P,b,well 200 A,200 A 15 kV,ABC,no,"
    rows = f"{WELL}\n{shared}\nP,c,integral 200 A,200 A 15 kV,ABC,,\n{TO}\nQ,b,integral 200 A,200 A 15 kV,ABC,,"
    runs = f"J2,1,S12,ABC,CT-A,P,c,Q,b\n{RUN}"
    assert set(small(positions=rows, schedule=runs).lines(position="b", structure="P")["job"]) == {"J1"}
    header = "structure,position,kind,interface,phases,insert fitted,state,job"
    named = "\n".join([header, *(f"{row}," for row in rows.splitlines())]).replace(f"{shared},", f"{shared},J2")
    assert set(small(positions=named, schedule=runs).lines(position="b", structure="P")["job"]) == {"J2"}


def test_a_riser_takes_terminations_and_its_own_arresters() -> None:
    """One termination, lug and arrester a phase; brackets and ground leads are lines unless the crew carries them."""
    made = small(positions=f"P,a,riser pole,,ABC,,\n{TO}", schedule=RUN)
    kinds = made.kinds(structure="P")
    assert kinds["termination"] == ("TM", 3)
    assert kinds["riser arrester"] == ("RP", 3)
    assert kinds["bracket"][1] == 1
    crew = small(
        positions=f"P,a,riser pole,,ABC,,\n{TO}",
        schedule=RUN,
        policies="policy,value\ncrew stock kinds,bracket; cable support; ground lead",
    )
    assert not {"bracket", "cable support", "ground lead"} & set(crew.kinds(structure="P"))


def test_an_arrester_takes_the_rating_of_its_earthing() -> None:
    """8.4 kV serves the multigrounded wye; the ungrounded delta of a higher need takes 15.3."""
    at = "P,b,integral 200 A,200 A 15 kV,ABC,,end of line"
    wye = small(positions=f"{WELL}\n{at}\n{TO}", schedule=RUN)
    delta = small(positions=f"{WELL}\n{at}\n{TO}", schedule=RUN.replace("S12", "S13D"))
    assert wye.kinds(position="b", structure="P")["elbow arrester"][0] == "EA-8"
    assert delta.kinds(position="b", structure="P")["elbow arrester"][0] == "EA-15"


@pytest.mark.parametrize(("system", "plug"), [("S25", "RT25"), ("S12", "")])
def test_a_reducing_tap_plug_carries_no_more_than_its_tap(system: str, plug: str) -> None:
    """It ends the stack of a 600 A bushing, so a 200 A rating is no reason against it; its other interface may be."""
    ends = [Change("positions", 23, (("state", "end of line"),)), Change("schedule", 12, (("system", system),))]
    lines = Desk(changed(clean_book(), ends)).plan().requirements.set_index("line")
    line = lines.loc["J03/V1-b/position/ABC/reducing tap plug"]
    assert (line.stock_code, line.current_a) == (plug, "200")
    assert "carries" not in line.reason
