"""Plan from the records, apply a plan that somebody has reviewed, and ask what would be if."""

import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any, TypedDict

import pandas as pd

from kitting.calculation import what_if
from kitting.calculation.bags import YES
from kitting.calculation.order_marks import order_marks
from kitting.calculation.plan_result import Plan
from kitting.calculation.plan_tables import refusal_sentences
from kitting.calculation.planning import plan
from kitting.calculation.questions import NOTE
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook
from kitting.calculation.supply import PastDate
from kitting.documents import write_documents
from kitting.errands.keeping import (
    packed_files,
    packed_plan,
    packed_sheets,
    unpacked_file,
    unpacked_plan,
    unpacked_sheets,
)
from kitting.errors import Refusal
from kitting.models import AppliedPlan, Errand
from kitting.models.errands import DONE
from kitting.selectors.expired_uses import past_dates
from kitting.selectors.promises import open_promises
from kitting.selectors.returns_due import due_back
from kitting.selectors.sheets import one_moment, sheets_from_records
from kitting.selectors.short_lines import cared_for
from kitting.services.apply_plan import ReviewedPlan, apply_plan, changed_rows
from kitting.services.ask_errands import end_errand, note_stage

PLAN, APPLY, WHAT_IF, MOST_KITS = "plan", "apply", "what if", "most kits"
PLAN_FILE = "plan.json"  # among the papers of a plan; for whoever prints one of them
MOST_CHANGES = 400  # lines told on a page; the plan holds all
_MOST_DAYS = 3650
Change = Callable[[RawBook, Mapping[str, Any]], RawBook]


def days_late(text: str) -> int:
    """How many days late something comes.

    Raises:
        Refusal: ``not-days``.
    """
    if not text.isascii() or not text.isdigit() or int(text) > _MOST_DAYS:
        raise Refusal("not-days", f"{text!r} is no number of days up to {_MOST_DAYS}; write it as 14.", {"read": text})
    return int(text)


# What may be asked: a change of the sheets, given what the form says.
CHANGES: Mapping[str, Change] = {
    "cutover": lambda raw, g: what_if.move_cutover(raw, job=g["job"], cutover=g["cutover"], cutover_end=g["end"]),
    "late": lambda raw, g: what_if.delay_order(
        raw, order=g["order"], line=g.get("line", ""), days=days_late(g["days"])
    ),
    "promised": lambda raw, g: what_if.promise_order(raw, order=g["order"], line=g["line"], promised=g["promised"]),
    "split": lambda raw, g: what_if.split_order(
        raw, order=g["order"], line=g["line"], part=g["part"], quantity=g["quantity"], promised=g["promised"]
    ),
    "cut": lambda raw, g: what_if.cut_order(raw, order=g["order"], line=g["line"], quantity=g["quantity"]),
    "lost lot": lambda raw, g: what_if.lose_lot(raw, stock_code=g["stock_code"], lot=g["lot"]),
    "more": lambda raw, g: what_if.add_stock(
        raw, stock_code=g["stock_code"], depot=g["depot"], quantity=g["quantity"], use_by=g.get("use_by", "")
    ),
    "swap": lambda raw, g: what_if.swap_pieces(
        raw, job=g["job"], lines=[(one["line"], what_if.HeldPieces(**one["pieces"])) for one in g["swap"]]
    ),
    "stand-in": lambda raw, g: what_if.approve_stand_in(raw, wanted=g["wanted"], allowed=g["allowed"]),
}


def make_plan(errand: Errand) -> None:
    """Plan the records as of a day, and keep what was planned from for whoever applies it.

    Raises:
        Refusal: the records can't be planned.
    """
    day = date.fromisoformat(errand.given["as_of"])
    with one_moment():
        sheets, beside = sheets_from_records(day), _beside(day)
    note_stage(errand, "reading")
    made = _planned(errand, sheets, day, beside)
    asked = [asdict(question) for question in made.questions if question.severity != NOTE]
    result = {"summary": dict(made.summary), "refusals": refusal_sentences(made.refusals), "questions": asked}
    end_errand(errand, result=result, kept=packed_sheets(sheets))


def apply_reviewed(errand: Errand) -> None:
    """Apply a plan that was made before, if every fact is still as it was, and print its papers.

    Raises:
        Refusal: ``no-such-plan``; ``facts-changed``; ``plan-differs``: pieces were promised or freed meanwhile.
    """
    made_by = Errand.objects.filter(pk=errand.given["plan"], kind=PLAN, state=DONE).first()
    if made_by is None:
        raise Refusal("no-such-plan", "There is no such plan to apply: plan again.", {})
    sheets, day = unpacked_sheets(bytes(made_by.kept)), date.fromisoformat(made_by.given["as_of"])
    applied = AppliedPlan.objects.filter(applied_by=errand.asked_by, applied_at=errand.asked_at).first()
    with one_moment():
        beside = _beside(day)
        changed = changed_rows(sheets, sheets_from_records(day))
    if changed and applied is None:
        message = f"Since the plan was made these facts have changed: {'; '.join(changed[:5])}. Plan again."
        raise Refusal("facts-changed", message, {"changed": changed})
    made = _planned(errand, sheets, day, beside)
    if applied is None:
        if _told(made) != made_by.result["summary"]["jobs"]:
            message = (
                "Since the plan was made pieces were promised or freed, so it would come out otherwise. Plan again."
            )
            raise Refusal("plan-differs", message, {})
        applied = apply_plan(reviewed=ReviewedPlan(sheets, made), by=errand.asked_by, at=errand.asked_at)
    note_stage(errand, "papers")
    Errand.objects.filter(kind=APPLY).update(kept=b"")  # the papers of former plans are out of date
    end_errand(errand, result={"plan": applied.pk}, kept=_papers(cared_for(made)))


def ask_what_if(errand: Errand) -> None:
    """Plan before and after a change, and keep the lines that differ; nothing else is stored.

    Raises:
        Refusal: the change names something that is not there, or can't be read.
    """
    day = date.fromisoformat(errand.given["as_of"])
    with one_moment():
        sheets, beside = sheets_from_records(day), _beside(day)
    changed = CHANGES[errand.given["change"]](sheets, errand.given)
    book, book_then = what_if.read_both(sheets, changed)
    before = plan(book, as_of=day, **beside)
    note_stage(errand, "as it is")
    after = plan(book_then, as_of=day, **beside)
    lines = what_if.differences(before, after)
    jobs = {one.job: one for one in after.jobs}
    marks, marks_before = _marks(after), _marks(before)
    moved = [
        {"job": one.job, "order_by": marks.get(one.job, []), "order_by_before": marks_before.get(one.job, []),
         "before": one.answer, "after": jobs[one.job].answer, "short": jobs[one.job].short_pieces,
         "staged_before": str(one.staged_by or ""), "staged_after": str(jobs[one.job].staged_by or "")}
        for one in before.jobs
        if (one.answer, one.short_pieces, one.staged_by, marks_before.get(one.job))
        != (jobs[one.job].answer, jobs[one.job].short_pieces, jobs[one.job].staged_by, marks.get(one.job))
    ]  # fmt: skip
    days = {row["line"]: (row["order_by"], row["too_late"] == YES) for row in after.shortages.to_dict("records")}
    told = [{**asdict(one), "order_by": days.get(one.line, ("", False))} for one in lines[:MOST_CHANGES]]
    end_errand(errand, result={"jobs": moved, "lines": told, "count": len(lines)})


def count_most_kits(errand: Errand) -> None:
    """How many kits could be completed if only their number counted, and which near jobs would pay for it or win."""
    day = date.fromisoformat(errand.given["as_of"])
    with one_moment():
        sheets, beside = sheets_from_records(day), _beside(day)
    made = plan(read_book(sheets), as_of=day, count_most=True, **beside)
    most = made.most_kits
    if most is None:
        raise TypeError("a plan that counts tells what it counted")
    result = {
        "by_plan": most.by_plan, "most": most.most, "status": most.status, "near_until": most.near_until.isoformat(),
        "jobs": most.changed.to_dict("records"),
    }  # fmt: skip
    end_errand(errand, result=result)


def _marks(made: Plan) -> dict[str, list[str]]:
    """Until when what each job lacks can be ordered, in words."""
    columns = (made.shortages[name].astype(str) for name in ("job", "line", "stock_code", "order_by", "too_late"))
    return {job: [one.words for one in marks] for job, marks in order_marks(zip(*columns, strict=True)).items()}


class _Beside(TypedDict):
    """What a plan reads of the records beside the sheets."""

    earlier: pd.DataFrame | None
    due_back: Mapping[tuple[str, str], int]
    past_dates: Sequence[PastDate]


def _beside(day: date) -> _Beside:
    return {"earlier": _earlier(), "due_back": due_back(day), "past_dates": past_dates()}


def _planned(errand: Errand, sheets: RawBook, day: date, beside: _Beside) -> Plan:
    return plan(read_book(sheets), as_of=day, progress=lambda stage: note_stage(errand, stage), **beside)


def _earlier() -> pd.DataFrame | None:
    promises = open_promises()
    return None if promises.empty else promises


def _told(made: Plan) -> object:
    return made.summary["jobs"]


def _papers(made: Plan) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        written = write_documents(made, Path(folder))
        files = [(path.name, path.read_bytes()) for path in written]
    return packed_files([*files, (PLAN_FILE, packed_plan(made))])


def kept_plan(errand: Errand) -> Plan:
    """The plan whose papers an errand keeps.

    Raises:
        KeyError: it keeps papers alone.
    """
    content = unpacked_file(bytes(errand.kept), PLAN_FILE)
    made_by = Errand.objects.get(pk=errand.given["plan"])
    return unpacked_plan(content, unpacked_sheets(bytes(made_by.kept)))
