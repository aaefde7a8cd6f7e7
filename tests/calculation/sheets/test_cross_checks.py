"""Sense checks between cells, rows and sheets."""

from collections.abc import Mapping
from dataclasses import replace

import pytest
from changed_books import clean_book
from hypothesis import given
from hypothesis import strategies as st
from plain_sheets import labels
from sheet_cells import SmallBook

from kitting.calculation.questions import ASK, NOTE, REFUSE, Missing, Question
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.cross_checks import sheets_to_check
from kitting.calculation.sheets.near_names import NearNames
from kitting.calculation.sheets.raw import RawSheet, raw_book, raw_sheet


@pytest.mark.parametrize(
    ("sheet", "row", "column", "text"),
    [
        ("transfers", 2, "from", "X"),
        ("jobs", 2, "depot", "X"),
        ("stock", 2, "depot", "X"),
        ("reels", 2, "cable type", "X"),
        ("positions", 2, "existing cable type", "X"),
        ("schedule", 2, "cable type", "X"),
        ("schedule", 2, "reel", "X"),
        ("schedule", 2, "system", "X"),
        ("schedule", 2, "system after", "X"),
        ("schedule", 2, "job", "X"),
        ("stock", 2, "job", "X"),
        ("stock", 2, "structure", "X"),
        ("stock", 2, "stock code", "X"),
        ("items", 2, "contains", "CC-1; X"),
    ],
)
def test_a_code_that_nothing_declares_is_refused(
    small: SmallBook, sheet: str, row: int, column: str, text: str
) -> None:
    (question,) = small.put(sheet, row, column, text).asked()
    assert (question.sheet, question.row, question.column, question.severity) == (sheet, row, column, REFUSE)


@pytest.mark.parametrize(
    ("column", "text", "near"),
    [("from structure", "P-1", "P1"), ("from structure", "p1", "P1"), ("system", "S-12", "S12"), ("reel", "R1", "R-1")],
)
def test_a_near_name_is_asked_and_never_taken(small: SmallBook, column: str, text: str, near: str) -> None:
    (question,) = small.put("schedule", 2, column, text).asked()
    assert (question.severity, question.suggestion) == (ASK, f"did you mean {near}?")
    assert isinstance(
        small.read().frames["schedule"].iloc[0][{"reel": "reels"}.get(column, column.replace(" ", "_"))], Missing
    )


def test_two_structures_that_differ_in_spelling_only_are_noted_and_kept_apart(small: SmallBook) -> None:
    small.add("positions", structure="P-1")
    question = small.only_question()
    assert (question.column, question.severity) == ("structure", NOTE)
    assert small.set("schedule", 2, from_structure="P-1").read().frames["schedule"]["from_structure"][0] == "P-1"


def test_near_names_are_found_by_spelling_initials_and_letters() -> None:
    near = NearNames(["V9", "V6", "Pad 12", "Courthouse"])
    assert near.near("V-9") == near.near("v 09") == near.near("Vault 9") == ("V9",)
    assert near.near("P12") == ("Pad 12",)
    assert near.near("Courthose") == ("Courthouse",)
    assert near.near("Z1") == ()


def test_an_end_at_a_position_that_only_the_schedule_knows_makes_the_row_useless(small: SmallBook) -> None:
    (question,) = small.set("schedule", 3, to_position="b").asked()
    assert (question.column, question.severity, question.suggestion) == ("to position", REFUSE, "one of: a?")
    assert list(small.read().frames["schedule"]["usable"]) == [True, False]


def test_a_run_that_ends_where_it_starts_is_refused(small: SmallBook) -> None:
    (question,) = small.set("schedule", 2, to_structure="P1").asked()
    assert question.problem == "the run ends where it starts"


def test_a_system_that_is_not_medium_voltage_is_refused_and_its_rows_are_useless(small: SmallBook) -> None:
    small.set("systems", 2, nominal_kV="0.48")
    (question,) = small.asked()
    assert (question.column, question.problem, question.severity) == ("nominal kV", "is not medium voltage", REFUSE)
    frame = small.read().frames["schedule"]
    assert list(frame["unusable_why"]) == ["system S12 is not medium voltage"] * 2
    assert small.set("systems", 2, nominal_kV="1.1").asked() == []


def test_a_stated_mcov_need_comes_with_its_reason(small: SmallBook) -> None:
    small.set("systems", 2, MCOV_need_kV="10.2")
    assert small.addresses() == [("systems", 2, "MCOV need kV")]
    assert small.set("systems", 2, MCOV_reason="long feeder").asked() == []


def test_a_real_size_that_no_cable_here_has_is_asked_with_the_likeliest(small: SmallBook) -> None:
    """Trap T23: 1 AWG is not read as 1/0."""
    (question,) = small.set("schedule", 2, conductor_size="1 AWG").asked()
    assert question.severity == ASK
    assert question.problem == "real size (42.4 mm2), no such cable here"
    assert question.suggestion == "did you mean 1/0 AWG (53.5 mm2)?"
    assert small.set("schedule", 2, conductor_size="250").asked()[0].suggestion == "did you mean 4/0 AWG (107.2 mm2)?"
    assert small.set("schedule", 2, conductor_size="95 mm2").asked()[0].suggestion == ""
    assert small.set("schedule", 2, conductor_size="1/0").asked() == []


def test_without_a_cable_types_sheet_no_size_is_strange(small: SmallBook) -> None:
    del small.sheets["cable types"], small.sheets["reels"]
    for row in (2, 3):
        small.set("schedule", row, cable_type="", conductor_size="1 AWG")
    assert small.asked() == []


def test_the_jacket_diameter_in_the_insulation_column_is_asked(small: SmallBook) -> None:
    """Trap T46."""
    small.put("schedule", 2, "DOI low (mm)", "1.00 in").put("schedule", 2, "jacket low (mm)", "25.4")
    (question,) = small.asked()
    assert (question.column, question.read) == ("DOI low", "1.00 in")
    assert question.problem == "same as jacket diameter: over what?"


def test_a_diameter_over_insulation_beyond_the_jacket_is_refused(small: SmallBook) -> None:
    (question,) = small.put("cable types", 2, "jacket low (in)", "0.75").asked()
    assert (question.column, question.severity) == ("DOI high", REFUSE)


@pytest.mark.parametrize("sheet", ["cable types", "items"])
def test_a_low_end_above_the_high_end_is_refused_by_name_and_neither_is_used(small: SmallBook, sheet: str) -> None:
    small.put(sheet, 2, "DOI low (in)", "0.9")
    (question,) = small.asked()
    assert (question.column, question.severity) == ("DOI low", REFUSE)
    assert "DOI low 22.86 mm (0.900 in) is more than DOI high" in question.problem
    frame = small.read().frames[sheet]
    assert isinstance(frame["doi_low_nm"][0], Missing)
    assert isinstance(frame["doi_high_nm"][0], Missing)


def test_an_item_range_wider_than_any_housing_is_asked(small: SmallBook) -> None:
    """20 mm exactly is still a range: 0.600 in + 20 mm = 35.24 mm."""
    assert small.put("items", 2, "DOI high (in)", "35.24 mm").asked() == []
    (question,) = small.put("items", 2, "DOI high (in)", "35.240001 mm").asked()
    assert (question.column, question.suggestion) == ("DOI high", "check the unit")


def test_a_reel_that_disagrees_with_its_type_is_noted_and_both_are_kept(small: SmallBook) -> None:
    """0.790 in and 5 % more is 0.8295 in: 21.0693 mm is still near the type, a hair more is not."""
    assert small.put("reels", 2, "DOI high (mm)", "21.0693").read().questions == ()
    question = small.put("reels", 2, "DOI high (mm)", "21.069301").only_question()
    assert (question.column, question.severity) == ("DOI high", NOTE)
    assert "measure again or change type" in question.suggestion
    assert small.read().frames["reels"]["doi_high_nm"][0] == 21_069_301


def test_a_gauge_reading_given_once_is_both_ends_and_any_other_is_not(small: SmallBook) -> None:
    small.put("reels", 2, "DOI high (mm)", "").put("reels", 3, "DOI low (mm)", "19").set("reels", 3, origin="maker")
    frame = small.read().frames["reels"]
    assert (frame["doi_low_nm"][0], frame["doi_high_nm"][0]) == (19_000_000, 19_000_000)
    assert (frame["doi_low_nm"][1], frame["doi_high_nm"][1]) == (19_000_000, None)


def test_a_diameter_that_the_rows_own_build_cannot_give_is_noted(small: SmallBook) -> None:
    """1/0 AWG with 175 mil of wall (ICEA S-94-649) never reaches 1.2 in."""
    for header, text in (("DOI low (in)", "1.15"), ("DOI high (in)", "1.20"), ("jacket low (in)", "1.4")):
        small.put("cable types", 2, header, text)
    small.put("cable types", 2, "jacket high (in)", "1.5")
    notes = [question for question in small.read().questions if question.sheet == "cable types"]
    assert [(note.column, note.severity) for note in notes] == [("DOI low", NOTE)]


def test_a_reel_list_gives_one_reel_for_all_phases_or_one_for_each(small: SmallBook) -> None:
    assert small.set("schedule", 2, reel="R-1; R-2; R-1").read().frames["schedule"]["reels"][0] == ("R-1", "R-2", "R-1")
    (question,) = small.set("schedule", 2, reel="R-1; R-2").asked()
    assert question.problem == "2 reels for 3 phases"


def test_a_row_with_the_same_ends_in_either_direction_phases_and_system_waits_for_an_answer(small: SmallBook) -> None:
    """Trap T27."""
    small.add("schedule", run="7", from_structure="P2", to_structure="P1")
    (question,) = small.asked()
    assert (question.row, question.column, question.severity) == (4, "row", ASK)
    assert question.problem == "row 4 repeats row 2 (J1 run 1)"
    assert question.read == "P2 a to P1 a, ABC, S12"
    assert list(small.read().frames["schedule"]["usable"]) == [True, True, False]
    assert small.set("schedule", 4, phases="AB").asked() == []


def test_the_later_run_is_the_repeat_wherever_it_stands(small: SmallBook) -> None:
    small.set("schedule", 2, run="10").add("schedule", run="9", from_structure="P1", to_structure="P2")
    assert small.addresses() == [("schedule", 2, "row")]


def test_two_rows_for_one_key_are_refused_and_neither_is_trusted_where_they_differ(small: SmallBook) -> None:
    small.add("items", stock_code="EL-1", description="Elbow", kind="elbow", interface="200 A 25 kV", stock_unit="ea")
    (question,) = small.asked()
    assert (question.row, question.column, question.severity) == (5, "row", REFUSE)
    assert question.problem.startswith("EL-1 stands in row 2 already and says otherwise")
    frame = small.read().frames["items"]
    assert list(frame["stock_code"]) == ["EL-1", "CC-1", "DW"]
    assert isinstance(frame["interface"][0], Missing)
    assert frame["kind"][0] == "elbow"


def test_a_row_that_stands_twice_word_for_word_is_refused_once_and_used_once(small: SmallBook) -> None:
    small.add("depots")
    (question,) = small.asked()
    assert question.problem == "H stands in row 3 already"
    assert list(small.read().frames["depots"]["depot"]) == ["N", "H"]


def test_two_runs_of_one_number_are_both_useless_where_they_differ(small: SmallBook) -> None:
    small.set("schedule", 3, run="1")
    assert small.addresses() == [("schedule", 3, "row")]
    assert list(small.read().frames["schedule"]["usable"]) == [False, False]


def test_an_old_code_is_read_as_the_items_own(small: SmallBook) -> None:
    """Trap T04."""
    frame = small.set("stock", 2, stock_code="0457").read().frames["stock"]
    assert list(frame["stock_code"]) == ["EL-1", "DW"]


def test_an_old_code_of_two_items_is_refused_showing_both_and_leads_nowhere(small: SmallBook) -> None:
    small.set("items", 3, old_codes="0457").set("stock", 2, stock_code="0457")
    assert small.addresses() == [("items", 2, "old codes"), ("items", 3, "old codes"), ("stock", 2, "stock code")]
    assert small.asked()[0].problem == "0457 is a code of EL-1 and CC-1"
    assert small.set("items", 3, old_codes="DW").asked()[0].problem == "DW is a code of CC-1 and item DW itself"


def test_contents_that_lead_back_to_the_item_are_refused(small: SmallBook) -> None:
    small.set("items", 3, contains="DW").set("items", 4, contains="EL-1")
    assert [question.problem for question in small.asked()] == [
        "EL-1 contains CC-1 contains DW contains EL-1",
        "CC-1 contains DW contains EL-1 contains CC-1",
        "DW contains EL-1 contains CC-1 contains DW",
    ]


def test_an_item_without_a_fact_that_its_kind_needs_is_not_selectable(small: SmallBook) -> None:
    small.set("items", 3, kind="elbow arrester", interface="200 A 15 kV")
    question = small.only_question()
    assert (question.row, question.column, question.severity) == (3, "MCOV kV", NOTE)
    assert question.problem == "not selectable: MCOV kV missing"
    assert small.put("items", 3, "MCOV kV", "8.4").read().questions == ()


def test_only_what_is_cut_to_length_comes_in_fractions(small: SmallBook) -> None:
    assert small.set("stock", 3, quantity="0.125").asked() == []
    (question,) = small.set("stock", 2, quantity="2.5").asked()
    assert (question.problem, question.severity) == ("is a fraction of what is counted in ea", REFUSE)
    assert list(small.read().frames["stock"]["stock_code"]) == ["DW"]


def test_a_maximum_below_the_minimum_is_refused(small: SmallBook) -> None:
    small.sheets["levels"] = [{"stock code": "EL-1", "depot": "N", "min": "6", "max": "5"}]
    assert small.addresses() == [("levels", 2, "max")]
    assert small.set("levels", 2, max="6").asked() == []


def test_a_piece_in_a_place_of_unknown_kind_is_asked_and_not_counted(small: SmallBook) -> None:
    assert small.set("stock", 2, place_kind="").addresses() == [("stock", 2, "place kind")]
    for row in small.sheets["stock"]:
        del row["place kind"]
    (question,) = small.asked()
    assert (question.row, question.column) == (1, "place kind")
    assert len(small.read().frames["stock"]) == 0


def test_a_stock_row_copied_whole_is_noted_and_counted(small: SmallBook) -> None:
    small.add("stock")
    assert (small.only_question().row, small.only_question().severity) == (4, NOTE)
    assert len(small.read().frames["stock"]) == 3


def test_an_interface_that_the_position_cannot_have_is_asked(small: SmallBook) -> None:
    assert small.set("positions", 2, interface="600 A 35 kV").asked()[0].problem == "not an interface of a well 200 A"
    small.set("positions", 2, interface="200 A 15 kV", kind="joint")
    assert (small.only_question().column, small.only_question().severity) == ("interface", NOTE)


def test_a_cutover_that_ends_before_it_starts_is_refused(small: SmallBook) -> None:
    small.set("jobs", 2, cutover_end="2026-03-05 06:00")
    (question,) = small.asked()
    assert (question.column, question.problem) == (
        "cutover end",
        "the cutover ends before it starts (2026-03-05 09:00)",
    )


def test_a_local_time_that_the_clocks_leave_out_is_refused_and_one_that_comes_twice_is_noted(small: SmallBook) -> None:
    """Trap T36: in Chicago the clocks went forward on 2026-03-08 at 02:00 and go back on 2026-11-01."""
    assert small.set("jobs", 2, cutover="2026-03-08 02:30").addresses() == [("jobs", 2, "cutover")]
    assert small.set("jobs", 2, cutover="2026-03-08 03:00").read().questions == ()
    assert small.set("jobs", 2, cutover="2026-11-01 01:30").only_question().severity == NOTE


def test_a_time_zone_that_does_not_exist_is_asked(small: SmallBook) -> None:
    (question,) = small.set("depots", 2, time_zone="America/Chcago").asked()
    assert "America/Chicago" in question.suggestion


@given(order=st.permutations(range(4)))
def test_the_order_of_rows_does_not_matter_for_what_is_asked(order: list[int]) -> None:
    small = SmallBook()
    small.add("schedule", run="7", from_structure="P2", to_structure="P1")
    small.add("schedule", run="8", phases="AB0", conductor_size="1 AWG", remarks="z")
    expected = sorted((q.column, q.read, q.severity) for q in small.read().questions)
    rows = small.sheets["schedule"]
    small.sheets["schedule"] = [rows[at] for at in order]
    assert sorted((q.column, q.read, q.severity) for q in small.read().questions) == expected
    frame = small.read().frames["schedule"]
    assert dict(zip(frame["run"], frame["usable"], strict=True)) == {"1": True, "2": True, "7": False, "8": False}


def asked_of(sheets: Mapping[str, RawSheet]) -> set[Question]:
    return {question for question in read_book(raw_book(sheets.values())).questions if question.severity != NOTE}


@pytest.mark.parametrize(
    ("sheet", "column", "text", "told"),
    [
        ("depots", "time zone", "America/Chigaco", "depots"),
        ("transfers", "days", "X", "transfers"),
        ("systems", "nominal kV", "0.4", "systems"),
        ("cable types", "conductor size", "2", "schedule"),
        ("reels", "cable type", "CT-X", "reels"),
        ("jobs", "depot", "X", "jobs"),
        ("positions", "existing cable type", "CT-X", "positions"),
        ("items", "old codes", "", "stock"),
        ("policies", "value", "X", "policies"),
    ],
)
def test_a_changed_cell_is_asked_about_alike_whether_all_sheets_are_read_or_those_that_its_checks_need(
    sheet: str, column: str, text: str, told: str
) -> None:
    sheets = dict(clean_book().sheets)
    needed = sheets_to_check(sheet)
    of_others = {name: raw_sheet(name, one.headers, ()) for name, one in sheets.items() if name not in needed}
    assert not asked_of({**sheets, **of_others})
    cells = sheets[sheet].cells.copy()
    cells[labels(sheets[sheet]).index(column)] = text
    sheets[sheet] = replace(sheets[sheet], cells=cells)
    asked = asked_of(sheets)
    assert told in {question.sheet for question in asked}
    assert asked_of({**sheets, **of_others}) == asked
