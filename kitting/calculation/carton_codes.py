"""What a maker's carton says in GS1 element strings: item, lot, dates, count.

Application identifiers, their lengths, the check digit, day 00 and the window of two-digit years follow the GS1 General
Specifications (sections on element strings, check digits and dates; read from memory). Both forms are read: brackets as
printed for people, and the raw string of a scanner, in which a field of variable length ends at FNC1, sent as ASCII 29.
"""

import calendar
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from kitting.errors import Refusal

FNC1 = "\x1d"
_SYMBOLOGIES = ("]C1", "]e0", "]d2", "]Q3")
_CENTURY, _WINDOW = 100, 50


@dataclass(frozen=True, slots=True)
class Carton:
    """What a carton's code says; '' or None for what it doesn't.

    Args:
        gtin: of the item inside, 14 digits.
        lot: batch or lot.
        serial: serial number.
        made_on, use_by: dates; one of a month only is its last day.
        count: pieces.
        sscc: serial number of the logistic unit, 18 digits.
        maker_code: additional identification by the maker.
        our_code: the customer's part number, which is our stock code.
    """

    gtin: str = ""
    lot: str = ""
    serial: str = ""
    made_on: date | None = None
    use_by: date | None = None
    count: int | None = None
    sscc: str = ""
    maker_code: str = ""
    our_code: str = ""


@dataclass(frozen=True, slots=True)
class _Field:
    """An application identifier: the fact it fills, how long it is, and how it is read."""

    name: str
    longest: int
    fixed: bool
    digits: bool


_FIELDS: Mapping[str, _Field] = MappingProxyType(
    {
        "00": _Field("sscc", 18, fixed=True, digits=True),
        "01": _Field("gtin", 14, fixed=True, digits=True),
        "02": _Field("gtin", 14, fixed=True, digits=True),
        "10": _Field("lot", 20, fixed=False, digits=False),
        "11": _Field("made_on", 6, fixed=True, digits=True),
        "17": _Field("use_by", 6, fixed=True, digits=True),
        "21": _Field("serial", 20, fixed=False, digits=False),
        "30": _Field("count", 8, fixed=False, digits=True),
        "37": _Field("count", 8, fixed=False, digits=True),
        "240": _Field("maker_code", 30, fixed=False, digits=False),
        "241": _Field("our_code", 30, fixed=False, digits=False),
    }
)


def is_carton(text: str) -> bool:
    """Whether a scanned or typed text has the form of element strings."""
    return text.startswith((*_SYMBOLOGIES, FNC1)) or re.match(r"\(\d{2,4}\)", text) is not None


def read_carton(text: str, *, today: date) -> Carton:
    """The facts of a carton's code.

    Args:
        text: as scanned or typed, in either form.
        today: decides the century of years of two digits.

    Raises:
        Refusal: ``not-a-carton-code`` says which field is wrong and why.
    """
    facts: dict[str, object] = {}
    for identifier, value in _elements(text.strip()):
        field = _FIELDS[identifier]
        read = _READERS.get(field.name, _as_it_is)(identifier, value, today)
        if facts.get(field.name, read) != read:
            raise _wrong(identifier, value, f"{field.name} is there twice and differs")
        facts[field.name] = read
    if not facts:
        raise Refusal("not-a-carton-code", f"{text!r} holds no field that is read here.", {"read": text})
    return Carton(**facts)  # type: ignore[arg-type]  # each reader gives what its fact is


def check_digit(digits: str) -> int:
    """The check digit of a number without it: weights 3, 1, 3, … from the right, to the next ten."""
    total = sum(int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(reversed(digits)))
    return -total % 10


def _elements(text: str) -> Iterator[tuple[str, str]]:
    if text.startswith("("):
        yield from _bracketed(text)
        return
    rest = text
    for symbology in _SYMBOLOGIES:
        rest = rest.removeprefix(symbology)
    while rest := rest.lstrip(FNC1):
        identifier = next((known for known in _FIELDS if rest.startswith(known)), None)
        if identifier is None:
            raise Refusal("not-a-carton-code", f"{rest!r} begins with no field that is read here.", {"read": text})
        rest = rest[len(identifier) :]
        field = _FIELDS[identifier]
        end = field.longest if field.fixed else rest.find(FNC1)
        value, rest = (rest[:end], rest[end:]) if end >= 0 else (rest, "")
        yield identifier, _checked(identifier, value)


def _bracketed(text: str) -> Iterator[tuple[str, str]]:
    if not re.fullmatch(r"(\(\d{2,4}\)[^()]+)+", text):
        raise Refusal("not-a-carton-code", f"{text!r}: write each field as (17)280831.", {"read": text})
    for identifier, value in re.findall(r"\((\d{2,4})\)([^()]+)", text):
        if identifier in _FIELDS:  # others say nothing that is asked here
            yield identifier, _checked(identifier, value.strip())


def _checked(identifier: str, value: str) -> str:
    field = _FIELDS[identifier]
    if len(value) > field.longest or not value or (field.fixed and len(value) != field.longest):
        long = f"{field.longest}" if field.fixed else f"1 to {field.longest}"
        raise _wrong(identifier, value, f"it must be {long} characters long")
    if field.digits and not (value.isascii() and value.isdigit()):
        raise _wrong(identifier, value, "it must be digits")
    return value


def _as_it_is(_identifier: str, value: str, _today: date) -> str:
    return value


def _number(_identifier: str, value: str, _today: date) -> int:
    return int(value)


def _with_check_digit(identifier: str, value: str, _today: date) -> str:
    if check_digit(value[:-1]) != int(value[-1]):
        raise _wrong(identifier, value, "its check digit is wrong: scan it again")
    return value


def _day(identifier: str, value: str, today: date) -> date:
    """A date of six digits; day 00 is the last of the month, years lie within fifty of this one."""
    years, month, day = int(value[:2]), int(value[2:4]), int(value[4:])
    century = today.year - today.year % _CENTURY
    apart = years - today.year % _CENTURY
    if apart > _WINDOW:
        century -= _CENTURY
    elif apart < -_WINDOW + 1:
        century += _CENTURY
    try:
        return date(century + years, month, day or calendar.monthrange(century + years, month)[1])
    except ValueError:  # calendar's error of a month is one too
        raise _wrong(identifier, value, "there is no such day") from None


def _wrong(identifier: str, value: str, why: str) -> Refusal:
    message = f"Field ({identifier}) reads {value!r}: {why}."
    return Refusal("not-a-carton-code", message, {"field": identifier, "read": value})


_READERS: Mapping[str, Callable[[str, str, date], object]] = MappingProxyType(
    {"gtin": _with_check_digit, "sscc": _with_check_digit, "made_on": _day, "use_by": _day, "count": _number}
)
