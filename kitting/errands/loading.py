"""Look at a file that was sent, put answers beside its cells, and take it into the records."""

import tempfile
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from kitting.calculation.questions import NOTE, REFUSE, Question
from kitting.calculation.sheets.all_sheets import ANSWERS, SHEETS
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.network_sheets import SCHEDULE
from kitting.calculation.sheets.raw import RawBook, cells_of_row, raw_book, raw_sheet
from kitting.errands.comparing import compared_with_live, jobs_that_change
from kitting.errands.foreign_lists import ForeignLists, is_ours
from kitting.errands.keeping import unpack_files
from kitting.errors import Refusal
from kitting.models import Errand, Person
from kitting.selectors.clock import day_at
from kitting.selectors.sheets import completed
from kitting.services.ask_errands import STORED, end_errand, note_stage, refuse_errand
from kitting.services.keep_answers import with_kept_answers
from kitting.services.load_sheets import load_sheets
from kitting.spreadsheets.raw_joining import joined_sheet, without_known
from kitting.spreadsheets.reading import read_raw_book

LOOK, LOAD = "look at file", "load file"
SAY = "said-with-the-list"


def look_at_file(errand: Errand) -> None:
    """Read a file with the answers given so far: rows that are good, asked about, refused; nothing is stored.

    A list whose headings nobody has told the meaning of, or with which something must be said, ends it with that.

    Raises:
        Refusal: the file can't be read.
    """
    lists, raw = _read(errand)
    not_read = lists.not_read(raw)
    told: dict[str, Any] = {
        "sheets": [], "questions": [], "not_read": not_read, "read_by": lists.read_now(raw),
        "layouts": [one.pk for one in lists.used], "to_say": [],
    }  # fmt: skip
    if not_read and (len(not_read) == len(raw.sheets) or any(one["sheet"] in SHEETS for one in not_read)):
        end_errand(errand, result=told)
        return
    try:
        came = _adopted(errand, lists, raw)
    except Refusal as refusal:
        if refusal.code != SAY:
            raise
        end_errand(errand, result={**told, "to_say": list(refusal.data["columns"])})  # type: ignore[call-overload]
        return
    note_stage(errand, "cells are looked at")
    whole = _with_the_books(came, lists)
    book = read_book(with_kept_answers(whole))
    note_stage(errand, "rows read")
    sheets = _counts(whole, book.questions, came, lists)
    open_ = any(one.severity != NOTE for one in book.questions)
    compared = [] if open_ or SCHEDULE.name not in came.sheets else compared_with_live(book.frames[SCHEDULE.name])
    questions = _told(whole, book.questions)
    jobs = [] if open_ else jobs_that_change(book.frames, came.sheets)
    end_errand(errand, result={**told, "sheets": sheets, "questions": questions, "compared": compared, "jobs": jobs})


def load_file(errand: Errand) -> None:
    """Store what a file says, with its answers: all or nothing.

    Raises:
        Refusal: as ``load_sheets``; open questions are kept with the refusal instead.
    """
    lists, read = _read(errand)
    came = _adopted(errand, lists, read)
    raw = _with_the_books(came, lists)
    note_stage(errand, "storing")
    try:
        actor = Person.objects.get(name=errand.asked_by).actor()
        loaded = load_sheets(
            raw=raw, by=actor.name, at=errand.asked_at, source=errand.file_name, actor=actor,
            reason=errand.given.get("reason", ""), last=lambda: note_stage(errand, STORED),
        )  # fmt: skip
    except Refusal as refusal:
        questions: Sequence[Question] = refusal.data.get("questions", ())  # type: ignore[assignment]
        result = {"sheets": _counts(raw, questions, came, lists), "questions": _told(raw, questions)}
        refuse_errand(errand, refusal.message, result)
        return
    sheets = [
        {"sheet": one.sheet, "new": len(one.new), "changed": len(one.changed), "same": one.same,
         "withdrawn": len(one.withdrawn), "staying": len(one.staying)}
        for one in loaded.sheets
    ]  # fmt: skip
    schedules = [
        {"job": one.job, "letter": one.letter, "new": one.is_new, "changes": str(one.changes)}
        for one in loaded.schedules
    ]
    read_by = list(map(str, lists.used))
    told = {"rules": list(loaded.rules), "unknown": list(loaded.unknown_lots), "read_by": read_by}
    end_errand(errand, result={"sheets": sheets, "schedules": schedules, **told})


def _read(errand: Errand) -> tuple[ForeignLists, RawBook]:
    """The sheets of what was sent, and which of them are lists of others."""
    lists = ForeignLists(errand.given.get("layouts"), errand.given.get("said", {}), day_at(errand.asked_at))
    with tempfile.TemporaryDirectory() as folder:
        paths = unpack_files(bytes(errand.file), Path(folder))
        only = next(iter(paths.values()))
        workbook = len(paths) == 1 and only.suffix.lower() != ".csv"
        lists.is_text = not workbook
        raw = read_raw_book(
            only if workbook else Path(folder),
            lambda sheet, row, rows: _stage(errand, sheet, row, rows),
            lists.header_row,
        )
    return lists, raw


def _adopted(errand: Errand, lists: ForeignLists, raw: RawBook) -> RawBook:
    """The sheets in our own form, with the answers that a person gave on the page behind those in the file."""
    return with_answers(lists.adopted(raw), errand.given.get("answers", ()))


def _stage(errand: Errand, sheet: str, row: int, rows: int) -> None:
    note_stage(errand, f"{sheet}: row {row} of {rows}")


def with_answers(raw: RawBook, answers: Sequence[Mapping[str, str]]) -> RawBook:
    """Sheets with more rows on the sheet of answers."""
    if not answers:
        return raw
    headers = [column.header for column in ANSWERS.columns]
    rows = [[one[column.field] for column in ANSWERS.columns] for one in answers]
    old = raw.sheets.get(ANSWERS.name)
    if old is not None:
        named = [header.strip().casefold() for header in old.headers]
        places = [named.index(header.casefold()) if header.casefold() in named else None for header in headers]
        old_rows = old.cells.itertuples(index=False, name=None)
        rows = [[str(row[at]) if at is not None else "" for at in places] for row in old_rows] + rows
    sheet = raw_sheet(ANSWERS.name, headers, rows)
    return raw_book([*(one for name, one in raw.sheets.items() if name != ANSWERS.name), sheet], raw.notes)


def _with_the_books(came: RawBook, lists: ForeignLists) -> RawBook:
    """What came, read together with the books: the sheets that did not come, and below those that did what they leave.

    A file of three new jobs says nothing of the others: they stand, and what refers to them is no question.
    """
    whole = completed(came, lambda: lists.books)
    named = [name for name in came.sheets if name in SHEETS and SHEETS[name].key and name != SCHEDULE.name]
    if whole is came or not named:
        return whole
    kept, sheets = lists.books.sheets, dict(whole.sheets)
    for name in named:
        if name in kept and is_ours(came.sheets[name]):
            headers = kept[name].headers
            rows = [dict(zip(headers, row, strict=True)) for row in kept[name].cells.itertuples(index=False, name=None)]
            sheets[name] = joined_sheet(name, came.sheets[name], without_known(name, came.sheets[name], rows))
            lists.known[name] = lists.known.get(name, frozenset()) | (
                frozenset(sheets[name].cells.index) - frozenset(came.sheets[name].cells.index)
            )
    return raw_book(sheets.values(), whole.notes)


def _counts(raw: RawBook, questions: Sequence[Question], came: RawBook, lists: ForeignLists) -> list[dict[str, Any]]:
    """Rows of each sheet that came, by what is to be done with them; what the books know already is not counted."""
    rows: dict[str, dict[int, str]] = {}
    for question in questions:
        if question.severity != NOTE:
            worst = rows.setdefault(question.sheet, {})
            worst[question.row] = (
                REFUSE if REFUSE in (worst.get(question.row), question.severity) else question.severity
            )
    found = []
    for name in came.sheets:
        known: AbstractSet[int] = lists.known.get(name, frozenset())
        number = len(raw.sheets[name].cells) - len(known)
        doubts = [worst for row, worst in rows.get(name, {}).items() if row not in known]
        refused = doubts.count(REFUSE)
        found.append({
            "sheet": name, "rows": number, "good": number - len(doubts),
            "asked": len(doubts) - refused, "refused": refused,
        })  # fmt: skip
    return found


def _told(raw: RawBook, questions: Sequence[Question]) -> list[dict[str, Any]]:
    """Each question, with the row it speaks of as it was read; not that an answer kept for other files is not used."""
    came = raw.sheets[ANSWERS.name].cells.index if ANSWERS.name in raw.sheets else ()
    asked = (one for one in sorted(questions) if (one.sheet, one.severity) != (ANSWERS.name, NOTE) or one.row in came)
    return [{**asdict(one), "beside": cells_of_row(raw.sheets.get(one.sheet), one.row)} for one in asked]


def answer(question: Mapping[str, Any], value: str, *, by: str, on: date) -> dict[str, str]:
    """A row of the sheet of answers that settles a question."""
    return {
        "sheet": question["sheet"], "key": f"row {question['row']}", "column": question["column"],
        "read": question["read"], "value": value, "by": by, "on": on.isoformat(),
    }  # fmt: skip
