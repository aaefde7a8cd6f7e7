"""Traps of reading: doubtful cells are asked, all at once, and never used until they are settled."""

import pandas as pd
import pytest
from desk import Desk, Reading

from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.raw import raw_book, raw_sheet

ASKED = ("ask", "refuse")


def test_reading_asks_seven_questions_and_planning_three_more(received: Plan, read: type[Reading]) -> None:
    """The received file has seven planted faults; planning finds the wall, the reel and the interface."""
    on_reading = [(q.sheet, q.column) for q in received.book.questions if q.severity in ASKED]
    assert sorted(on_reading) == [
        ("schedule", "DOI low"),
        ("schedule", "DOI low"),
        ("schedule", "DOI low"),
        ("schedule", "conductor size"),
        ("schedule", "conductor size"),
        ("schedule", "conductor size"),
        ("schedule", "row"),
    ]
    planned = set(read(received).questions(*ASKED)) - {
        (q.sheet, q.row, q.column, q.read) for q in received.book.questions
    }
    assert sorted((sheet, column) for sheet, _, column, _ in planned) == [
        ("positions", "interface"),
        ("schedule", "reel"),
        ("schedule", "wall"),
    ]


def test_a_size_that_became_a_date_is_asked(received: Plan, read: type[Reading]) -> None:
    """Trap T22: 2000-01-01 looks like a damaged 1/0, 2000-02-01 like a damaged 2/0; neither is used."""
    for damaged, size in (("2000-01-01", "1/0"), ("2000-02-01", "2/0")):
        question = next(q for q in received.questions if q.read == damaged)
        assert size in question.problem + question.suggestion
        assert question.severity == "ask"
    assert read(received).line("J06/P1-a/r1-to/A/end accessories")["answer"] == "can't tell"


def test_two_over_aught_confirmed_is_asked_again_where_no_such_cable_is(received_desk: Desk) -> None:
    """Trap T22: 2/0 confirmed for J06 row 3 is a real size that no cable type here has."""
    changed = received_desk.change("schedule", {"job": "J06", "run": "3"}, conductor_size="2/0")
    question = next(q for q in changed.plan().questions if q.column == "conductor size" and q.read == "2/0")
    assert "no such cable here" in question.problem


def test_one_awg_is_a_real_size_that_is_not_here(received: Plan) -> None:
    """Trap T23: 1 AWG is 42.4 mm²; the question offers 1/0 (53.5 mm²) and changes nothing."""
    question = next(q for q in received.questions if q.read == "1 AWG")
    assert "42.4" in question.problem
    assert "1/0" in question.suggestion
    assert "53.5" in question.suggestion


def test_a_comma_and_an_inch_value_in_a_mm_column_are_asked(received: Plan, read: type[Reading]) -> None:
    """Trap T24: 23,6 may be 23.6 mm; 0.93 mm is impossible and 0.93 in is 23.62 mm; no tee is chosen by either."""
    comma = next(q for q in received.questions if q.read == "23,6")
    inch = next(q for q in received.questions if q.read == "0.93")
    assert "23.6" in comma.problem + comma.suggestion
    assert "23.62 mm" in inch.problem + inch.suggestion
    for line in ("J05/D2-b/r2-from/ABC/tee", "J05/D3-b/r3-from/ABC/tee"):
        assert read(received).line(line)["answer"] == "can't tell"
    assert read(received).line("J05/D2-b/r2-from/ABC/lug")["answer"] == "ready"


def test_a_repeated_row_is_asked_and_takes_nothing(received: Plan, answered: Plan, read: type[Reading]) -> None:
    """Trap T27: J06's seventh line repeats its second: asked, then six rows are kept."""
    line = read(received).line("J06/r7/row")
    assert (line["answer"], line["kind"], line["quantity"]) == ("can't tell", "", "")
    assert any(q.column == "row" and "J06" in q.problem for q in received.questions)
    rows = answered.book.frames["schedule"]
    assert list(rows.loc[rows["job"] == "J06", "run"]) == ["1", "2", "3", "4", "5", "6"]
    assert not any(line.startswith("J06/r7") for line in answered.requirements["line"])


def test_a_jacket_diameter_in_the_insulation_column_is_asked(received: Plan, read: type[Reading]) -> None:
    """Trap T46: 1.42 in is the jacket's: over what?"""
    question = next(q for q in received.questions if q.read in {"1.42 in", "1.42"})
    assert "same as jacket diameter: over what?" in question.problem
    assert read(received).line("J09/HL5-a/r3-from/B/elbow")["answer"] == "can't tell"


@pytest.mark.parametrize("phases", ["0", "-1", "AB0"])
def test_phases_that_are_none_are_refused_with_the_allowed_ones(desk: Desk, phases: str) -> None:
    """Trap T40: the row is refused with its address, and gives one line that can't tell instead of zero parts."""
    plan = desk.change("schedule", {"job": "J04", "run": "2"}, phases=phases).plan()
    question = next(q for q in plan.questions if q.sheet == "schedule" and q.column == "phases")
    assert question.severity == "refuse"
    assert question.read == phases
    assert "A" in question.suggestion
    lines = plan.requirements[(plan.requirements["job"] == "J04") & (plan.requirements["run"] == "2")]
    assert list(lines["line"]) == ["J04/r2/row"]
    assert list(lines["answer"]) == ["can't tell"]


def test_blank_phases_are_refused(desk: Desk) -> None:
    """Trap T40: a blank is not zero phases."""
    plan = desk.change("schedule", {"job": "J04", "run": "2"}, phases="").plan()
    assert any(q.sheet == "schedule" and q.column == "phases" and q.read == "" for q in plan.questions)
    assert "J04/r2/row" in set(plan.requirements["line"])


def test_received_with_answers_gives_the_plan_of_the_clean_sheets(answered: Plan, clean: Plan) -> None:
    """Every table is equal; plan.json tells the answers used."""
    for table in ("requirements", "promises", "shortages", "reorder", "refusals", "cures", "totals"):
        expected, found = getattr(clean, table), getattr(answered, table)
        assert expected.to_csv(index=False) == found.to_csv(index=False), table
    assert answered.summary["jobs"] == clean.summary["jobs"]
    assert answered.summary["answers_used"]
    assert not clean.summary["answers_used"]


def test_an_answer_holds_only_while_the_cell_reads_the_same(received_desk: Desk) -> None:
    """An answer to 1 AWG does not settle a cell that meanwhile reads 2 AWG."""
    answers = pd.DataFrame(
        [("schedule", "J10/3", "conductor size", "1 AWG", "1/0", "splicer", "2026-03-09")],
        columns=["sheet", "key", "column", "read", "value", "by", "on"],
    )
    sheet = raw_sheet("answers", tuple(answers.columns), answers.itertuples(index=False, name=None))
    changed = received_desk.change("schedule", {"job": "J10", "run": "3"}, conductor_size="2 AWG")
    settled = type(received_desk)(raw_book([*received_desk.raw.sheets.values(), sheet])).plan()
    stale = type(received_desk)(raw_book([*changed.raw.sheets.values(), sheet])).plan()
    assert len(settled.summary["answers_used"]) == 1
    assert not stale.summary["answers_used"]
    assert not any(q.read == "1 AWG" for q in settled.questions if q.severity in ASKED)
