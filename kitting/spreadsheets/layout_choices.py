"""A column layout as choices, heading by heading: what may be chosen, what is likely, and the file that says it."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from difflib import get_close_matches

from kitting.calculation.doubts import Doubt
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.columns import Column
from kitting.calculation.sheets.headers import find_column
from kitting.calculation.sheets.parsers import CODE, TEXT, Parser, Setting, loose, plain
from kitting.errors import Refusal
from kitting.spreadsheets.layout_file import (
    END,
    POSITIONS,
    RUN_ENDS,
    SCHEDULE,
    SIDES,
    CellForm,
    ColumnLayout,
    parsed_layout,
)

UNUSED = "not used, on purpose"
SIZE = "conductor size"
SIZE_UNIT = f"{SIZE}: unit beside it"
DATE, NUMBER, WORD, FREE = "date", "number", "word", "text"
JOB = "job"  # never the same in every list: that of next month may be of another job
_NOT_OF_AN_END = ("structure", "position", "phases", "job")
_END_FACTS = tuple(column for column in SHEETS[POSITIONS].columns if column.label not in _NOT_OF_AN_END)
# How lists of others head such columns (common practice); a likeness is shown and never taken by itself.
_ALSO: Mapping[str, tuple[str, ...]] = {
    "run": ("cable", "cable no", "cable number", "run no", "run id", "circuit", "segment", "line no"),
    "job": ("work order", "job no", "project", "wo"),
    "phases": ("ph", "phase", "phase letters"),
    "cables per phase": ("parallel", "cables", "sets"),
    SIZE: ("size", "cross section", "awg"),
    "metal": ("conductor", "material", "conductor material"),
    "insulation": ("insulation material",),
    "wall": ("insulation thickness",),
    "DOI low": ("insulation diameter", "diameter over insulation", "ins dia"),
    "length": ("len", "footage", "route length"),
    "from structure": ("from", "from pad", "from location", "from site", "start"),
    "to structure": ("to", "to pad", "to location", "to site", "end"),
    "reel": ("drum", "reel no"),
    "remarks": ("note", "notes", "comment", "comments"),
    "stock code": ("item", "part", "code"),
}


@dataclass(frozen=True, slots=True)
class Choice:
    """What a heading was said to be.

    Args:
        target: one of ``targets``, ``UNUSED``, or '' while nobody has said.
        unit: the unit of its cells; '' where the cells name their own.
        decimal, dates: as ``layout_file.CellForm``.
        words: their word -> ours.
    """

    target: str = ""
    unit: str = ""
    decimal: str = ""
    dates: str = ""
    words: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Choices:
    """A whole list as said by a person: what it holds, what each heading is, and what is the same in every list."""

    holds: str
    of: Mapping[str, Choice]
    same: Mapping[str, str] = field(default_factory=dict)


def targets(holds: str) -> dict[str, Column]:
    """What a heading of a list that holds this sheet may be, each with the column that reads its cells."""
    found = {column.label: column for column in SHEETS[holds].columns}
    if holds == SCHEDULE:
        found[SIZE_UNIT] = Column(SIZE_UNIT, "", TEXT)
        found |= {f"{side} end: {column.label}": column for side in SIDES for column in _END_FACTS}
    return found


def likely(headings: Iterable[str], holds: str) -> dict[str, tuple[str, str]]:
    """For each heading what it looks like, with the unit it names; headings that look like nothing are left out."""
    sheet = SHEETS[holds]
    names = {loose(column.label): column.label for column in sheet.columns}
    names |= {loose(word): label for label, words in _ALSO.items() if label in names.values() for word in words}
    found: dict[str, tuple[str, str]] = {}
    for heading in headings:
        column, unit = find_column(sheet, heading) or (None, None)
        near = get_close_matches(loose(heading), names, n=1, cutoff=0.8)
        label = column.label if column else names[near[0]] if near else ""
        if label and label not in {taken for taken, _ in found.values()}:
            found[heading] = label, unit or ""
    return found


def sort_of(parser: Parser) -> str:
    """What stands in a column: dates, numbers, words out of a list, or free text."""
    if parser in (TEXT, CODE):
        return FREE
    for text in ("2026-03-05", "1", "2", "12", "60"):  # some columns take small numbers only, some large ones
        try:
            value = parser.read(text, Setting(parser.unit or None))
        except Doubt:
            continue
        first = value[0] if isinstance(value, tuple) else value
        if isinstance(first, date):
            return DATE
        if isinstance(first, int | Decimal) and not isinstance(first, bool):
            return NUMBER
    return WORD


def still_needed(choices: Choices) -> list[str]:
    """Required columns that no heading gives: they are the same in every list, or said with each."""
    chosen = {choice.target for choice in choices.of.values()}
    return [column.label for column in SHEETS[choices.holds].columns if column.required and column.label not in chosen]


def layout_text(choices: Choices, *, sheet: str = "", header_row: int | None = None) -> str:
    """The column layout file that says what was chosen.

    Args:
        choices: what was said.
        sheet: name of the sheet of a workbook on which such a list stands.
        header_row: row of its headings.

    Raises:
        Refusal: ``not-said`` names headings of which nobody has said what they are; ``said-twice``; ``one-end-only``.
    """
    _require_whole(choices)
    known = targets(choices.holds)
    of_target = {choice.target: heading for heading, choice in choices.of.items()}
    asked = [label for label in still_needed(choices) if not choices.same.get(label)]
    where: dict[str, object] = {"sheet": sheet} if sheet else {}
    where |= {"header_row": header_row} if header_row else {}
    columns: dict[str, object] = {}
    for heading, choice in choices.of.items():
        if choice.target in known and ":" not in choice.target:
            label = f"{choice.target} ({choice.unit})" if choice.unit else choice.target
            columns[label] = "{" + heading + "}"
            if choice.target == SIZE and SIZE_UNIT in of_target:
                columns[label] = [f"{{{heading}}} {{{of_target[SIZE_UNIT]}}}", "{" + heading + "}"]
    columns |= {label: text.replace("{", "{{").replace("}", "}}") for label, text in choices.same.items() if text}
    forms = {
        heading: {name: text for name, text in (("decimal", choice.decimal), ("dates", choice.dates)) if text}
        for heading, choice in choices.of.items()
    }
    parts: dict[str, object] = {
        "unused": [heading for heading, choice in choices.of.items() if choice.target == UNUSED],
        "asked": asked,
        "list": where,
        "read": {heading: form for heading, form in forms.items() if form},
        "translate": {heading: dict(choice.words) for heading, choice in choices.of.items() if choice.words},
        choices.holds: columns,
        **_ends(of_target),
    }
    return toml_text(parts)


def _require_whole(choices: Choices) -> None:
    silent = [heading for heading, choice in choices.of.items() if not choice.target]
    if silent:
        message = f"Say of each heading what it is, or that it is {UNUSED}: {', '.join(silent)}."
        raise Refusal("not-said", message, {"headings": silent})
    braces = [heading for heading in choices.of if "{" in heading or "}" in heading]
    if braces:
        message = f"Headings with braces can't be named in a layout: {', '.join(braces)}. Take the braces out."
        raise Refusal("not-said", message, {"headings": braces})
    seen: dict[str, str] = {}
    for heading, choice in choices.of.items():
        if choice.target != UNUSED and choice.target in seen:
            message = f"{seen[choice.target]} and {heading} are both said to be {choice.target}; one of them can be."
            raise Refusal("said-twice", message, {"target": choice.target})
        seen[choice.target] = heading
    keys = [column.label for column in SHEETS[choices.holds].key]
    absent = [label for label in keys if label not in seen and not (label == JOB and len(keys) > 1)]
    if absent:
        message = f"No heading is {', '.join(absent)}: nothing would tell the rows apart."
        raise Refusal("not-said", message, {"targets": absent})
    if SIZE_UNIT in seen and SIZE not in seen:
        raise Refusal("said-twice", f"{seen[SIZE_UNIT]} is a unit of the {SIZE}, and no heading is that.", {})


def _ends(of_target: Mapping[str, str]) -> dict[str, object]:
    """The parts that say what stands at both ends, where any heading does."""
    facts = [column.label for column in _END_FACTS if any(f"{side} end: {column.label}" in of_target for side in SIDES)]
    if not facts:
        return {}
    needed = {f"{side} end: {fact}" for side in SIDES for fact in {*facts, "kind"}} | set(RUN_ENDS)
    absent = sorted(needed - set(of_target))
    if absent:
        message = f"Where a list says what stands at the ends, it says it of both: no heading is {', '.join(absent)}."
        raise Refusal("one-end-only", message, {"targets": absent})
    ends = {
        side: {
            **{fact: of_target[f"{side} end: {fact}"] for fact in facts},
            **{header: of_target[f"{side} {header}"] for header in ("structure", "position")},
        }
        for side in SIDES
    }
    made = ["structure", "position", *(fact for fact in facts if fact != "kind")]
    return {"ends": ends, POSITIONS: {fact: "{" + END + fact + "}" for fact in made}}


def choices_of(layout: ColumnLayout) -> Choices | None:
    """What a person would have chosen to say this layout; None where it says more than can be chosen."""
    holds = layout.main
    said_of: dict[str, tuple[str, str]] = dict.fromkeys(layout.unused, (UNUSED, ""))
    same: dict[str, str] = {}
    for header, template in layout.sheets[holds].items():
        column, unit = find_column(SHEETS[holds], header) or (None, None)
        label = column.label if column else header
        columns = [*dict.fromkeys(template.columns())]
        if columns:
            said_of |= dict(zip(columns, ((label, unit or ""), (SIZE_UNIT, "")), strict=False))
        else:
            same[label] = template.fill({})
    for side, facts in layout.ends.items():
        more = (one for one in facts.items() if one[0] not in _NOT_OF_AN_END)
        said_of |= {heading: (f"{side} end: {fact}", "") for fact, heading in more}
    of = {}
    for heading, (target, unit) in said_of.items():
        form = layout.read.get(heading, CellForm())
        of[heading] = Choice(target, unit, form.decimal, form.dates, layout.translate.get(heading, {}))
    choices = Choices(holds, of, same)
    try:
        text = layout_text(choices, sheet=layout.list_sheet, header_row=layout.header_row)
        return choices if parsed_layout(text.encode(), holds) == layout else None
    except Refusal:
        return None


def toml_text(parts: Mapping[str, object], path: Sequence[str] = ()) -> str:
    """A TOML file of texts, whole numbers, lists and tables; empty parts are left out."""
    lines = [f"{_word(name)} = {_value(value)}" for name, value in parts.items() if not isinstance(value, Mapping)
             and value not in ([], "", None)]  # fmt: skip
    if path and lines:
        lines.insert(0, f"[{'.'.join(map(_word, path))}]")
    tables = [toml_text(value, (*path, name)) for name, value in parts.items() if isinstance(value, Mapping) and value]
    return "\n".join([*lines, *([""] if lines and tables else []), *tables]) + ("\n" if lines and path else "")


def _word(name: str) -> str:
    return name if name.replace("_", "").isalnum() and name.isascii() else _text(name)


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: object) -> str:
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    return str(value) if isinstance(value, int) else _text(plain(str(value)))
