"""Say what the headings of a list are, once for its shape; look at the layouts that are kept, withdraw them."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpResponse
from django.urls import reverse

from kitting.calculation.doubts import Doubt
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.columns import Column
from kitting.calculation.sheets.parsers import Setting
from kitting.errands.loading import LOOK
from kitting.errors import Refusal
from kitting.models import Errand, KeptLayout
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, page
from kitting.pages.planning_pages import ask, errand_by_number
from kitting.pages.tables import Cell, Table, link
from kitting.pages.typed import back_with_typed
from kitting.roles import DO
from kitting.selectors.layouts import all_layouts, layout_by_number
from kitting.services.keep_layouts import keep_layout, withdraw_layout
from kitting.spreadsheets.layout_choices import (
    DATE,
    JOB,
    NUMBER,
    UNUSED,
    WORD,
    Choice,
    Choices,
    choices_of,
    layout_text,
    likely,
    sort_of,
    still_needed,
    targets,
)
from kitting.spreadsheets.layout_file import DATES, DECIMALS, MADE_SHEETS, SCHEDULE, ColumnLayout, parsed_layout
from kitting.spreadsheets.list_headings import heading_names, shape_of

_SAMPLES = 3
_EACH_CELL = "each cell"  # names its own unit
LARGEST_LAYOUT = 1_000_000  # bytes


class ListSeen:
    """A list of a file that was looked at, with the row that is taken for its headings."""

    def __init__(self, shown: Mapping[str, Any], row: str) -> None:
        self.sheet: str = shown["sheet"]
        self.layout: int | None = shown.get("layout")
        self.first: list[tuple[int, list[str]]] = [(int(number), texts) for number, texts in shown["first"]]
        numbers = [number for number, _ in self.first]
        fullest = max(self.first, key=lambda one: sum(map(bool, one[1])))[0]
        self.row = int(row) if row.isdigit() and int(row) in numbers else fullest
        self.head = self.first[numbers.index(self.row)][1]
        self._below = [texts for number, texts in self.first if number > self.row]
        above = {text for number, texts in self.first if number <= self.row for text in texts}
        filled = [any(texts[at] for texts in self._below) for at in range(len(self.head))]
        self.names = heading_names(self.head, filled)
        words = zip(self.names, shown["words"], strict=True)
        self.words = {name: [text for text in texts if text not in above] for name, texts in words}
        self.headings = [name for name in self.names if name]

    def samples(self, name: str) -> list[str]:
        """The first texts below a heading."""
        at = self.names.index(name)
        return [texts[at] for texts in self._below if texts[at]][:_SAMPLES]


def columns(asked: Asked, number: str) -> HttpResponse:
    """Say what each heading of a list is, then how its cells are written, and keep that for lists of its shape."""
    errand = errand_by_number(number, LOOK)
    lists = [*errand.result.get("not_read", ()), *errand.result.get("read_by", ())]
    shown = next((one for one in lists if one["sheet"] == (asked.text("sheet") or one["sheet"])), None)
    if shown is None:
        raise Refusal("no-list", "This file holds no list in another form than ours.", {"errand": number})
    seen = ListSeen(shown, asked.text("row"))
    holds = asked.text("holds") if asked.text("holds") in MADE_SHEETS else ""
    if asked.request.method != "POST":
        return _headings_page(asked, errand, seen, holds, _as_kept(seen))
    choices = _choices(asked, seen, holds or SCHEDULE)
    try:
        if asked.request.FILES.get("layout") is not None or asked.text("keep") == "file":
            return _keep(asked, errand, seen, _sent(asked))
        if asked.text("keep"):
            return _keep(asked, errand, seen, _chosen(errand, seen, choices))
        layout_text(choices)
    except ANY_REFUSAL as refusal:
        if asked.text("step") == "cells":
            return _cells_page(asked, errand, seen, choices, refusal)
        return _headings_page(asked, errand, seen, choices.holds, choices, refusal)
    return _cells_page(asked, errand, seen, choices)


def _as_kept(seen: ListSeen) -> Choices | None:
    """What the layout that read the list says, to be changed."""
    if seen.layout is None:
        return None
    kept = layout_by_number(seen.layout)
    return choices_of(parsed_layout(kept.text.encode(), str(kept)))


def _choices(asked: Asked, seen: ListSeen, holds: str) -> Choices:
    known = targets(holds)
    found = {}
    for at, heading in enumerate(seen.headings):
        target = asked.text(f"is-{at}")
        words = {
            text: asked.text(f"word-{at}-{place}")
            for place, text in enumerate(seen.words[heading])
            if asked.text(f"word-{at}-{place}")
        }
        found[heading] = Choice(
            target if target in known or target == UNUSED else "", asked.text(f"unit-{at}"),
            asked.text(f"decimal-{at}"), asked.text(f"dates-{at}"), words,
        )  # fmt: skip
    labels = (column.label for column in SHEETS[holds].columns)
    same = {label: asked.text(f"same-{label}") for label in labels if asked.text(f"same-{label}")}
    return Choices(holds, found, same)


def _headings_page(
    asked: Asked,
    errand: Errand,
    seen: ListSeen,
    holds: str,
    said: Choices | None,
    refusal: Exception | None = None,
) -> HttpResponse:
    """First step: which column each heading is."""
    holds = holds or (said.holds if said else SCHEDULE)
    guesses = likely(seen.headings, holds)
    taken = asked.text("guesses") == "taken"
    rows = []
    for at, heading in enumerate(seen.headings):
        choice = said.of.get(heading, Choice()) if said and said.holds == holds else Choice()
        guess = guesses.get(heading, ("", ""))[0]
        rows.append({
            "at": at, "heading": heading, "samples": ", ".join(seen.samples(heading)) or "blank", "guess": guess,
            "chosen": choice.target or (guess if taken else ""),
            "is_guess": taken and bool(guess) and not choice.target,
        })  # fmt: skip
    context = {
        "errand": errand, "seen": seen, "holds": holds, "rows": rows, "targets": list(targets(holds)),
        "unused": UNUSED, "sheets": MADE_SHEETS, "refusal": refusal, "first": _first_rows(seen), "taken": taken,
        "may_keep": asked.actor.may("sheets", DO), "guessed": len(guesses), "name": asked.text("name"),
    }  # fmt: skip
    return page(asked, "list_columns.html", context)


def _first_rows(seen: ListSeen) -> Table:
    rows = [[f"row {number}", " | ".join(text or "–" for text in _shortened(texts))] for number, texts in seen.first]
    return Table(f"First rows of {seen.sheet}", ("Row", "Cells"), rows, "The list is empty.")


def _shortened(texts: Sequence[str]) -> Sequence[str]:
    """Texts without the blank ones at the end."""
    return texts[: max((at for at, text in enumerate(texts, 1) if text), default=0)]


def _cells_page(
    asked: Asked, errand: Errand, seen: ListSeen, choices: Choices, refusal: Exception | None = None
) -> HttpResponse:
    """Second step: how are the cells of each column written, what is the same in every list, and its name."""
    known, guesses = targets(choices.holds), likely(seen.headings, choices.holds)
    rows = []
    for at, (heading, choice) in enumerate(choices.of.items()):
        column = known.get(choice.target)
        row: dict[str, Any] = {"at": at, "heading": heading, "choice": choice, "asks": False}
        if column is not None:
            row |= _asked_of_cells(seen, heading, choice, column)
            row["unit_named"] = guesses.get(heading, ("", ""))[1]
            row["samples"] = ", ".join(seen.samples(heading)) or "blank"
        rows.append(row)
    needed = still_needed(choices)
    kept = layout_by_number(seen.layout).name if seen.layout else ""
    context = {
        "errand": errand, "seen": seen, "holds": choices.holds, "rows": rows, "refusal": refusal, "decimals": DECIMALS,
        "dates": DATES, "name": asked.text("name") or kept, "kept": kept,
        "same": [(label, choices.same.get(label, "")) for label in needed if label != JOB],
        "each": JOB if JOB in needed else "",
    }  # fmt: skip
    return page(asked, "list_cells.html", context)


def _asked_of_cells(seen: ListSeen, heading: str, choice: Choice, column: Column) -> dict[str, Any]:
    """What must be said about the cells of a heading: unit, decimal mark, order of dates, words that are not ours."""
    sort = sort_of(column.parser)
    units = sorted(set(column.parser.units.values())) if sort == NUMBER else []
    words = []
    if sort == WORD:
        for place, text in enumerate(seen.words[heading]):
            told = _why_not_read(column, text)
            if told:
                words.append({"at": place, "text": text, "told": told, "ours": choice.words.get(text, "")})
    found = {"units": units, "is_number": sort == NUMBER, "is_date": sort == DATE, "words": words}
    return {**found, "asks": any(found.values()), "column": column, "may_stand": column.parser.words}


def _why_not_read(column: Column, text: str) -> str:
    """Why our own reader doubts a word, with what would be right; '' where it reads it."""
    try:
        column.parser.read(text, Setting())
    except Doubt as doubt:
        return f"{doubt.problem} {doubt.suggestion}".strip()
    return ""


def _keep(asked: Asked, errand: Errand, seen: ListSeen, text: str) -> HttpResponse:
    """Keep the layout, and read the file by it; what was said and answered of the file before still stands."""
    _require_fitting(parsed_layout(text.encode(), asked.text("name") or "that you sent"), seen)
    keep_layout(
        name=asked.text("name"), shape=shape_of(seen.head), headings=[name for name in seen.names if name],
        text=text, actor=asked.actor, at=asked.at,
    )  # fmt: skip
    whole = Errand.objects.get(pk=errand.pk)
    given = {"answers": whole.given.get("answers", []), "said": whole.given.get("said", {})}
    return ask(asked, LOOK, given, file_name=whole.file_name, file=bytes(whole.file))


def _sent(asked: Asked) -> str:
    """The layout that was sent as a file.

    Raises:
        Refusal: ``no-file``; ``column-layout``: it is too big.
    """
    sent = asked.request.FILES.get("layout")
    if sent is None:
        raise Refusal("no-file", "Choose the file of the layout (.toml) first.", {})
    if (sent.size or 0) > LARGEST_LAYOUT:
        raise Refusal("column-layout", "This file is too big to be a column layout.", {})
    return str(sent.read(), "utf-8", "replace")


def _chosen(errand: Errand, seen: ListSeen, choices: Choices) -> str:
    """The layout that was said heading by heading.

    Raises:
        Refusal: ``not-said``: units.
    """
    units = _units_not_said(choices)
    if units:
        message = f"Say the unit of {', '.join(units)}, or that each cell names its own."
        raise Refusal("not-said", message, {"headings": units})
    sheet = seen.sheet if errand.file_name.lower().endswith(".xlsx") else ""
    return layout_text(_with_units(choices), sheet=sheet, header_row=seen.row)


def _units_not_said(choices: Choices) -> list[str]:
    known = targets(choices.holds)
    return [
        heading
        for heading, choice in choices.of.items()
        if choice.target in known and not choice.unit
        and sort_of(known[choice.target].parser) == NUMBER and known[choice.target].parser.units
    ]  # fmt: skip


def _with_units(choices: Choices) -> Choices:
    """The choices with '' as the unit of cells that name their own."""
    of = {
        heading: Choice(one.target, "" if one.unit == _EACH_CELL else one.unit, one.decimal, one.dates, one.words)
        for heading, one in choices.of.items()
    }
    return Choices(choices.holds, of, choices.same)


def _require_fitting(layout: ColumnLayout, seen: ListSeen) -> None:
    """Refuse a layout that reads columns the list lacks, or that says nothing of some that it has."""
    there, read = set(seen.headings), layout.columns()
    absent, silent = sorted(read - there), sorted(there - read - layout.unused)
    if absent:
        message = f"The layout reads columns that this list lacks: {', '.join(absent)}."
        raise Refusal("column-layout", message, {"columns": absent})
    if silent:
        message = f"The layout says nothing of {', '.join(silent)}; name them in its unused if that is on purpose."
        raise Refusal("column-layout", message, {"columns": silent})


def layouts(asked: Asked) -> HttpResponse:
    """The layouts that are kept, live ones first."""
    rows: Sequence[Sequence[Cell | object]] = [
        [link(one, "layout", one.pk), "live" if one.live else one.ended_why, one.kept_by,
         one.kept_at.astimezone(asked.zone).date().isoformat()]
        for one in all_layouts()
    ]  # fmt: skip
    empty = "Send a list that is not in our form on the page Files, and say once what its columns are."
    table = Table("Column layouts", ("Layout", "State", "Kept by", "On"), rows, empty)
    return page(asked, "layouts.html", {"table": table})


def layout(asked: Asked, number: str) -> HttpResponse:
    """A layout: what each heading is, its file, and the ways to replace or withdraw it."""
    kept = layout_by_number(number)
    if asked.request.method == "POST":
        here = reverse("layout", args=[number])
        return attempt(asked, lambda: _withdraw(asked, kept), here, back=back_with_typed(asked, here))
    parsed = parsed_layout(kept.text.encode(), str(kept))
    choices = choices_of(parsed)
    rows = [
        [heading, choice.target, choice.unit or "–", choice.decimal or "–", choice.dates or "–",
         "; ".join(f"{theirs} is {ours}" for theirs, ours in choice.words.items()) or "–"]
        for heading in kept.headings
        if choices and (choice := choices.of.get(heading))
    ]  # fmt: skip
    heads = ("Heading", "Is", "Unit", "Decimal mark", "Dates", "Words")
    table = Table(f"A list of {parsed.main}", heads, rows, "It says more than can be shown here; its file says it.")
    context = {
        "kept": kept, "table": table, "same": choices.same if choices else {}, "asked_each": parsed.asked,
        "may_keep": asked.actor.may("sheets", DO),
    }  # fmt: skip
    return page(asked, "layout.html", context)


def _withdraw(asked: Asked, kept: KeptLayout) -> tuple[str, str]:
    withdraw_layout(number=kept.pk, reason=asked.text("reason"), actor=asked.actor, at=asked.at)
    return "WITHDRAWN", f"{kept} reads no more lists; the next one of its shape is asked about."


def layout_toml(asked: Asked, number: str) -> HttpResponse:  # noqa: ARG001 - every view is asked by somebody
    """The layout as the file that commands take."""
    kept = layout_by_number(number)
    name = "".join(letter if letter.isalnum() else "_" for letter in kept.name.lower())
    answer = HttpResponse(kept.text, content_type="application/toml; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}_{kept.revision}.toml"'
    return answer
