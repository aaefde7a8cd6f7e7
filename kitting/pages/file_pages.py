"""Send planning sheets, answer the questions about their cells in place, compare, and take them in."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpResponse
from django.urls import reverse

from kitting.calculation.questions import NOTE
from kitting.calculation.sheets.answers import WHOLE_ROW
from kitting.calculation.sheets.headers import UNKNOWN
from kitting.errands.keeping import packed_files
from kitting.errands.loading import LOAD, LOOK, answer
from kitting.errors import Refusal
from kitting.models import Errand, KeptLayout
from kitting.pages.asked import Asked, page, refused
from kitting.pages.layout_pages import ListSeen
from kitting.pages.planning_pages import RESULTS, ask, errand_by_number, watched
from kitting.pages.tables import Cell, Table, figure, link
from kitting.roles import DO
from kitting.selectors.cutovers import frozen_among

LARGEST_FILE = 64_000_000  # bytes of all files sent at once; a workbook of 100,000 runs has about a tenth of it
_SHOWN = 20
_RUNS_SHOWN = 12
_ROWS_SHOWN = 50  # of questions that read the same
MOST_DRAWN = 200  # questions on one page


def files(asked: Asked) -> HttpResponse:
    """Send a workbook, or CSV files named after their sheets; what was sent lately."""
    if asked.request.method == "POST":
        sent = asked.request.FILES.getlist("files")
        if not sent:
            return refused(asked, Refusal("no-file", "Choose a workbook (.xlsx) or CSV files.", {}), reverse("files"))
        size = sum(one.size or 0 for one in sent)
        if size > LARGEST_FILE:
            message = f"These files hold {size // 1_000_000} MB; {LARGEST_FILE // 1_000_000} MB are the most."
            return refused(asked, Refusal("file-too-big", message, {"bytes": size}), reverse("files"))
        names = str(sent[0].name) if len(sent) == 1 else f"{len(sent)} sheets from {sent[0].name}"
        content = packed_files((str(one.name), one.read()) for one in sent)
        return ask(asked, LOOK, {"answers": []}, file_name=names, file=content)
    found = Errand.objects.filter(kind__in=(LOOK, LOAD)).order_by("-pk").defer("file", "kept", "result")[:_SHOWN]
    rows = [
        [link(one.file_name, "file" if one.kind == LOOK else "errand", one.pk),
         one.kind, one.asked_by, one.state, one.message or "–"]
        for one in found
    ]  # fmt: skip
    table = Table("Lately", ("File", "What", "By", "State", "Said"), rows, "No file was sent on these pages yet.")
    return page(asked, "files.html", {"table": table, "may_start": asked.actor.may("schedule", DO)})


def file_page(asked: Asked, number: str) -> HttpResponse:
    """A file that was looked at: what is good, what is asked; answers are typed beside the question."""
    errand = errand_by_number(number, LOOK)
    if asked.request.method != "POST":
        return look_result(asked, errand)
    whole = Errand.objects.get(pk=errand.pk)
    answers = [*whole.given.get("answers", ()), *_typed(asked, errand)]
    said = whole.given.get("said", {}) | {
        label: asked.text(f"said-{label}") for label in errand.result.get("to_say", ())
    }
    given: dict[str, object] = {"answers": answers, "said": said}
    left_out = _unknown(errand)
    if asked.text("store") and left_out and not asked.text("left-out"):
        message = f"Say that {', '.join(left_out)} are left out on purpose, or correct the headings and send it again."
        return refused(
            asked, Refusal("unknown-columns", message, {"columns": left_out}), reverse("file", args=[number])
        )
    if asked.text("store"):
        given["reason"] = asked.text("reason")
        given["layouts"] = errand.result.get("layouts", [])  # those that it was looked at with, whatever is live now
    return ask(asked, LOAD if asked.text("store") else LOOK, given, file_name=whole.file_name, file=bytes(whole.file))


def _typed(asked: Asked, errand: Errand) -> list[dict[str, str]]:
    """Answers of this form: of each question what its own field reads, else what was said of all that read so."""
    found = []
    for group in _groups(errand.result.get("questions", ())):
        for question in group:
            value = asked.text(f"answer-{question['at']}") or asked.text(f"all-{group[0]['at']}")
            if value:
                found.append(answer(question, value, by=asked.actor.name, on=asked.today))
    return found


def _unknown(errand: Errand) -> list[str]:
    """Columns of the file that are none of ours, which are left out only when told to."""
    found = (one for one in errand.result.get("questions", ()) if one["problem"] == UNKNOWN)
    return [f"{one['read']} ({one['sheet']})" for one in found]


def _groups(questions: Sequence[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """Questions with their numbers; those about one column that read the same and say the same stand together."""
    groups: dict[tuple[object, ...], list[dict[str, Any]]] = {}
    for at, one in enumerate(questions):
        alone = at if one["column"] in ("", WHOLE_ROW) else ""
        key = (*(one[name] for name in ("sheet", "column", "read", "problem", "suggestion", "severity")), alone)
        groups.setdefault(key, []).append({**one, "at": at})
    return list(groups.values())


def look_result(asked: Asked, errand: Errand) -> HttpResponse:
    """What reading a file found."""
    if not errand.ended or not errand.result:
        return watched(asked, errand)
    heads = ("Sheet", "Rows", "Good", "To ask about", "Refused")
    rows = [
        [one["sheet"], *(figure(one[name]) for name in ("rows", "good", "asked", "refused"))]
        for one in errand.result["sheets"]
    ]
    groups = _groups(errand.result["questions"])
    asked_about = [group for group in groups if group[0]["severity"] != NOTE]
    notes = [one for group in groups if group[0]["severity"] == NOTE for one in group]
    drawn = asked_about[:MOST_DRAWN]
    questions = [{**group[0], "all": group, "shown": group[:_ROWS_SHOWN]} for group in drawn]
    kept = {one.pk: str(one) for one in KeptLayout.objects.filter(pk__in=errand.result.get("layouts", ()))}
    context = {
        "errand": errand, "sheets": Table("What was read", heads, rows, "The file holds no sheet."),
        "read_by": [{**one, "name": kept[one["layout"]]} for one in errand.result.get("read_by", ())],
        "not_read": [
            {**one, "headings": ListSeen(one, "").headings}
            for one in errand.result.get("not_read", ())
        ],
        "to_say": errand.result.get("to_say", ()),
        "compared": _compared(errand.result.get("compared", ())),
        "frozen": frozen_among([
            *(one["job"] for one in errand.result.get("compared", ()) if one["is_new"]), *errand.result.get("jobs", ()),
        ]),
        "unknown": _unknown(errand),
        "gone": [one for one in errand.result.get("compared", ()) if one["gone"]],
        "questions": questions, "notes": notes, "not_drawn": len(asked_about) - len(drawn),
        "number": sum(map(len, asked_about)), "may_store": asked.actor.may("sheets", DO),
    }  # fmt: skip
    return page(asked, "file.html", context)


def _compared(found: Sequence[dict[str, Any]]) -> Table:
    """What storing would do to each job's schedule."""
    rows = [
        [link(one["job"], "job", one["job"]), one["changes"] if one["is_new"] else "as it is live now",
         _runs(one["new"]), Cell(_runs(one["changed"]), note=_differences(one.get("differs", {}))), _runs(one["gone"]),
         ", ".join(one["bags"]) or "–"]
        for one in found
    ]  # fmt: skip
    heads = ("Job", "Changes", "New runs", "Changed runs", "Gone runs", "Bags it touches")
    return Table("Schedules, compared with those that are live", heads, rows, "The file holds no cable schedule.")


def _differences(runs: Mapping[str, Sequence[str]]) -> str:
    """What is another in each changed run, as far as it is drawn."""
    return ". ".join(f"Run {run}: {'; '.join(told)}" for run, told in [*runs.items()][:_RUNS_SHOWN])


def _runs(runs: Sequence[str]) -> str:
    more = f" and {len(runs) - _RUNS_SHOWN} more" if len(runs) > _RUNS_SHOWN else ""
    return ", ".join(runs[:_RUNS_SHOWN]) + more or "–"


def load_result(asked: Asked, errand: Errand) -> HttpResponse:
    """What became of each sheet and schedule."""
    result = errand.result
    heads = ("Sheet", "New", "Changed", "Same", "Withdrawn", "Not on the sheet, staying")
    names = ("new", "changed", "same", "withdrawn", "staying")
    rows = [[one["sheet"], *(figure(one[name]) for name in names)] for one in result["sheets"]]
    schedules = [
        [link(one["job"], "job", one["job"]), f"revision {one['letter']}",
         one["changes"] if one["new"] else "as before"]
        for one in result["schedules"]
    ]  # fmt: skip
    compared = ("Job", "Now live", "Changes")
    empty = "The file holds no cable schedule."
    context = {
        "errand": errand, "sheets": Table("Sheets", heads, rows, "Nothing has changed."),
        "schedules": Table("Schedules, compared by run number", compared, schedules, empty),
        "rules": result["rules"], "unknown": result["unknown"],
        "read_by": result.get("read_by", ()),
    }  # fmt: skip
    return page(asked, "loaded.html", context)


RESULTS[LOAD] = load_result
