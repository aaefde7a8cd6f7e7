"""Answers to earlier questions."""

from sheet_cells import SmallBook

from kitting.calculation.questions import NOTE


def notes_of(small: SmallBook) -> list[tuple[str, str]]:
    return [(question.column, question.problem) for question in small.read().questions if question.severity == NOTE]


def test_an_answer_settles_the_cell_and_is_listed(small: SmallBook) -> None:
    small.set("schedule", 2, conductor_size="2000-01-01").answer("J1/1", "conductor size", "2000-01-01", "1/0")
    book = small.read()
    assert book.questions == ()
    assert str(book.frames["schedule"]["conductor_size"][0]) == "1/0 AWG"
    assert [dict(answer) for answer in book.answers_used] == [
        {
            "sheet": "schedule",
            "key": "J1/1",
            "column": "conductor size",
            "read": "2000-01-01",
            "value": "1/0",
            "by": "R",
            "on": "2026-03-02",
        }
    ]


def test_an_answer_holds_only_while_the_cell_still_reads_the_same(small: SmallBook) -> None:
    small.set("schedule", 2, conductor_size="4/0").answer("J1/1", "conductor size", "2000-01-01", "1/0")
    assert notes_of(small) == [("read", "the cell now reads 4/0; the answer is not used")]
    assert str(small.read().frames["schedule"]["conductor_size"][0]) == "4/0 AWG"
    assert small.read().answers_used == ()


def test_an_answer_is_parsed_and_may_be_asked_again(small: SmallBook) -> None:
    """Trap T22: 2/0 confirmed, but no cable here is 2/0."""
    small.set("schedule", 2, conductor_size="2000-02-01").answer("J1/1", "conductor size", "2000-02-01", "2/0")
    (question,) = small.asked()
    assert (question.read, question.problem) == ("2/0", "real size (67.4 mm2), no such cable here")


def test_an_answer_may_name_the_row_and_any_spelling_of_the_column(small: SmallBook) -> None:
    small.put("schedule", 3, "DOI low (mm)", "23,6").answer("row 3", "DOI_low (in)", "23,6", "0.93")
    assert small.read().frames["schedule"]["doi_low_nm"][1] == 23_622_000


def test_a_blank_cell_is_answered_by_a_blank_read_and_emptied_by_a_word(small: SmallBook) -> None:
    small.answer("J1/1", "reel", "(blank)", "R-1").answer("J1/2", "cable type", "CT-1", "(blank)")
    frame = small.read().frames["schedule"]
    assert frame["reels"][0] == ("R-1",)
    assert frame["cable_type"][1] is None


def test_an_answer_may_stand_in_a_column_that_the_sheet_does_not_have(small: SmallBook) -> None:
    for row in small.sheets["schedule"]:
        del row["reel"]
    small.answer("J1/1", "reel", "", "R-1")
    assert list(small.read().frames["schedule"]["reels"]) == [("R-1",), None]


def test_a_repeated_row_is_kept_or_dropped(small: SmallBook) -> None:
    """Trap T27."""
    small.add("schedule", run="7", from_structure="P2", to_structure="P1").answer("J1/7", "row", "", "keep")
    assert list(small.read().frames["schedule"]["usable"]) == [True, True, True]
    assert small.read().questions == ()
    small.set("answers", 2, value="drop")
    assert list(small.read().frames["schedule"]["run"]) == ["1", "2"]
    assert small.read().questions == ()
    small.set("answers", 2, value="perhaps")
    assert notes_of(small) == [("value", "a row is kept or dropped; the answer is not used")]


def test_a_row_that_is_in_no_doubt_is_not_dropped(small: SmallBook) -> None:
    """An old answer must not drop the run that a new revision puts under the same number."""
    small.answer("J1/2", "row", "", "drop").answer("J1/1", "row", "", "keep")
    assert notes_of(small) == [("key", "the row is in no doubt; the answer is not used")] * 2
    assert list(small.read().frames["schedule"]["run"]) == ["1", "2"]


def test_an_answer_about_a_row_holds_only_while_the_question_reads_the_same(small: SmallBook) -> None:
    small.add("schedule", run="7", from_structure="P2", to_structure="P1")
    small.answer("J1/7", "row", "P2 a to P1 a, ABC, S12", "drop")
    assert small.read().questions == ()
    small.set("answers", 2, read="P2 a to P1 a, A, S12")
    assert notes_of(small) == [("read", "no question about the row reads so now; the answer is not used")]


def test_dropping_one_of_two_rows_with_one_key_clears_the_other(small: SmallBook) -> None:
    small.set("schedule", 3, run="1").answer("row 3", "row", "", "drop")
    book = small.read()
    assert book.questions == ()
    assert list(book.frames["schedule"]["usable"]) == [True]


def test_a_dropped_row_takes_its_notes_and_questions_along(small: SmallBook) -> None:
    small.set("schedule", 3, phases="0", system="X").answer("J1/2", "row", "", "drop")
    assert small.read().questions == ()


def test_an_answer_that_leads_nowhere_is_noted(small: SmallBook) -> None:
    small.answer("J1/1", "reel", "", "R-1", sheet="runs").answer("J9/1", "reel", "", "R-1")
    small.answer("J1/1", "colour", "", "red").answer("row 99", "reel", "", "R-1").answer(
        "DW", "lot", "", "L", sheet="stock"
    )
    assert notes_of(small) == [
        ("sheet", "there is no sheet runs to answer; the answer is not used"),
        ("key", "sheet schedule has no row J9/1; the answer is not used"),
        ("column", "sheet schedule has no column colour; the answer is not used"),
        ("key", "sheet schedule has no row row 99; the answer is not used"),
        ("key", "sheet stock has no row DW; the answer is not used"),
    ]


def test_an_answer_to_two_rows_at_once_is_not_used(small: SmallBook) -> None:
    small.set("schedule", 3, run="1").answer("J1/1", "reel", "", "R-1")
    (note,) = [question for question in small.read().questions if question.severity == NOTE]
    assert note.problem == "J1/1 stands in rows 2 and 3; the answer is not used"


def test_an_answer_without_a_name_is_refused_and_not_used(small: SmallBook) -> None:
    small.answer("J1/1", "reel", "", "R-1").set("answers", 2, by="")
    (question,) = small.asked()
    assert (question.sheet, question.column, question.problem) == ("answers", "by", "blank, and it must be given")
    assert small.read().frames["schedule"]["reels"][0] is None


def test_answers_are_taken_in_the_order_in_which_they_were_given(small: SmallBook) -> None:
    small.set("schedule", 2, conductor_size="2000-02-01")
    small.answer("J1/1", "conductor size", "2/0", "1/0").answer("J1/1", "conductor size", "2000-02-01", "2/0")
    small.set("answers", 2, on="2026-03-03")
    book = small.read()
    assert book.questions == ()
    assert [answer["value"] for answer in book.answers_used] == ["2/0", "1/0"]


def test_a_policy_may_be_answered_before_anything_else_is_read(small: SmallBook) -> None:
    small.add("policies", policy="date order", value="asked").set("jobs", 2, cutover="03/04/2026 09:00")
    small.answer("date order", "value", "asked", "day first", sheet="policies")
    assert small.read().questions == ()
