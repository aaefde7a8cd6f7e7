"""Traps of choosing: the wrong part that a spreadsheet picks, the question it does not ask, the double count."""

import pytest
from desk import Desk, Reading

from kitting.calculation.plan_result import Plan


def test_a_blank_wall_is_asked_and_the_reel_answers(clean: Plan, received: Plan, read: type[Reading]) -> None:
    """Trap T01: 175 or 220 mil can't be told; reel R-1187 decides for EL15-2, and EL15-1 is too small by 0.020 in."""
    asked, told = read(received), read(clean)
    line = asked.line("J01/A1-a/r1-from/ABC/elbow")
    assert line["answer"] == "can't tell"
    assert "175 mil (CT-01) would choose EL15-1" in line["reason"]
    assert "220 mil (CT-02) would choose EL15-2" in line["reason"]
    assert told.pieces(job="J01", stock_code="EL15-2") == 6
    assert "not EL15-1: entrance too small by 0.51 mm (0.020 in)" in told.line("J01/A1-a/r1-from/ABC/elbow")["reason"]
    assert told.from_depots(job="J01", stock_code="EL15-2") == {"N": 4, "H": 2}


def test_a_band_across_two_ranges_is_measured(clean: Plan, received: Plan, read: type[Reading]) -> None:
    """Trap T02: CT-07's type band straddles two elbows; reels R-2202 and R-2201 decide, each its own way."""
    measure = read(received).line("J12/K1-a/r2-from/ABC/elbow")
    assert measure["answer"] == "can't tell"
    assert "0.900 to 0.970 in" in measure["reason"]
    assert "0.950 to 0.985 in" in measure["reason"]
    big, small = read(clean).line("J12/K1-a/r2-from/ABC/elbow"), read(clean).line("J04/T1-a/r1-to/A/elbow")
    assert (big["stock_code"], big["margin_mm"]) == ("EL25-2", "0.3048")
    assert (small["stock_code"], small["margin_mm"]) == ("EL25-1", "0.762")
    assert small["doi_origin"] == "gauge"


def test_a_complete_set_takes_the_place_of_what_it_holds(desk: Desk, read: type[Reading]) -> None:
    """Trap T08: the two ends of J06 row 2 pinned to EL15-K10 need no extra connector, probe or seal."""
    pinned = desk.add("stock", stock_code="EL15-K10", depot="N", place="N-09-9", place_kind="bin", quantity="2")
    for end in ("P1-b/r2-from", "P2-a/r2-to"):
        line = f"J06/{end}/A/elbow"
        pinned = pinned.add(
            "pins", job="J06", line=line, stock_code="EL15-K10", quantity="1", reason="set in stock", by="planner"
        )
    plan = read(pinned.plan())
    for end in ("P1-b", "P2-a"):
        structure, position = end.split("-")
        kinds = set(plan.lines(job="J06", run="2", structure=structure, position=position)["kind"])
        assert kinds == {"elbow", "shield ground set", "phase tag"}
    assert plan.pieces(job="J06", stock_code="EL15-K10") == 2
    assert plan.pieces(job="J06", stock_code="EL15-1") == 7
    assert plan.pieces(job="J06", stock_code="CC-10A") == 7


def test_a_cable_that_fits_does_not_make_the_interface_fit(clean: Plan, read: type[Reading]) -> None:
    """Trap T09: EL25-2 holds CT-09, but J07's gear is 35 kV small."""
    lines = read(clean).lines(job="J07", kind="elbow")
    assert set(lines["stock_code"]) == {"EL35S-1"}
    assert set(lines["interface"]) == {"200 A 35 kV small"}
    assert sum(lines["quantity"]) == 6


def test_35_kv_without_small_or_large_can_not_be_told(clean: Plan, received: Plan, read: type[Reading]) -> None:
    """Trap T10: a blank 35 kV interface is asked; large gear then takes the large parts only."""
    for kind in ("elbow", "probe"):
        assert read(received).line(f"J08/G3-a/r2-from/ABC/{kind}")["answer"] == "can't tell"
    insert = read(received).line("J08/G3-a/position/ABC/bushing insert")
    assert insert["answer"] == "can't tell"
    assert "small" in insert["reason"]
    assert "large" in insert["reason"]
    chosen = {row["kind"]: row["stock_code"] for _, row in read(clean).lines(job="J08", structure="G3").iterrows()}
    assert (chosen["elbow"], chosen["bushing insert"], chosen["probe"]) == ("EL35L-1", "BI35L", "PB35L")


def test_an_arrester_of_another_interface_is_refused(desk: Desk, read: type[Reading]) -> None:
    """Traps T11 and T12: without EA15-15.3 no arrester serves J02: too low a rating, or the 25 kV interface."""
    plan = read(desk.drop("items", {"stock code": "EA15-15.3"}).drop("stock", {"stock code": "EA15-15.3"}).plan())
    line = plan.line("J02/C3-b/position/ABC/elbow arrester")
    assert (line["answer"], line["stock_code"]) == ("short", "")
    assert "MCOV 12.7 kV is below the 13.86 kV needed" in line["reason"]
    shortage = plan.made.shortages[plan.made.shortages["line"] == line["line"]].iloc[0]
    assert (shortage["need"], shortage["have"], shortage["short"]) == (3, 0, 3)


def test_a_600_a_end_takes_its_whole_assembly_by_metal(clean: Plan, read: type[Reading]) -> None:
    """Trap T13: CA-4 for the 1.505 in cable, aluminium and copper lugs by end; CA-3 might be 0.005 in too small."""
    plan = read(clean)
    assert plan.pieces(job="J03", stock_code="CA-4") == 9
    assert plan.pieces(job="J03", stock_code="LUG-750A") == 6
    assert plan.pieces(job="J03", stock_code="LUG-750C") == 3
    assert plan.pieces(job="J03", kind="insulating plug") == 9
    assert plan.lines(job="J03", kind="connecting plug").empty
    reason = plan.line("J03/V1-a/r1-from/ABC/cable adapter")["reason"]
    assert "CA-3" in reason
    assert "0.13 mm (0.005 in)" in reason


def test_a_higher_class_is_no_stand_in_at_an_interface(desk: Desk, read: type[Reading]) -> None:
    """Trap T17: an approved row for EL35S-1 in place of EL25-2 changes nothing: it does not mate."""
    approved = desk.add(
        "stand ins", wanted="EL25-2", allowed="EL35S-1", approved_by="standards", reason="fits the cable"
    ).drop("orders", {"stock code": "EL25-2"})
    plan = read(approved.plan())
    assert "EL35S-1" not in set(plan.made.promises[plan.made.promises["job"] == "J09"]["stock_code"])
    assert plan.short(job="J09", stock_code="EL25-2") == 12


def test_the_job_has_a_spare_of_each_lug(clean: Plan, read: type[Reading]) -> None:
    """Trap T20: one spare LUG-750C travels with J03, a line of its own that decides nothing."""
    spare = read(clean).line("J03/job/lug/LUG-750C/spare")
    assert (spare["quantity"], spare["spare"], spare["answer"]) == (1, "yes", "ready")
    seal = read(clean).line("J03/job/jacket seal/JS-3/spare")
    assert seal["answer"] == "ready if"
    assert read(clean).job("J03").answer == "ready"


def test_metric_sizes_are_never_swapped_for_gauge_sizes(clean: Plan, desk: Desk, read: type[Reading]) -> None:
    """Trap T25: 95 mm² takes ML-50/150; without it a 4/0 lug is not offered, however close."""
    assert read(clean).pieces(job="J05", stock_code="ML-50/150") == 18
    assert read(clean).pieces(job="J05", stock_code="ML-120/240") == 6
    without = read(desk.drop("items", {"stock code": "ML-50/150"}).drop("stock", {"stock code": "ML-50/150"}).plan())
    line = without.line("J05/D2-b/r2-from/ABC/lug")
    assert (line["answer"], line["stock_code"]) == ("short", "")


def test_a_joint_that_two_rows_name_is_counted_once(clean: Plan, read: type[Reading]) -> None:
    """Trap T28: V9-J1 takes three splices and three connectors."""
    lines = read(clean).lines(job="J10", structure="V9", position="J1")
    counted = {row["kind"]: row["quantity"] for _, row in lines.iterrows()}
    assert counted["splice"] == 3
    assert counted["splice connector"] == 3


def test_inserts_belong_to_empty_wells(clean: Plan, read: type[Reading]) -> None:
    """Trap T29: J06 takes 8 (none at E7), J04 takes 3 at the transformers and none at the switch."""
    assert read(clean).pieces(job="J06", kind="bushing insert") == 8
    assert read(clean).lines(job="J06", kind="bushing insert", structure="E7").empty
    assert read(clean).pieces(job="J04", kind="bushing insert") == 3
    assert read(clean).lines(job="J04", kind="bushing insert", structure="SW1").empty


def test_a_three_phase_row_takes_three_a_side(clean: Plan, read: type[Reading]) -> None:
    """Trap T30: each end of a three-phase row takes three elbows."""
    assert set(read(clean).lines(job="J01", kind="elbow")["quantity"]) == {3}


def test_paper_cable_has_no_rule_and_keeps_the_job_from_ready(clean: Plan, read: type[Reading]) -> None:
    """Trap T38: no parts is not ready: the line says which combination no rule covers."""
    line = read(clean).line("J10/I4-p/r4-to/ABC/end accessories")
    assert (line["answer"], line["kind"], line["quantity"]) == ("no rule", "", "")
    assert "insulation paper" in line["reason"]
    assert read(clean).line("J10/V9-J3/joint/ABC/joint accessories")["answer"] == "no rule"
    assert read(clean).job("J10").answer == "no rule"


@pytest.mark.parametrize(
    ("stage", "answer", "mcov"), [("both", "short", "13.86"), ("after", "ready", "7.56"), ("", "can't tell", "")]
)
def test_an_arrester_takes_the_higher_need_of_its_stages(
    desk: Desk, read: type[Reading], stage: str, answer: str, mcov: str
) -> None:
    """Trap T39: J11 converts delta to wye; on through both stages it needs 13.86; a blank stage is asked."""
    plan = read(desk.change("positions", {"structure": "JN4", "position": "b"}, stage=stage).plan())
    line = plan.line("J11/JN4-b/position/ABC/elbow arrester")
    assert (line["answer"], line["mcov_kv"]) == (answer, mcov)


def test_text_that_looks_like_a_formula_stays_text(clean: Plan) -> None:
    """Trap T41: remarks =1+1 and @x are kept as they are."""
    remarks = set(clean.book.frames["schedule"]["remarks"].dropna())
    assert {"=1+1", "@x"} <= remarks


def test_a_joint_of_unlike_cables_takes_both_diameters_and_a_reducer(clean: Plan, read: type[Reading]) -> None:
    """Trap T45: 4/0 to 1/0: CS15-2 holds both diameters, RC-40-10A joins both conductors."""
    plan = read(clean)
    assert plan.line("J10/V9-J1/joint/ABC/splice")["stock_code"] == "CS15-2"
    assert plan.line("J10/V9-J1/joint/ABC/splice connector")["stock_code"] == "RC-40-10A"
    assert plan.line("J10/V9-J2/joint/ABC/splice connector")["stock_code"] == "SC-10A"


def test_the_jacket_print_does_not_choose_the_elbow(clean: Plan, read: type[Reading]) -> None:
    """Trap T50: 35 kV cable on the 25 kV ring takes EL25-2."""
    lines = read(clean).lines(job="J09", kind="elbow")
    assert set(lines["stock_code"]) == {"EL25-2"}
    assert set(lines["class_kv"]) == {"25"}


def test_an_open_point_takes_a_standoff_and_an_arrester(clean: Plan, read: type[Reading]) -> None:
    """Trap T51: at P4 one SB15 takes the parked elbow, one EA15-8.4 its insert; no cap, no feed-through insert."""
    lines = read(clean).lines(job="J06", structure="P4", position="b", side="position")
    chosen = {row["kind"]: (row["stock_code"], row["quantity"]) for _, row in lines.iterrows()}
    assert chosen == {
        "bushing insert": ("BI15", 1),
        "standoff bushing": ("SB15", 1),
        "elbow arrester": ("EA15-8.4", 1),
    }


def test_an_edge_of_a_thousandth_of_an_inch_decides(clean: Plan, read: type[Reading]) -> None:
    """CT-04 misses EL15-2 by 0.001 in and goes to EL15-3."""
    line = read(clean).line("J01/A5-a/r4-to/ABC/elbow")
    assert line["stock_code"] == "EL15-3"
    assert "too small by 0.03 mm (0.001 in)" in line["reason"]
