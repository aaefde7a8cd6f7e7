"""Reading whole sheets: blanks, doubts, dropped and marked rows, notes of the file reader."""

from datetime import date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sheet_cells import SmallBook

from kitting.calculation.questions import ASK, NOTE, REFUSE, Missing, Question
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import raw_book, raw_sheet
from kitting.errors import Refusal


def test_a_sound_book_reads_without_a_question(small: SmallBook) -> None:
    book = small.read()
    assert book.questions == ()
    assert set(book.frames) == set(SHEETS)
    assert book.policies.staging_days == 3
    assert book.frames["depots"]["closed_days"][0] == (date(2026, 4, 3), date(2026, 5, 25))
    assert book.frames["jobs"]["cutover"][0] == datetime(2026, 3, 5, 9, 0)
    assert list(book.frames["cable types"]["insulation_level"]) == [100, 133]
    assert book.frames["items"]["contains"][0] == (("CC-1", 1),)
    assert list(book.frames["stock"]["quantity"]) == [6_000, 12_500]


def test_blank_is_neither_zero_nor_no_nor_a_default(small: SmallBook) -> None:
    """Only blanks that mean something by themselves become values: one cable a phase, no test point, counted in ea."""
    frames = small.read().frames
    assert frames["depots"]["closed_days"][1] is None
    assert frames["depots"]["receiving_days"][0] is None
    assert frames["positions"]["environment"][0] is None
    assert frames["positions"]["insert_fitted"][0] is None
    assert frames["stock"]["lot"][1] is None
    assert frames["items"]["phase_to_phase"][0] is None
    assert list(frames["schedule"]["cables_per_phase"]) == [1, 1]
    assert list(frames["positions"]["test_point"]) == [False] * 3
    assert list(frames["items"]["stock_unit"]) == ["ea", "ea", "ft"]


def test_every_doubtful_cell_gets_exactly_one_question_all_at_once(small: SmallBook) -> None:
    small.set("schedule", 2, phases="AB0").put("schedule", 2, "DOI low (mm)", "23,6")
    small.set("schedule", 3, conductor_size="2000-01-01", cables_per_phase="0")
    small.set("items", 3, metal="tin").put("cable types", 3, "wall (mil)", "4.45")
    small.set("stock", 2, quantity="-1").set("systems", 2, earthing="wye")
    assert small.addresses() == [
        ("cable types", 3, "wall"),
        ("items", 3, "metal"),
        ("schedule", 2, "DOI low"),
        ("schedule", 2, "phases"),
        ("schedule", 3, "cables per phase"),
        ("schedule", 3, "conductor size"),
        ("stock", 2, "quantity"),
        ("systems", 2, "earthing"),
    ]


def test_a_doubtful_cell_counts_as_missing_the_same_for_the_same_text(small: SmallBook) -> None:
    for row in (2, 3):
        small.put("schedule", row, "DOI low (mm)", "23,6")
    first, second = small.read().frames["schedule"]["doi_low_nm"]
    assert isinstance(first, Missing)
    assert first == second
    assert (first.asked, first.row, first.sheet, first.column) == (True, 0, "schedule", "DOI low")
    assert first.why == "the cell reads 23,6 and is in doubt"


def test_a_schedule_row_that_cannot_be_used_stays_and_says_why(small: SmallBook) -> None:
    """Trap T40: a row with phases that are none is not zero parts."""
    frame = small.set("schedule", 3, phases="AB0").read().frames["schedule"]
    assert list(frame["usable"]) == [True, False]
    assert list(frame["unusable_why"]) == ["", "phases AB0: is not a set of phases"]
    assert list(frame["run"]) == ["1", "2"]


@pytest.mark.parametrize(
    "column",
    ["job", "run", "system", "phases", "from structure", "from position", "to structure", "to position"],
)
def test_a_schedule_row_needs_its_job_run_system_phases_and_ends(small: SmallBook, column: str) -> None:
    small.put("schedule", 3, column, "")
    (question,) = small.asked()
    assert (question.row, question.column, question.read, question.severity) == (3, column, "", REFUSE)
    assert question.problem == "blank, and it must be given"
    assert list(small.read().frames["schedule"]["usable"]) == [True, False]


def test_rows_of_stock_orders_and_items_with_a_refused_needed_cell_count_for_nothing(small: SmallBook) -> None:
    small.set("stock", 2, quantity="").set("items", 4, kind="string")
    small.add("orders", order="PO-1", line="1", stock_code="EL-1", quantity="4", depot="N", promised="2026-02-30")
    frames = small.read().frames
    assert small.addresses() == [("items", 4, "kind"), ("orders", 2, "promised"), ("stock", 2, "quantity")]
    assert list(frames["items"]["stock_code"]) == ["EL-1", "CC-1"]
    assert len(frames["orders"]) == 0
    assert len(frames["stock"]) == 0  # the drain wire's item is not usable, so neither is its stock


def test_a_position_with_a_doubtful_kind_stays_with_the_fact_missing(small: SmallBook) -> None:
    frame = small.set("positions", 2, kind="wel 200 A").read().frames["positions"]
    assert isinstance(frame["kind"][0], Missing)
    assert small.only_question().suggestion == "did you mean well 200 A?"
    assert list(frame["structure"]) == ["P1", "P2", "P3"]


@pytest.mark.parametrize("text", ["#N/A", "#REF!", "#VALUE!", "#NAME?", "#DIV/0!", "#NULL!", "#NUM!", "#n/a"])
def test_a_formula_error_is_refused_with_its_address(small: SmallBook, text: str) -> None:
    small.set("stock", 3, lot=text)
    (question,) = small.asked()
    assert (question.row, question.read, question.severity) == (3, text, REFUSE)
    assert question.problem == "a formula error in cell E3"
    assert list(small.read().frames["stock"]["stock_code"]) == ["EL-1"]


def test_text_that_looks_like_a_formula_stays_text(small: SmallBook) -> None:
    """Trap T41."""
    book = small.set("schedule", 2, remarks="=1+1").set("schedule", 3, remarks="@x").read()
    assert book.questions == ()
    assert list(book.frames["schedule"]["remarks"]) == ["=1+1", "@x"]


def test_blank_rows_are_no_rows_and_row_numbers_are_those_of_the_sheet(small: SmallBook) -> None:
    sheet = raw_sheet("transfers", ("from", "to", "days"), [("", " ", ""), ("H", "N", "x"), ("", "", "")], first_row=7)
    small.sheets.pop("transfers")
    book = read_book(raw_book([*small.raw().sheets.values(), sheet]))
    assert [(question.row, question.column) for question in book.questions] == [(8, "days")]


def test_spaces_no_break_spaces_and_marks_around_text_do_not_count(small: SmallBook) -> None:
    small.set("schedule", 2, from_structure="\ufeffP1\u00a0", phases=" abc ", system="S12\t")
    assert small.read().questions == ()


def test_a_note_of_the_file_reader_is_passed_on_and_its_question_puts_the_cell_in_doubt(small: SmallBook) -> None:
    hidden = Question("schedule", 3, "", "", "row 3 is hidden; it was read", "", NOTE)
    formula = Question("schedule", 3, "phases", "", "holds a formula that was never calculated", "save it", ASK)
    lot = Question("stock", 2, "lot", "", "holds a formula that was never calculated", "save it", ASK)
    small.notes = {"schedule": (hidden, formula), "stock": (lot,)}
    small.set("stock", 2, lot="")
    book = small.read()
    assert hidden in book.questions
    assert list(book.frames["schedule"]["usable"]) == [True, True]  # the phases read ABC: an answer filled the cell
    assert list(book.frames["stock"]["stock_code"]) == ["DW"]


def test_a_formula_that_was_never_calculated_may_be_answered_as_blank(small: SmallBook) -> None:
    formula = Question("schedule", 3, "remarks", "", "holds a formula that was never calculated", "save it", ASK)
    small.notes = {"schedule": (formula,)}
    assert [question.column for question in small.read().questions] == ["remarks"]
    assert small.answer("J1/2", "remarks", "", "(blank)").read().questions == ()


def test_a_row_that_the_file_reader_takes_for_shifted_is_not_used_until_it_is_kept(small: SmallBook) -> None:
    shifted = Question("schedule", 3, "", "x", "stands in column P, which has no header; is the row shifted?", "", ASK)
    small.notes = {"schedule": (shifted,)}
    assert list(small.read().frames["schedule"]["usable"]) == [True, False]
    kept = small.answer("J1/2", "row", "", "keep").read()
    assert list(kept.frames["schedule"]["usable"]) == [True, True]
    assert kept.questions == ()


def test_an_unknown_sheet_is_reported_and_not_used(small: SmallBook) -> None:
    small.sheets["summary"] = [{"total": "6"}]
    assert (small.only_question().sheet, small.only_question().severity) == ("summary", NOTE)


def test_rule_sheets_are_kept_as_text_with_their_rows(small: SmallBook) -> None:
    small.sheets["rules spares"] = [{"rule": "S1", "when kind": "lug", "give quantity": "1"}]
    frame = small.read().rules["spares"]
    assert frame.to_dict("records") == [{"rule": "S1", "when kind": "lug", "give quantity": "1", "row": 2}]


def test_a_rule_sheet_with_a_failed_cell_is_refused_because_a_blank_condition_means_any(small: SmallBook) -> None:
    small.sheets["rules spares"] = [{"rule": "S1", "when kind": "#REF!", "give quantity": "1"}]
    with pytest.raises(Refusal, match="row 2, when kind: #REF!"):
        small.read()
    small.sheets["rules spares"] = [{"rule": "S1", "when kind": "", "When Kind": "lug"}]
    with pytest.raises(Refusal, match="the column when kind stands here twice"):
        small.read()


def test_policies_are_read_and_unknown_ones_refused_with_the_list(small: SmallBook) -> None:
    for policy, value in (
        ("max factor", "1.1"),
        ("Tails", "6 ft"),
        ("crew stock kinds", "lug; end cap"),
        ("demo", "yes"),
    ):
        small.add("policies", policy=policy, value=value)
    policies = small.read().policies
    assert (policies.max_factor, policies.tails_nm, policies.demo) == (Decimal("1.1"), 1_828_800_000, True)
    assert policies.crew_stock_kinds == {"lug", "end cap"}
    small.add("policies", policy="colour", value="red").add("policies", policy="paper", value="A5")
    small.add("policies", policy="staging days", value="9")
    colour, paper, twice = small.asked()
    assert "staging days" in colour.suggestion
    assert (paper.column, paper.severity) == ("value", REFUSE)
    assert twice.problem == "is given twice; the first stands"
    assert small.read().policies.staging_days == 3


def test_a_declared_date_order_holds_for_the_whole_book(small: SmallBook) -> None:
    """The same file under two declared orders gives two different, stated dates; undeclared it is asked."""
    small.set("jobs", 2, cutover="03/04/2026 09:00")
    assert small.addresses() == [("jobs", 2, "cutover")]
    small.add("policies", policy="date order", value="day first")
    assert small.read().frames["jobs"]["cutover"][0] == datetime(2026, 4, 3, 9, 0)
    small.set("policies", 3, value="month first")
    assert small.read().frames["jobs"]["cutover"][0] == datetime(2026, 3, 4, 9, 0)


PLANTED = [
    (sheet, row, header)
    for sheet, rows in SmallBook().sheets.items()
    for row, cells in enumerate(rows, start=2)
    for header in cells
]
ODD = st.sampled_from(
    ["", "0", "-1", "P1", "P-1", "²", "1/0", "2000-01-01", "23,6", "#N/A", "1E+06", "a; a", "200 A", "x2"]
)


@given(st.lists(st.tuples(st.sampled_from(PLANTED), ODD | st.text(max_size=12)), max_size=6))
def test_whatever_cells_hold_the_book_is_read_and_no_fact_is_missing_without_a_question(
    planted: list[tuple[tuple[str, int, str], str]],
) -> None:
    small = SmallBook()
    for (sheet, row, header), text in planted:
        small.put(sheet, row, header, text)
    book = small.read()
    asked = {question.sheet for question in book.questions if question.severity != NOTE}
    for name, frame in book.frames.items():
        if any(isinstance(value, Missing) for value in frame.to_numpy(dtype=object).ravel()):
            assert name in asked or "items" in asked
    addresses = [(question.sheet, question.row, question.column) for question in book.questions if question.row]
    assert len(addresses) == len(set(addresses))


def test_held_pieces_are_those_in_a_hold_place(small: SmallBook) -> None:
    frame = small.set("stock", 2, place_kind="hold").read().frames["stock"]
    assert list(frame["held"]) == [True, False]
