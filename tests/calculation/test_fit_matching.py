"""Matching needs to items, on the invented demo's items and on small item sheets made for one question."""

import csv
from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.cable_geometry import CABLE_TYPE, CALCULATED, GAUGE, Band
from kitting.calculation.conductor_sizes import parse_size
from kitting.calculation.fit_matching import Matcher
from kitting.calculation.fit_matching.results import CLASS, CURRENT, INTERFACE, MCOV, PHASES, RULE
from kitting.calculation.lengths import NM_PER_IN, NM_PER_MM
from kitting.calculation.needs import CANT_TELL, CHOSEN, NO_ITEM, Alternative, Need, Side
from kitting.calculation.questions import Missing
from kitting.calculation.rule_table import parse_limits
from kitting.calculation.sheets.parsers import Setting
from kitting.calculation.sheets.raw import raw_sheet
from kitting.calculation.sheets.reading import SheetReading
from kitting.calculation.sheets.stock_sheets import ITEMS, STAND_INS

DEMO_ITEMS = Path(__file__).parents[2] / "fixtures_demo" / "clean" / "items.csv"
WELL_15 = "200 A 15 kV"
SMALL, LARGE = "200 A 35 kV small", "200 A 35 kV large"
RULE_E01 = Alternative(1, parse_limits(""), "E-01", "rule E-01: at a well 200 A: an elbow, one a phase")
ELBOW = Need("elbow", "insulation", alternatives=(RULE_E01,), class_kv="15", interface=WELL_15, current_a=200)


def frame_of(sheet: object, name: str, headers: Iterable[str], rows: Iterable[Iterable[str]]) -> pd.DataFrame:
    reading = SheetReading(sheet, raw_sheet(name, headers, rows), Setting())
    frame = reading.frame()
    assert not list(reading.questions())
    return frame


def items(*rows: dict[str, str]) -> pd.DataFrame:
    """An items frame from cells by header; description and stock code fill themselves in."""
    headers = list(dict.fromkeys(["stock code", "description", "kind", *(label for row in rows for label in row)]))
    return frame_of(
        ITEMS, "items", headers, [[({"description": "x"} | row).get(name, "") for name in headers] for row in rows]
    )


def stand_ins(*rows: dict[str, str]) -> pd.DataFrame:
    headers = ["wanted", "allowed", "system", "from", "to", "max quantity", "approved by", "reason"]
    return frame_of(STAND_INS, "stand ins", headers, [[row.get(name, "") for name in headers] for row in rows])


def matcher(*rows: dict[str, str], allowed: pd.DataFrame | None = None, estimates: str = "accept") -> Matcher:
    return Matcher(items(*rows), stand_ins() if allowed is None else allowed, estimates=estimates)


def elbow(code: str, low: str, high: str, **facts: str) -> dict[str, str]:
    named = {name.replace("_", " "): value for name, value in facts.items()}
    given = {
        "class kV": "15",
        "interface": WELL_15,
        "phase to phase": "yes",
        "DOI low (in)": low,
        "DOI high (in)": high,
    }
    return {"stock code": code, "kind": "elbow"} | given | named


def cable(low: str, high: str, origin: str = CABLE_TYPE) -> Side:
    return Side(doi=Band(int(Decimal(low) * NM_PER_IN), int(Decimal(high) * NM_PER_IN), origin))


def conductor(size: str, metal: str, strand: str | Missing | None = None) -> Side:
    return Side(conductor_size=parse_size(size), metal=metal, strand=strand)


def on(need: Need, *sides: Side) -> Need:
    return replace(need, sides=sides)


def failed_checks(found: tuple[bool | None, tuple[object, ...]]) -> list[str]:
    return [result.check for result in found[1] if result.passed is False]  # type: ignore[attr-defined]


@pytest.fixture(scope="module")
def demo() -> Matcher:
    with DEMO_ITEMS.open(encoding="utf-8", newline="") as file:
        headers, *rows = csv.reader(file)
    return Matcher(frame_of(ITEMS, "items", headers, rows), stand_ins(), estimates="accept")


def test_a_220_mil_cable_takes_the_second_elbow_and_the_sentence_says_why(demo: Matcher) -> None:
    """Trap T01, with the reel given."""
    found = demo.match(on(ELBOW, cable("0.820", "0.880")))
    assert (found.status, found.codes, found.rules) == (CHOSEN, ("EL15-2",), ("E-01",))
    assert found.margins_nm == (int(Decimal("0.040") * NM_PER_IN),)
    assert found.sentence == (
        "EL15-2 holds 20.83–22.35 mm (0.820–0.880 in): range 19.81–24.64 mm (0.780–0.970 in), "
        "margin 1.02 mm (0.040 in); mates with 200 A 15 kV; class 15 kV; "
        "not EL15-1: entrance too small by 0.51 mm (0.020 in); "
        "rule E-01: at a well 200 A: an elbow, one a phase"
    )


def test_a_wall_not_given_names_what_each_wall_would_choose(demo: Matcher) -> None:
    """Trap T01: can't tell until the wall or the reel is known."""
    walls = (("175 mil", cable("0.730", "0.790").doi), ("220 mil", cable("0.820", "0.880").doi))
    wall = Missing("wall", "the cell is blank and two cable types agree", "schedule", "wall", options=walls)
    found = demo.match(on(ELBOW, Side(doi=wall)))
    assert (found.status, found.codes, found.missing) == (CANT_TELL, (), (wall,))
    assert found.sentence == (
        "wall is not known (the cell is blank and two cable types agree); "
        "175 mil would choose EL15-1; 220 mil would choose EL15-2"
    )


def test_a_band_that_straddles_two_elbows_is_measured_and_a_reading_settles_it(demo: Matcher) -> None:
    """Trap T02."""
    need = replace(ELBOW, class_kv="25", interface="200 A 25 kV")
    straddling = demo.match(on(need, cable("0.900", "0.985")))
    assert straddling.status == CANT_TELL
    (asked,) = straddling.missing
    assert (asked.fact, asked.sheet, asked.column) == ("diameter over insulation", "schedule", "reel")
    assert "EL25-1 and EL25-2 can't be told to hold 22.86–25.02 mm (0.900–0.985 in)" in straddling.sentence
    assert "from 24.13 to 25.02 mm (0.950 to 0.985 in) would do" in straddling.sentence
    for low, high, code, margin in (("0.962", "0.985", "EL25-2", "0.012"), ("0.905", "0.940", "EL25-1", "0.030")):
        settled = demo.match(on(need, cable(low, high, GAUGE)))
        assert (settled.codes, settled.margins_nm) == ((code,), (int(Decimal(margin) * NM_PER_IN),))


def test_an_elbow_of_another_interface_and_class_is_refused_though_it_holds_the_cable(demo: Matcher) -> None:
    """Traps T09 and T50."""
    small = on(replace(ELBOW, class_kv="35", interface=SMALL), cable("1.070", "1.130"))
    assert demo.match(small).codes == ("EL35S-1",)
    assert failed_checks(demo.serves(small, "EL25-2")) == [INTERFACE, CLASS]
    assert demo.serves(small, "EL25-2")[1][2].sentence == f"interface 200 A 25 kV does not mate with {SMALL}"
    suburb = on(replace(ELBOW, class_kv="25", interface="200 A 25 kV"), cable("1.070", "1.130"))
    assert demo.match(suburb).codes == ("EL25-2",)
    assert demo.serves(suburb, "EL35S-1")[0] is False


def test_small_or_large_not_given_can_t_tell_and_says_what_each_would_choose(demo: Matcher) -> None:
    """Trap T10."""
    size = Missing(
        "interface", "35 kV is small or large", "positions", "interface", options=(("small", SMALL), ("large", LARGE))
    )
    insert = Need("bushing insert", alternatives=(RULE_E01,), class_kv="35", interface=size)
    found = demo.match(insert)
    assert (found.status, found.missing) == (CANT_TELL, (size,))
    assert found.sentence.endswith("small would choose BI35S; large would choose BI35L")
    assert not {"BI35S", "BI35L"} & {miss.stock_code for miss in found.near_misses}
    large = replace(insert, interface=LARGE)
    assert demo.match(large).codes == ("BI35L",)
    assert failed_checks(demo.serves(large, "BI35S")) == [INTERFACE]


def test_an_arrester_below_the_need_is_refused_and_the_lowest_that_is_enough_is_first(demo: Matcher) -> None:
    """Traps T11 and T12."""
    arrester = Need("elbow arrester", alternatives=(RULE_E01,), interface=WELL_15, mcov_kv=Decimal("13.86"))
    assert demo.match(arrester).codes == ("EA15-15.3",)
    assert failed_checks(demo.serves(arrester, "EA15-12.7")) == [MCOV]
    assert [miss.stock_code for miss in demo.near_misses(arrester)] == ["EA15-12.7", "EA15-10.2", "EA15-8.4"]
    assert demo.near_misses(arrester)[2].sentence == "EA15-8.4 MCOV 8.4 kV is below the 13.86 kV needed"
    assert failed_checks(demo.serves(arrester, "EA25-15.3")) == [INTERFACE]
    assert demo.match(replace(arrester, mcov_kv=Decimal("7.56"))).codes == (
        "EA15-8.4",
        "EA15-10.2",
        "EA15-12.7",
        "EA15-15.3",
    )


def test_a_need_a_hair_above_the_mcov_is_shown_with_the_digits_that_tell_them_apart() -> None:
    one = matcher({"stock code": "EA", "kind": "elbow arrester", "interface": WELL_15, "MCOV kV": "15.3"})
    need = Need("elbow arrester", alternatives=(RULE_E01,), mcov_kv=Decimal("15.3001"))
    assert one.match(need).near_misses[0].sentence == "EA MCOV 15.3 kV is below the 15.3001 kV needed"
    assert one.match(replace(need, mcov_kv=Decimal("15.3"))).status == CHOSEN


def test_the_nearest_adapter_on_the_shelf_is_not_the_one_that_holds_the_cable(demo: Matcher) -> None:
    """Trap T13."""
    need = Need("cable adapter", "insulation", alternatives=(RULE_E01,), interface="600 A 15/25 kV")
    found = demo.match(on(need, cable("1.436", "1.505")))
    assert found.codes == ("CA-4",)
    assert "not CA-3: the cable may be 0.13 mm (0.005 in) over its range" in found.sentence


def test_copper_and_aluminium_of_one_size_take_different_lugs(demo: Matcher) -> None:
    """Trap T13."""
    lug = Need("lug", "conductor", alternatives=(RULE_E01,))
    assert demo.match(on(lug, conductor("750 kcmil", "Al"))).codes == ("LUG-750A",)
    assert demo.match(on(lug, conductor("750 kcmil", "Cu"))).codes == ("LUG-750C",)
    assert "takes 750 kcmil Cu" in demo.match(on(lug, conductor("750 kcmil", "Cu"))).sentence


def test_a_metric_conductor_never_takes_the_awg_lug_beside_it(demo: Matcher) -> None:
    """Trap T25."""
    lug = on(Need("lug", "conductor", alternatives=(RULE_E01,)), conductor("95 mm2", "Al"))
    assert demo.match(lug).codes == ("ML-50/150",)
    refused = demo.serves(lug, "LUG-40A")[1]
    assert [each.sentence for each in refused if each.passed is False] == ["size 95 mm2 is not 4/0 AWG (107.2 mm2)"]


def test_an_old_cable_and_a_new_one_take_the_splice_that_holds_both_and_the_reducer(demo: Matcher) -> None:
    """Trap T45."""
    splice = Need("splice", "both insulations", alternatives=(RULE_E01,), class_kv="15")
    found = demo.match(on(splice, cable("0.971", "1.031"), cable("0.730", "0.790")))
    assert found.codes == ("CS15-2",)
    connector = Need("splice connector", "both conductors", alternatives=(RULE_E01,))
    old, new = conductor("4/0", "Al"), conductor("1/0", "Al")
    assert demo.match(on(connector, old, new)).codes == demo.match(on(connector, new, old)).codes == ("RC-40-10A",)
    assert demo.match(on(connector, new, new)).codes == ("SC-10A",)
    assert demo.match(on(connector, new)).codes == ("SC-10A",)


def test_ct_04_misses_the_second_elbow_by_a_thousandth_and_takes_the_third(demo: Matcher) -> None:
    found = demo.match(on(ELBOW, cable("0.971", "1.031")))
    assert found.codes == ("EL15-3",)
    assert "not EL15-2: entrance too small by 0.03 mm (0.001 in)" in found.sentence


def test_a_complete_set_is_taken_only_where_a_rule_or_a_pin_names_it(demo: Matcher) -> None:
    """Trap T08."""
    need = on(ELBOW, cable("0.745", "0.775"))
    assert demo.match(need).codes == ("EL15-1",)
    assert demo.serves(need, "EL15-K10")[0] is True
    by_rule = Alternative(1, parse_limits("stock code = EL15-K10"), "E-09", "rule E-09")
    assert demo.match(replace(need, alternatives=(by_rule,))).codes == ("EL15-K10",)
    pinned = demo.match(replace(need, alternatives=(), fixed_code="EL15-K10"))
    assert (pinned.codes, pinned.rules) == (("EL15-K10",), ("",))
    not_it = Alternative(1, parse_limits("stock code = not(EL15-1)"), "E-08", "rule E-08")
    assert "EL15-K10" not in demo.match(replace(need, alternatives=(not_it,))).codes


def test_a_named_code_that_does_not_serve_or_is_not_known_is_no_item(demo: Matcher) -> None:
    need = replace(on(ELBOW, cable("0.820", "0.880")), fixed_code="EL15-1")
    assert demo.match(need).status == NO_ITEM
    assert "EL15-1 entrance too small by 0.51 mm (0.020 in)" in demo.match(need).sentence
    unknown = demo.match(replace(need, fixed_code="EL99"))
    assert (unknown.status, unknown.sentence) == (NO_ITEM, "EL99 is not on the items sheet")
    assert demo.serves(need, "EL99")[0] is False


def test_an_incomplete_or_withdrawn_item_is_never_chosen() -> None:
    parts = matcher(
        {"stock code": "EA-1", "kind": "elbow arrester", "interface": WELL_15},
        {"stock code": "EA-2", "kind": "elbow arrester", "interface": WELL_15, "MCOV kV": "8.4", "state": "withdrawn"},
        {"stock code": "EA-3", "kind": "elbow arrester", "interface": WELL_15, "MCOV kV": "8.4", "state": "active"},
    )
    found = parts.match(Need("elbow arrester", alternatives=(RULE_E01,), interface=WELL_15, mcov_kv=Decimal("7.56")))
    assert found.codes == ("EA-3",)
    misses = parts.near_misses(Need("elbow arrester", mcov_kv=Decimal("7.56")))
    assert [miss.sentence for miss in misses] == ["EA-1 is not selectable: MCOV kV missing", "EA-2 is withdrawn"]


def test_duty_between_phases_needs_a_part_that_says_so() -> None:
    parts = matcher(elbow("E-1", "0.6", "0.8", phase_to_phase="no"), elbow("E-2", "0.6", "0.9", phase_to_phase=""))
    need = on(ELBOW, cable("0.7", "0.75"))
    assert parts.match(need).codes == ("E-1", "E-2")
    between = parts.match(replace(need, between_phases=True))
    (asked,) = between.missing
    assert (between.status, asked.sheet, asked.column, asked.row) == (CANT_TELL, "items", "phase to phase", 3)
    assert asked.why == "phase to phase of E-2 is not given"
    assert failed_checks(parts.serves(replace(need, between_phases=True), "E-1")) == [PHASES]


def test_a_part_must_carry_the_current_and_switch_where_the_position_does() -> None:
    parts = matcher(
        {"stock code": "T-6", "kind": "tee", "class kV": "15", "interface": "600 A 15/25 kV", "phase to phase": "yes"},
        {"stock code": "T-9", "kind": "tee", "class kV": "15", "interface": "600 A 15/25 kV", "phase to phase": "yes"}
        | {"rated 900 A": "yes"},
        {"stock code": "T-2", "kind": "tee", "class kV": "15", "interface": "600 A 15/25 kV", "phase to phase": "yes"}
        | {"switching": "deadbreak", "current A": "200"},
    )
    need = Need("tee", alternatives=(RULE_E01,), interface="600 A 15/25 kV", current_a=600, switching="deadbreak")
    assert parts.match(need).codes == ("T-6", "T-9")
    assert parts.match(replace(need, current_a=900)).codes == ("T-9",)
    assert failed_checks(parts.serves(replace(need, switching="loadbreak", current_a=200), "T-2")) == [CURRENT]


def test_a_rule_may_ask_for_copper_and_its_rank_comes_before_the_narrower_range() -> None:
    parts = matcher(
        {"stock code": "L-1", "kind": "lug", "conductor sizes": "500 kcmil", "metal": "Cu", "made of": "Al"},
        {"stock code": "L-2", "kind": "lug", "conductor sizes": "350..750", "metal": "Cu", "made of": "Cu"},
    )
    copper = Alternative(1, parse_limits("made of = Cu"), "L-01", "rule L-01")
    need = on(Need("lug", "conductor", alternatives=(copper,)), conductor("500 kcmil", "Cu"))
    assert parts.match(need).codes == ("L-2",)
    assert failed_checks(parts.serves(need, "L-1")) == [RULE]
    any_metal = Alternative(2, parse_limits(""), "L-02", "rule L-02")
    both = parts.match(replace(need, alternatives=(copper, any_metal)))
    assert (both.codes, both.rules) == (("L-2", "L-1"), ("L-01", "L-02"))


def test_among_parts_that_fit_item_rank_then_the_narrower_range_then_the_lower_code_is_first() -> None:
    parts = matcher(
        elbow("E-10", "0.6", "0.8"),
        elbow("E-9", "0.6", "0.8"),
        elbow("E-2", "0.7", "0.8"),
        elbow("E-1", "0.5", "0.9", rank="2"),
    )
    assert parts.match(on(ELBOW, cable("0.72", "0.75"))).codes == ("E-1", "E-2", "E-9", "E-10")


def test_strand_is_asked_only_where_a_connector_limits_it() -> None:
    blank = Missing("strand", "the cell is blank", "cable types", "strand")
    lug = {"stock code": "L-1", "kind": "lug", "conductor sizes": "4/0", "metal": "Al"}
    need = on(Need("lug", "conductor", alternatives=(RULE_E01,)), conductor("4/0", "Al", blank))
    assert matcher(lug).match(need).status == CHOSEN
    limited = matcher(lug | {"strand": "compact"})
    assert (limited.match(need).status, limited.match(need).missing) == (CANT_TELL, (blank,))
    assert limited.match(on(need, conductor("4/0", "Al", "concentric"))).status == NO_ITEM


def test_a_missing_fact_that_would_change_nothing_is_not_asked() -> None:
    metal = Missing("metal", "the cell is blank", "schedule", "metal", options=(("Al", "Al"), ("Cu", "Cu")))
    parts = matcher({"stock code": "L-1", "kind": "lug", "conductor sizes": "4/0", "metal": "Al"})
    need = Need("lug", "conductor", alternatives=(RULE_E01,))
    other_size = parts.match(on(need, Side(conductor_size=parse_size("1/0"), metal=metal)))
    assert (other_size.status, other_size.missing) == (NO_ITEM, ())
    asked = parts.match(on(need, Side(conductor_size=parse_size("4/0"), metal=metal)))
    assert asked.sentence.endswith("Al would choose L-1; Cu would find no item")


def test_a_jacket_seal_is_fitted_over_the_jacket(demo: Matcher) -> None:
    jacket = Side(jacket=cable("1.80", "1.92").doi)
    found = demo.match(on(Need("jacket seal", "jacket", alternatives=(RULE_E01,)), jacket))
    assert found.codes == ("JS-3",)
    assert "holds a jacket of 45.72–48.77 mm (1.800–1.920 in)" in found.sentence
    assert found.margins_nm == (int(Decimal("0.18") * NM_PER_IN),)


def test_an_estimate_fits_and_says_so_or_is_measured_as_the_owner_wishes() -> None:
    need = on(ELBOW, cable("0.780", "0.903", CALCULATED))
    accepted = matcher(elbow("E-1", "0.76", "0.97")).match(need)
    assert accepted.estimated
    assert "estimated from standard limits" in accepted.sentence
    asked = matcher(elbow("E-1", "0.76", "0.97"), estimates="measure").match(need)
    assert (asked.status, asked.missing[0].column) == (CANT_TELL, "reel")
    no_upper_limit = on(ELBOW, Side(doi=Band(20 * NM_PER_MM, None, CALCULATED)))
    assert matcher(elbow("E-1", "0.76", "0.97")).match(no_upper_limit).status == CANT_TELL


def test_a_stand_in_serves_only_one_way_and_never_across_an_interface() -> None:
    """Trap T17."""
    joints = [
        {"stock code": code, "kind": "splice", "class kV": kv, "DOI low (in)": "0.8", "DOI high (in)": "1.3"}
        for code, kv in (("S15", "15"), ("S25", "25"), ("S24M", "12/20(24)"))
    ]
    approved = [
        {"wanted": "S15", "allowed": "S25", "approved by": "SE", "from": "2026-01-01", "max quantity": "6"},
        {"wanted": "S25", "allowed": "S15", "approved by": "SE"},
        {"wanted": "S15", "allowed": "S24M", "approved by": "SE"},
    ]
    parts = matcher(*joints, allowed=stand_ins(*approved))
    need = on(Need("splice", "insulation", alternatives=(RULE_E01,), class_kv="15"), cable("0.9", "1.0"))
    found = parts.match(need)
    assert found.codes == ("S15",)
    (option,) = found.stand_ins
    assert (option.stock_code, option.valid_from, option.valid_to, option.max_quantity) == (
        "S25",
        "2026-01-01",
        "",
        6000,
    )
    assert parts.match(replace(need, class_kv="25")).stand_ins == ()
    elbows = [elbow("E25", "0.9", "1.2"), elbow("E35", "0.9", "1.2", class_kV="35")]
    across = matcher(*elbows, allowed=stand_ins({"wanted": "E25", "allowed": "E35", "approved by": "SE"}))
    assert across.match(on(ELBOW, cable("1.0", "1.1"))).stand_ins == ()


def test_a_stand_in_for_one_system_serves_no_other() -> None:
    rows = [{"wanted": "E-1", "allowed": "E-2", "system": "S12", "approved by": "SE"}]
    limits = Alternative(1, parse_limits("stock code = E-1"), "E-01", "rule E-01")
    parts = matcher(elbow("E-1", "0.6", "0.8"), elbow("E-2", "0.6", "0.8"), allowed=stand_ins(*rows))
    need = replace(on(ELBOW, cable("0.7", "0.75")), alternatives=(limits,))
    assert [option.stock_code for option in parts.match(replace(need, system="S12")).stand_ins] == ["E-2"]
    assert parts.match(replace(need, system="S13D")).stand_ins == ()


def test_nothing_of_the_kind_is_said_in_words(demo: Matcher) -> None:
    found = demo.match(Need("elbow fuse", alternatives=(RULE_E01,)))
    assert (found.status, found.near_misses) == (NO_ITEM, ())
    assert found.sentence.startswith("there is no elbow fuse on the items sheet")


def test_the_nearest_misses_are_three_and_the_nearest_is_first(demo: Matcher) -> None:
    found = demo.match(on(ELBOW, cable("1.20", "1.25")))
    assert found.status == NO_ITEM
    assert [miss.stock_code for miss in found.near_misses] == ["EL15-3", "EL15-2", "EL15-1"]
    assert found.near_misses[0].sentence == "EL15-3 entrance too small by 1.27 mm (0.050 in)"


def test_a_reading_that_would_let_another_item_serve_is_told(demo: Matcher) -> None:
    need = on(replace(ELBOW, class_kv="25", interface="200 A 25 kV"), cable("0.905", "0.960"))
    assert demo.match(need).codes == ("EL25-1",)
    (reading,) = demo.by_reading(need)
    assert reading.startswith("EL25-2: the cable may be 1.14 mm (0.045 in) under its range; a gauge reading")
    assert demo.by_reading(on(need, cable("0.905", "0.940"))) == ()


ENDS = st.integers(15, 45)
RANGES = st.lists(st.tuples(ENDS, st.integers(0, 12)), min_size=1, max_size=12)
ONE_ELBOW = items(elbow("E", "0.6", "0.8")).to_dict("records")[0]


def elbows_mm(ranges: Iterable[tuple[int, int]]) -> Matcher:
    rows = [
        ONE_ELBOW | {"stock_code": f"E-{place}", "doi_low_nm": low * NM_PER_MM, "doi_high_nm": high * NM_PER_MM}
        for place, (low, high) in enumerate(ranges)
    ]
    return Matcher(pd.DataFrame(rows, dtype=object), stand_ins(), estimates="accept")


@given(ranges=RANGES, low=ENDS, width=st.integers(0, 5), origin=st.sampled_from([GAUGE, CALCULATED]))
def test_the_search_by_diameter_agrees_with_judging_every_item(
    ranges: list[tuple[int, int]], low: int, width: int, origin: str
) -> None:
    parts = elbows_mm((least, least + span) for least, span in ranges)
    need = on(ELBOW, Side(doi=Band(low * NM_PER_MM, (low + width) * NM_PER_MM, origin)))
    judged = {f"E-{place}": parts.serves(need, f"E-{place}")[0] for place in range(len(ranges))}
    found = parts.match(need)
    assert set(found.codes) == {code for code, serves in judged.items() if serves is True}
    if not found.codes:
        assert (found.status == CANT_TELL) == (None in judged.values())
    misses = parts.near_misses(need)
    assert {miss.stock_code for miss in misses} <= {code for code, serves in judged.items() if serves is False}
    assert len(misses) == min(3, list(judged.values()).count(False))


@given(ranges=RANGES, low=ENDS, width=st.integers(0, 5), wider=st.integers(0, 9))
def test_a_wider_range_never_loses_an_item_that_served(
    ranges: list[tuple[int, int]], low: int, width: int, wider: int
) -> None:
    need = on(ELBOW, Side(doi=Band(low * NM_PER_MM, (low + width) * NM_PER_MM, GAUGE)))
    narrow = elbows_mm((least, least + span) for least, span in ranges).match(need)
    wide = elbows_mm((least - wider, least + span + wider) for least, span in ranges).match(need)
    assert set(wide.codes) >= set(narrow.codes)
