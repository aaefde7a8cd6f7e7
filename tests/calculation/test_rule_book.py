"""The default rule book: what each position, cable end and joint takes by common practice; and the owner's tables."""

import csv
from collections.abc import Mapping
from decimal import Decimal
from importlib.resources import files
from itertools import product
from pathlib import Path

import pandas as pd
import pytest

from kitting.calculation.kinds import KINDS, POSITION_KINDS
from kitting.calculation.questions import Missing
from kitting.calculation.rule_book import rule_book
from kitting.calculation.rule_table import FORMS, Fact, Rule, check_table, hits
from kitting.errors import Refusal

BOOK = rule_book({})
HERE = Path(__file__).parent
ENDS, POSITIONS, JOINTS = "end accessories", "position accessories", "joint accessories"
END: dict[str, Fact] = {
    "position kind": "well 200 A",
    "interface": "200 A 15 kV",
    "current A": 200,
    "cables": 1,
    "state": "in use",
    "switching": None,
    "test point": "no",
    "environment": "dry",
    "insulation": "TR-XLPE",
    "jacketed": "yes",
    "jacket seals": "everywhere",
}
PLACE: dict[str, Fact] = {
    "position kind": "integral 200 A",
    "state": "in use",
    "cables": 1,
    "insert fitted": None,
    "current A": 200,
    "arrester sides": "insert",
}
JOINT: dict[str, Fact] = {"sides": 2, "same cable": "yes", "insulation": "extruded", "jacketed": "all"}
TWO_HUNDRED = {
    "elbow",
    "elbow connector",
    "probe",
    "jacket seal",
    "shield ground set",
    "neutral connector",
    "phase tag",
}
SIX_HUNDRED = {"tee", "cable adapter", "lug", "jacket seal", "shield ground set", "phase tag"}
WELL = {"position kind": "well 200 A", "insert fitted": "no"}
BUSHING = {"position kind": "bushing 600 A", "current A": 600}


def rules_at(table: str, usual: Mapping[str, Fact], facts: Mapping[str, Fact]) -> list[Rule]:
    found = hits(BOOK.table(table), {**usual, **facts})
    assert found.possible == ()
    return list(found.definite)


def given(table: str, usual: Mapping[str, Fact], **facts: Fact) -> set[str]:
    """The kinds that the table gives, `none` among them."""
    named = {name.replace("_", " "): value for name, value in facts.items()}
    return {rule.kind for rule in rules_at(table, usual, named)}


def at_end(facts: Mapping[str, Fact] | None = None, **more: Fact) -> set[str]:
    return given(ENDS, {**END, **(facts or {})}, **more)


def at_position(facts: Mapping[str, Fact] | None = None, **more: Fact) -> set[str]:
    return given(POSITIONS, {**PLACE, **(facts or {})}, **more)


def at_joint(**facts: Fact) -> set[str]:
    return given(JOINTS, JOINT, **facts)


def counted(table: str, usual: Mapping[str, Fact], facts: Mapping[str, Fact]) -> dict[str, tuple[Decimal | str, str]]:
    return {rule.kind: (rule.quantity, rule.per) for rule in rules_at(table, usual, facts)}


@pytest.mark.parametrize("kind", ["well 200 A", "integral 200 A", "deadbreak 200 A", "junction 200 A"])
def test_a_200_a_end_takes_an_elbow_with_its_connector_probe_seal_ground_and_tag(kind: str) -> None:
    assert at_end(position_kind=kind) == TWO_HUNDRED
    assert at_end(position_kind=kind, current_A=250) == set()
    facts = {"position kind": kind}
    assert set(counted(ENDS, END, facts).values()) == {(Decimal(1), "phase")}
    fitted = {rule.kind: rule.fitted_by for rule in rules_at(ENDS, END, facts)}
    assert fitted == {
        "elbow": "insulation",
        "elbow connector": "conductor",
        "probe": "none",
        "jacket seal": "jacket",
        "shield ground set": "jacket",
        "neutral connector": "none",
        "phase tag": "none",
    }


def test_an_insert_goes_only_into_an_empty_well() -> None:
    """Trap T29."""
    assert at_position(WELL) == {"bushing insert"}
    assert at_position(WELL, insert_fitted="yes") == {"none"}
    assert at_position(position_kind="integral 200 A") == {"none"}


def test_a_well_that_does_not_say_whether_its_insert_is_fitted_is_asked() -> None:
    unknown = Missing("insert fitted", "insert fitted is blank", "positions", "insert fitted")
    found = hits(BOOK.table(POSITIONS), {**PLACE, **WELL, "insert fitted": unknown})
    assert found.definite == ()
    assert {possible.rule.kind for possible in found.possible} == {"bushing insert", "none"}


def test_an_unused_well_takes_insert_and_cap_and_with_the_insert_fitted_only_the_cap() -> None:
    unused = {"state": "unused", "cables": 0}
    assert at_position({**WELL, **unused}) == {"bushing insert", "insulated cap"}
    assert at_position({**WELL, **unused}, insert_fitted="yes") == {"insulated cap"}
    for kind in ("integral 200 A", "deadbreak 200 A", "bushing 600 A", "outer cone"):
        assert at_position(unused, position_kind=kind) == {"insulated cap"}
    assert at_position({**WELL, **unused}, cables=1) == set()


@pytest.mark.parametrize("kind", [kind for kind in POSITION_KINDS if kind != "joint"])
def test_a_dead_position_takes_nothing_and_its_cable_end_a_cap(kind: str) -> None:
    assert at_position(position_kind=kind, state="dead", cables=0) == {"none"}
    assert at_position(position_kind=kind, state="dead", cables=1) == {"none"}
    assert at_end(position_kind=kind, state="dead") == {"end cap"}


@pytest.mark.parametrize("kind", [kind for kind in POSITION_KINDS if kind != "joint"])
def test_a_position_in_use_where_no_cable_is_worked_on_takes_nothing(kind: str) -> None:
    assert at_position(position_kind=kind, cables=0) == {"none"}


def test_an_open_point_parks_the_elbow_and_puts_the_arrester_on_the_insert_it_leaves() -> None:
    """Trap T51."""
    open_point = {**WELL, "state": "open point"}
    assert at_position(open_point) == {"bushing insert", "standoff bushing", "elbow arrester"}
    assert at_position(open_point, arrester_sides="parked") == {"bushing insert", "parking arrester", "insulated cap"}
    assert at_position(open_point, arrester_sides="both") == {"bushing insert", "parking arrester", "elbow arrester"}
    assert at_position(open_point, insert_fitted="yes") == {"standoff bushing", "elbow arrester"}
    assert at_position(open_point, cables=0) == {"bushing insert", "elbow arrester"}
    assert at_end(position_kind="well 200 A", state="open point") == TWO_HUNDRED


def test_an_end_of_line_takes_an_arrester_on_a_free_interface() -> None:
    last = {"state": "end of line", "cables": 0}
    assert at_position(last) == {"elbow arrester"}
    assert at_position({**last, **WELL}) == {"elbow arrester", "bushing insert"}
    assert at_position({**last, **WELL}, insert_fitted="yes") == {"elbow arrester"}


def test_an_end_of_line_with_a_cable_on_a_well_takes_a_feed_through_insert_in_place_of_the_insert() -> None:
    for fitted in ("yes", "no"):
        assert at_position(WELL, state="end of line", insert_fitted=fitted) == {"feed-through insert", "elbow arrester"}
    assert at_position(position_kind="integral 200 A", state="end of line") == set()


def test_a_600_a_end_takes_tee_adapter_and_lug_and_its_bushing_one_stud_and_one_plug_a_phase() -> None:
    assert at_end(BUSHING) == SIX_HUNDRED
    assert counted(POSITIONS, PLACE, BUSHING) == {"stud": (1, "phase"), "insulating plug": (1, "phase")}


def test_two_cables_on_one_phase_stack_with_one_connecting_plug_and_a_stud_for_each_tee() -> None:
    two = {**BUSHING, "cables": 2}
    assert at_end(two) == SIX_HUNDRED
    assert counted(POSITIONS, PLACE, two) == {
        "stud": (2, "phase"),
        "connecting plug": (1, "phase"),
        "insulating plug": (1, "phase"),
    }


@pytest.mark.parametrize("state", ["in use", "open point", "end of line", "unused"])
@pytest.mark.parametrize("current", [200, 600, 900])
def test_three_cables_on_one_phase_have_no_rule(state: str, current: int) -> None:
    three = {**BUSHING, "cables": 3, "state": state, "current A": current}
    assert at_end(three) == set()
    assert at_position(three) == set()


def test_an_arrester_on_the_back_of_a_600_a_tee_sits_on_a_reducing_tap_plug() -> None:
    for state in ("open point", "end of line"):
        assert at_position(BUSHING, state=state) == {"stud", "reducing tap plug", "elbow arrester"}
        stacked = {"stud", "connecting plug", "reducing tap plug", "elbow arrester"}
        assert at_position(BUSHING, state=state, cables=2) == stacked
        assert at_end(BUSHING, state=state) == SIX_HUNDRED


def test_a_200_a_elbow_on_the_back_of_a_600_a_tee_takes_a_reducing_tap_plug() -> None:
    tap = {**BUSHING, "current A": 200}
    assert at_end(tap) == TWO_HUNDRED
    assert at_position(tap) == {"reducing tap plug"}


def test_a_900_a_set_is_of_copper_and_rated_for_it_in_every_member_that_carries_the_current() -> None:
    at_900 = {**BUSHING, "current A": 900, "cables": 2}
    rules = rules_at(ENDS, END, at_900) + rules_at(POSITIONS, PLACE, at_900)
    limits = {rule.kind: rule.limits.words() for rule in rules if rule.limits.tests}
    copper = "made of Cu and rated 900 A yes"
    assert limits == {
        "tee": "rated 900 A yes",
        "lug": copper,
        "stud": copper,
        "connecting plug": copper,
        "insulating plug": "rated 900 A yes",
    }
    rules = rules_at(ENDS, END, {**at_900, "current A": 600})
    assert not any(rule.limits.tests for rule in rules)
    assert at_end(at_900, current_A=901) == set()


def test_a_junction_takes_caps_on_its_free_ways_and_each_cable_its_end() -> None:
    for kind, current in (("junction 200 A", 200), ("junction 600 A", 600)):
        junction = {"position kind": kind, "current A": current, "cables": 3}
        expected = {"junction": (1, "phase"), "insulated cap": ("free ways", "phase")}
        assert counted(POSITIONS, PLACE, junction) == expected
    assert at_end(position_kind="junction 200 A", cables=3) == TWO_HUNDRED
    closed = SIX_HUNDRED | {"stud", "insulating plug"}
    assert at_end(position_kind="junction 600 A", current_A=600, cables=3) == closed


def test_an_open_terminal_takes_termination_lug_ground_and_support() -> None:
    expected = {"termination", "lug", "shield ground set", "cable support", "phase tag"}
    for kind in ("live-front", "riser pole"):
        assert at_end(position_kind=kind) == expected
        assert at_end(position_kind=kind, jacketed="no") == expected - {"shield ground set"}
        assert at_position(position_kind=kind, state="unused", cables=0) == {"none"}


def test_a_riser_pole_takes_one_arrester_a_phase_and_one_bracket_and_ground_lead_a_pole() -> None:
    assert counted(POSITIONS, PLACE, {"position kind": "riser pole"}) == {
        "riser arrester": (1, "phase"),
        "bracket": (1, "position"),
        "ground lead": (1, "position"),
    }
    assert at_position(position_kind="live-front") == {"bracket"}
    assert at_position(position_kind="live-front", state="end of line") == {"bracket", "riser arrester"}


def test_a_fused_position_takes_a_fused_elbow_and_its_fuse_instead_of_the_elbow() -> None:
    expected = TWO_HUNDRED - {"elbow"} | {"fused elbow", "elbow fuse"}
    assert at_end(switching="fused loadbreak") == expected
    for switching in ("loadbreak", "deadbreak", None):
        assert at_end(switching=switching) == TWO_HUNDRED


def test_a_test_point_is_asked_of_the_elbow_only_where_the_position_wants_one() -> None:
    for switching, kind in ((None, "elbow"), ("fused loadbreak", "fused elbow")):
        rules = rules_at(ENDS, END, {"test point": "yes", "switching": switching})
        assert [rule.limits.words() for rule in rules if rule.kind == kind] == ["test point yes"]
        rules = rules_at(ENDS, END, {"test point": "no", "switching": switching})
        assert [rule.limits.words() for rule in rules if rule.kind == kind] == [""]


def test_a_jacket_seal_belongs_to_a_jacketed_cable_everywhere_or_in_wet_places_only() -> None:
    wet_only = {"jacket seals": "wet"}
    assert "jacket seal" in at_end()
    assert "jacket seal" in at_end(wet_only, environment="wet")
    assert "jacket seal" not in at_end(wet_only, environment="dry")
    for environment in ("dry", "wet"):
        assert "jacket seal" not in at_end(jacketed="no", environment=environment)


def test_a_blank_environment_is_asked_only_by_an_owner_who_seals_wet_places() -> None:
    unknown = Missing("environment", "environment is blank", "positions", "environment")
    assert hits(BOOK.table(ENDS), {**END, "environment": unknown}).possible == ()
    [possible] = hits(BOOK.table(ENDS), {**END, "environment": unknown, "jacket seals": "wet"}).possible
    assert (possible.rule.kind, possible.missing) == ("jacket seal", (unknown,))


def test_an_outer_cone_takes_an_elbow_on_a_and_b_and_a_tee_on_c_to_f() -> None:
    cone = {"position kind": "outer cone", "current A": 630}
    for letter in "AB":
        assert at_end(cone, interface=letter) == {"elbow", "lug", "phase tag"}
    for letter in "CDEF":
        assert at_end(cone, interface=letter) == {"tee", "lug", "phase tag"}
    assert at_position(cone) == {"none"}
    assert at_position(cone, state="end of line", cables=0) == {"elbow arrester"}
    assert at_end(cone, interface="C", cables=2) == at_position(cone, cables=2) == set()


def test_an_outer_cone_without_its_letter_leaves_elbow_or_tee_open() -> None:
    letters = tuple((letter, letter) for letter in "ABCDEF")
    unknown = Missing("interface", "interface is blank", "positions", "interface", options=letters)
    found = hits(BOOK.table(ENDS), {**END, "position kind": "outer cone", "interface": unknown})
    assert {rule.kind for rule in found.definite} == {"lug", "phase tag"}
    assert {possible.rule.kind for possible in found.possible} == {"elbow", "tee"}


def test_a_joint_takes_body_connector_sleeve_and_shield_set_once_a_phase() -> None:
    """Trap T28: by joint, whatever the number of rows that name it."""
    expected = {"splice", "splice connector", "rejacketing sleeve", "shield continuity set"}
    for sides, same in product((2, 3), ("yes", "no")):
        assert at_joint(sides=sides, same_cable=same) == expected
    assert set(counted(JOINTS, JOINT, {}).values()) == {(Decimal(1), "phase")}
    fitted = {rule.kind: rule.fitted_by for rule in rules_at(JOINTS, JOINT, {})}
    assert fitted == {
        "splice": "both insulations",
        "splice connector": "both conductors",
        "rejacketing sleeve": "both jackets",
        "shield continuity set": "both jackets",
    }
    assert at_joint(jacketed="some") == expected
    assert at_joint(jacketed="none") == expected - {"rejacketing sleeve"}
    assert at_joint(sides=1) == at_joint(sides=4) == set()


def test_paper_insulated_cable_has_no_rule() -> None:
    """Trap T38."""
    assert at_joint(insulation="paper") == at_joint(insulation="mixed") == set()
    kinds = [kind for kind in POSITION_KINDS if kind != "joint"]
    states, currents, letters = ("in use", "open point", "end of line", "dead"), (200, 600, 900), ("200 A 15 kV", "C")
    for kind, state, current, letter in product(kinds, states, currents, letters):
        facts = {"position kind": kind, "state": state, "current A": current, "interface": letter}
        assert at_end(facts, insulation="paper") == set()


@pytest.mark.parametrize("insulation", ["XLPE", "TR-XLPE", "EPR"])
def test_every_extruded_insulation_has_rules(insulation: str) -> None:
    assert at_end(insulation=insulation) == TWO_HUNDRED


def test_one_spare_an_outage_is_kept_of_connectors_lugs_and_jacket_seals() -> None:
    spared = {kind for kind in KINDS if hits(BOOK.table("spares"), {"kind": kind}).definite}
    assert spared == {"elbow connector", "lug", "splice connector", "jacket seal"}
    for rule in BOOK.table("spares").rules:
        assert (rule.quantity, rule.per) == (Decimal(1), "outage")


def test_the_default_book_gives_every_kind_but_those_that_are_the_owners_rules() -> None:
    kinds = {rule.kind for name in FORMS for rule in BOOK.table(name).rules} - {"", "none"}
    assert set(KINDS) - kinds == {"drain wire", "consumable"}
    assert BOOK.table("location accessories").rules == ()


def test_every_position_kind_and_interface_has_rules_for_a_cable_in_use() -> None:
    for kind in POSITION_KINDS.values():
        for interface in kind.interfaces or (None,):
            facts = {"position kind": kind.name, "interface": interface, "current A": kind.current_a or 630}
            if kind.name != "joint":
                assert {"elbow", "tee", "termination"} & at_end(facts)
                assert at_position({**facts, "insert fitted": "no" if kind.name == "well 200 A" else None})


CLASSES = list(csv.DictReader((HERE / "published_values" / "class_by_nominal_voltage.csv").read_text().splitlines()))


@pytest.mark.parametrize("row", CLASSES, ids=lambda row: f"{row['nominal_kv']} kV, {row['wires']} wires")
def test_the_class_follows_from_the_published_nominal_voltage(row: dict[str, str]) -> None:
    found = hits(BOOK.table("connector class"), {"nominal kV": Decimal(row["nominal_kv"]), "wires": int(row["wires"])})
    assert [rule.results["class kV"] for rule in found.definite] == [row["expected"]]


@pytest.mark.parametrize(
    ("nominal_kv", "class_kv"),
    [("6", "3.6/6(7.2)"), ("10", "6/10(12)"), ("20", "12/20(24)"), ("30", "18/30(36)"), ("36", "20.8/36(42)")],
)
def test_a_designation_of_iec_60183_that_only_one_nominal_voltage_can_mean_is_worked_out(
    nominal_kv: str, class_kv: str
) -> None:
    found = hits(BOOK.table("connector class"), {"nominal kV": Decimal(nominal_kv), "wires": None})
    assert [rule.results["class kV"] for rule in found.definite] == [class_kv]


@pytest.mark.parametrize("nominal_kv", ["11", "15", "22", "25", "33", "35", "14.4", "7.2"])
def test_a_nominal_voltage_that_could_mean_two_classes_or_none_is_left_to_the_system(nominal_kv: str) -> None:
    assert hits(BOOK.table("connector class"), {"nominal kV": Decimal(nominal_kv), "wires": 3}).definite == ()


def test_the_default_book_has_no_gap_but_the_intended_ones() -> None:
    stated = list(csv.DictReader((HERE / "default_book_gaps.csv").read_text(encoding="utf-8").splitlines()))
    assert all(row["why"] for row in stated)
    found = [(name, gap) for name in FORMS for gap in check_table(BOOK.table(name)).gaps]
    assert found == [(row["table"], row["gap"]) for row in stated]


@pytest.mark.parametrize("name", list(FORMS))
def test_the_default_book_never_contradicts_itself(name: str) -> None:
    assert check_table(BOOK.table(name)).overlaps == ()


@pytest.mark.parametrize("name", list(FORMS))
def test_every_row_of_the_default_book_has_a_name_a_note_and_a_source(name: str) -> None:
    text = files("kitting.calculation").joinpath("tables", f"rules_{name.replace(' ', '_')}.csv").read_text("utf-8")
    for row in csv.DictReader(text.splitlines()):
        assert row["rule"]
        assert row["note"]
        assert row["source"]
        assert row["confirmed"] in {"text", "memory"}
    assert {rule.revision for rule in BOOK.table(name).rules} <= {"default 1"}
    assert BOOK.revision(name) == "default 1"


def spares_sheet(kind: str) -> pd.DataFrame:
    row = {"rule": "OWN-1", "when kind": kind, "give kind": kind, "give quantity": "2", "give per": "outage"}
    return pd.DataFrame([{**row, "row": 2}])


def test_an_owners_sheet_replaces_its_own_table_only() -> None:
    own = rule_book({"spares": spares_sheet("probe")})
    assert [rule.id for rule in own.table("spares").rules] == ["OWN-1"]
    assert own.revision("spares").startswith("owner ")
    for name in set(FORMS) - {"spares"}:
        assert own.table(name) is BOOK.table(name)
    assert own.revision("spares") != rule_book({"spares": spares_sheet("lug")}).revision("spares")
    assert own.revision("spares") == rule_book({"spares": spares_sheet("probe")}).revision("spares")


def test_the_faults_of_all_sheets_are_told_at_once() -> None:
    faulty = {
        "spares": spares_sheet("probes"),
        "connector klass": pd.DataFrame(),
        "location accessories": pd.DataFrame(),
    }
    with pytest.raises(Refusal) as caught:
        rule_book(faulty)
    for words in ("no table connector klass", "row 2, column when kind, character 1: `probes` is no kind", "give per"):
        assert words in caught.value.message


def test_a_reason_is_a_sentence_that_a_splicer_understands() -> None:
    elbow = next(rule for rule in rules_at(ENDS, END, {}) if rule.kind == "elbow")
    assert elbow.reason(END) == (
        "rule E-01: at a well 200 A, in use, cables on a phase 1, current 200 A, TR-XLPE insulation: "
        "an elbow, one a phase, fitted by insulation"
    )
