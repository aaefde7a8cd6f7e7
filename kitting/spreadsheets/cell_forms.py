"""Cells of a foreign list, written with another decimal mark or order of the date, as our own sheets write them."""

import re
from collections.abc import Callable
from datetime import time

from kitting.calculation.doubts import Doubt
from kitting.calculation.sheets.date_parsers import MOMENT
from kitting.calculation.sheets.parsers import Setting
from kitting.spreadsheets.layout_file import CellForm

_COMMA = re.compile(r"([+-]?(?:[0-9]+|[0-9]{1,3}(?:\.[0-9]{3})+)),([0-9]+)(\D*)")
_POINT = re.compile(r"([+-]?[0-9]{1,3}(?:,[0-9]{3})+)(\.[0-9]+)?(\D*)")
_HAS_POINT = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)+\D*")


def in_our_form(text: str, form: CellForm) -> str:
    """The text as our sheets write it; as it is where it is not written in the form that the layout names."""
    found = _DECIMALS[form.decimal](text) if form.decimal else text
    return _iso(found, form.dates) if form.dates else found


def contradicts(text: str, form: CellForm) -> bool:
    """Whether a number has a point where the layout says that commas are the decimal mark: it could be a thousand."""
    return form.decimal == "comma" and _HAS_POINT.fullmatch(text) is not None


def _from_comma(text: str) -> str:
    found = _COMMA.fullmatch(text)
    return f"{found[1].replace('.', '')}.{found[2]}{found[3]}" if found else text


def _from_point(text: str) -> str:
    found = _POINT.fullmatch(text)
    if found is None or found[1].lstrip("+-").startswith("0"):
        return text
    return f"{found[1].replace(',', '')}{found[2] or ''}{found[3]}"


_DECIMALS: dict[str, Callable[[str], str]] = {"comma": _from_comma, "point": _from_point}


def _iso(text: str, order: str) -> str:
    try:
        moment = MOMENT.read(text, Setting(date_order=order))
    except Doubt:
        return text
    written = MOMENT.write(moment)
    return written.removesuffix(f" {time(0):%H:%M}") if ":" not in text else written
