"""Parsers of plain cells: text, codes, words, yes/no, numbers, quantities and lists.

A parser reads the trimmed text of a cell that is not blank. It returns the value or raises a Doubt; it never guesses.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from difflib import get_close_matches

from kitting.calculation.doubts import Doubt
from kitting.calculation.questions import ASK, REFUSE

_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")
_COMMA_NUMBER = re.compile(r"[+-]?[0-9]+,[0-9]+")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?")
_TOO_LONG = 30  # characters; no honest number on these sheets has more
_LONGEST_CODE = 100
_POWER_OF_TEN = re.compile(r"[0-9](?:\.[0-9]+)?E[+-][0-9]+", re.IGNORECASE)
_FULL_DATE = re.compile(r"(?:19|20)[0-9]{2}-[0-9]{2}-[0-9]{2}(?:[ T][0-9]{2}:[0-9]{2}(?::[0-9]{2})?)?")
_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_SHORT_DATE = re.compile(rf"[0-9]{{1,2}}-(?:{_MONTHS})|(?:{_MONTHS})-[0-9]{{2}}", re.IGNORECASE)


class CellDoubt(Doubt):
    """A cell that can't be taken as it reads, with how bad it is.

    Args:
        problem: what is wrong, as a clause that follows the cell's text.
        suggestion: what would be right, often as a question.
        severity: ``ask`` or ``refuse``.
        options: (label, value) pairs where only a few values are possible.
    """

    def __init__(
        self, problem: str, suggestion: str = "", severity: str = ASK, options: tuple[tuple[str, object], ...] = ()
    ) -> None:
        super().__init__(problem, suggestion)
        self.severity = severity
        self.options = options


@dataclass(frozen=True, slots=True)
class Setting:
    """What a parser must know beside the text: the header's unit, and the owner's order of day and month."""

    unit: str | None = None
    date_order: str = "asked"


@dataclass(frozen=True, slots=True)
class Parser:
    """A way to read a cell, to write the value back as text, and words for what may stand there.

    ``units`` maps the spellings of units that a header may name in brackets to the unit the parser is then given;
    ``unit`` is the one in which it writes, where that must stand in the header.
    """

    words: str
    read: Callable[[str, Setting], object]
    write: Callable[[object], str] = str
    units: Mapping[str, str] = field(default_factory=dict)
    unit: str = ""


def plain(text: str) -> str:
    """Text with every run of blanks and line ends made one blank."""
    return " ".join(text.split())


def loose(text: str) -> str:
    """Text for comparing words: lower case, with blanks, hyphens and underscores left out."""
    return re.sub(r"[\s_-]+", "", text).casefold()


def did_you_mean(near: Sequence[str]) -> str:
    """The question that offers near names, or nothing."""
    return f"did you mean {' or '.join(near)}?" if near else ""


def intact_text(text: str) -> str:
    """A printed code, with runs of blanks made one; raises a Doubt where a spreadsheet has damaged it."""
    if len(text) > _LONGEST_CODE:
        raise CellDoubt("is too long for a code", f"at most {_LONGEST_CODE} characters", REFUSE)
    if _POWER_OF_TEN.fullmatch(text):
        raise CellDoubt("looks like a code damaged by the spreadsheet (powers of ten)", "write the code as text")
    if text.startswith("##"):
        raise CellDoubt("shows that the column was too narrow when it was saved", "write the code itself", REFUSE)
    return plain(text)


def _read_code(text: str, _: Setting) -> str:
    if _FULL_DATE.fullmatch(text) or _SHORT_DATE.fullmatch(text):
        raise CellDoubt("looks like a code damaged by the spreadsheet (a date)", "write the code as text")
    return intact_text(text)


def _read_whole_code(text: str, setting: Setting) -> str:
    code = _read_code(text, setting)
    if "/" in code:
        raise CellDoubt("has a slash, which parts the names of lines and places", code.replace("/", "-"), REFUSE)
    return code


TEXT = Parser("any text", lambda text, _: text)
CODE = Parser("a code; it stays text", _read_code)
WHOLE_CODE = Parser("a code without a slash; it stays text", _read_whole_code)


def word(allowed: Sequence[str], *, also: Mapping[str, str] | None = None, what: str = "") -> Parser:
    """One word out of a list, whatever its case, blanks and hyphens.

    Args:
        allowed: the words, as they are kept.
        also: other spellings, each with the word it stands for.
        what: name of the list in words, where the list itself is too long to print.
    """
    known = {loose(name): name for name in allowed} | {loose(name): kept for name, kept in (also or {}).items()}
    words = what or f"one of: {', '.join(allowed)}"

    def read(text: str, _: Setting) -> str:
        found = known.get(loose(text))
        if found is None:
            close = get_close_matches(loose(text[:_LONGEST_CODE]), known, n=3, cutoff=0.75)
            near = sorted({known[key] for key in close})
            raise CellDoubt(f"is not {words}", did_you_mean(near), ASK if near else REFUSE)
        return found

    return Parser(words, read)


def _read_yes_no(text: str, _: Setting) -> bool:
    answer = text.casefold()
    if answer in {"yes", "y", "true"}:
        return True
    if answer in {"no", "n", "false"}:
        return False
    raise CellDoubt("is neither yes nor no", "yes or no", REFUSE)


YES_NO = Parser("yes or no", _read_yes_no, lambda value: "yes" if value else "no")


def exact_number(text: str, units: tuple[str, ...] = ()) -> Decimal:
    """The number in a cell, exactly; one of ``units`` may stand behind it. Raises CellDoubt."""
    bare = text
    for unit in units:
        if bare.casefold().endswith(unit.casefold()):
            bare = bare[: -len(unit)].rstrip()
            break
    if len(bare) > _TOO_LONG:
        raise CellDoubt("is too long for a number", "", REFUSE)
    if _NUMBER.fullmatch(bare):
        return Decimal(bare)
    if _GROUPED.fullmatch(bare) and not bare.lstrip("+-").startswith("0"):
        thousands, point = bare.replace(",", ""), bare.replace(",", ".", 1)
        reading = f"{thousands} or {point}" if bare.count(",") == 1 and "." not in bare else thousands
        raise CellDoubt("has a comma", f"{reading}?")
    if _COMMA_NUMBER.fullmatch(bare):
        raise CellDoubt("has a comma for a decimal point", f"{bare.replace(',', '.')}?")
    raise CellDoubt("is not a number", f"a plain number{f' in {units[0]}' if units else ''}", REFUSE)


def whole(least: int, most: int, units: tuple[str, ...] = ()) -> Parser:
    """A whole number from ``least`` to ``most``."""
    words = f"a whole number from {least} to {most}"

    def read(text: str, _: Setting) -> int:
        number = exact_number(text, units)
        if number != number.to_integral_value() or not least <= number <= most:
            raise CellDoubt(f"is not {words}", words, REFUSE)
        return int(number)

    return Parser(words, read)


def number(least: str, most: str, units: tuple[str, ...] = ()) -> Parser:
    """An exact decimal number from ``least`` to ``most``."""
    low, high = Decimal(least), Decimal(most)
    words = f"a number from {least} to {most}{f' {units[0]}' if units else ''}"

    def read(text: str, _: Setting) -> Decimal:
        value = exact_number(text, units)
        if not low <= value <= high:
            raise CellDoubt(f"is not {words}", words, REFUSE)
        return value

    return Parser(words, read, decimal_text)


def decimal_text(value: object) -> str:
    """A Decimal as plain text, digits as they are, never in powers of ten."""
    if not isinstance(value, Decimal):
        raise TypeError(f"a Decimal is written here, not {value!r}")
    return format(value, "f")


def several(one: Parser, *, repeats: bool = False) -> Parser:
    """A list in one cell, its parts separated by semicolons; read as a tuple, each part once unless ``repeats``."""

    def read(text: str, setting: Setting) -> tuple[object, ...]:
        parts = [part.strip() for part in re.split(r"[;\n]", text)]
        values = [one.read(part, setting) for part in parts if part]
        if not values:
            raise CellDoubt("lists nothing", one.words, REFUSE)
        return tuple(values if repeats else dict.fromkeys(values))

    def write(values: object) -> str:
        if not isinstance(values, tuple):
            raise TypeError(f"a tuple is written here, not {values!r}")
        return "; ".join(one.write(value) for value in values)

    return Parser(f"{one.words}; several separated by semicolons", read, write)
