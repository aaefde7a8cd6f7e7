"""Parsers of the trade's own facts: lengths, phases, conductor sizes, classes, interfaces, contents."""

import re
from collections.abc import Callable
from decimal import Decimal

from kitting.calculation.conductor_sizes import ConductorSize, SizeSet, parse_size, parse_size_set
from kitting.calculation.doubts import Doubt
from kitting.calculation.interfaces import INTERFACES
from kitting.calculation.kinds import KINDS, POSITION_KINDS
from kitting.calculation.lengths import NM_PER_MM, NM_PER_UNIT, both, inch_text, parse_length, unit_name
from kitting.calculation.price_breaks import PriceBreak
from kitting.calculation.quantities import as_decimal, thousandths
from kitting.calculation.questions import ASK, REFUSE
from kitting.calculation.sheets.parsers import (
    CODE,
    CellDoubt,
    Parser,
    Setting,
    exact_number,
    intact_text,
    loose,
    plain,
    several,
    word,
)
from kitting.calculation.voltage_classes import parse_class
from kitting.calculation.weights import NG_PER_KG, WEIGHT_UNITS, parse_weight

_HEAVIEST_NG = 1_000 * NG_PER_KG
_FIRST_BREAK, _LAST_BREAK = 2, 1_000_000  # purchase units: one is the price itself
_MOST_PIECES = 1_000_000_000  # thousandths: no store counts a million pieces of one code
_UNIT_SPELLINGS = ("in", "inch", "inches", '"', "mil", "mils", "mm", "cm", "m", "ft", "feet")
LENGTH_UNITS = {spelling: unit for spelling in _UNIT_SPELLINGS if (unit := unit_name(spelling)) is not None}
_SIZE_UNITS = {"awg": "AWG", "kcmil": "kcmil", "mcm": "kcmil", "mm2": "mm2", "mm²": "mm2"}


def _read_with(read: Callable[[str], object]) -> Callable[[str, Setting], object]:
    """Read by a function that knows no setting; its doubts are graded."""

    def reader(text: str, _: Setting) -> object:
        try:
            return read(text)
        except Doubt as doubt:
            raise graded(doubt) from doubt

    return reader


def graded(doubt: Doubt) -> CellDoubt:
    """The doubt with its severity: asked where there is a suggestion, else refused."""
    if isinstance(doubt, CellDoubt):
        return doubt
    suggestion = f"{doubt.suggestion}?" if doubt.suggestion else ""
    return CellDoubt(doubt.problem, suggestion, ASK if suggestion else REFUSE)


def length(what: str, low_mm: str, high_mm: str, unit: str = "mm") -> Parser:
    """A length as nanometres, from ``low_mm`` to ``high_mm``; outside, another unit is suggested if that fits.

    Args:
        what: the thing measured, in words: ``diameter over insulation``.
        low_mm: least possible length in mm.
        high_mm: greatest possible length in mm.
        unit: unit in which our own sheets write it.
    """
    low, high = (int(Decimal(bound) * NM_PER_MM) for bound in (low_mm, high_mm))

    def read(text: str, setting: Setting) -> int:
        try:
            found = parse_length(text, setting.unit)
        except Doubt as doubt:
            raise graded(doubt) from doubt
        if low <= found <= high:
            return found
        shown = text if re.search(r"[^0-9./ ]", text) else f"{text} {setting.unit}"
        raise CellDoubt(f"{shown} is not possible for a {what}", _in_another_unit(text, low, high), REFUSE)

    def write(nm: object) -> str:
        if not isinstance(nm, int):
            raise TypeError(f"a length in nanometres is written here, not {nm!r}")
        return format((Decimal(nm) / NM_PER_UNIT[unit]).normalize(), "f")

    return Parser(f"a length from {low_mm} to {high_mm} mm", read, write, LENGTH_UNITS, unit)


def _in_another_unit(text: str, low: int, high: int) -> str:
    digits = re.match(r"[0-9./ ]*", text)
    amount = digits[0].strip() if digits else ""
    for unit in ("in", "mm", "mil"):
        try:
            nm = parse_length(amount, unit)
        except Doubt:
            continue
        if low <= nm <= high:
            other = f"{inch_text(nm)} in" if unit == "mm" else both(nm).split(" (")[0]
            return f"{amount} {unit} = {other}?"
    return ""


DOI = length("diameter over insulation", "7.62", "76.2")  # 0.3 to 3 in: 8 AWG 5 kV to 2000 kcmil 46 kV cable
JACKET = length("diameter over the jacket", "7.62", "152.4")
WALL = length("wall of insulation", "1", "16")
RUN = length("run of cable", "0", "50000000", "m")


def _read_weight(text: str, setting: Setting) -> int:
    try:
        found = parse_weight(text, setting.unit)
    except Doubt as doubt:
        raise graded(doubt) from doubt
    if not 0 < found <= _HEAVIEST_NG:
        raise CellDoubt("is not possible for a part", "more than 0 and at most 1000 kg", REFUSE)
    return found


def _write_weight(value: object) -> str:
    if not isinstance(value, int):
        raise TypeError(f"a weight in nanograms is written here, not {value!r}")
    return format((Decimal(value) / NG_PER_KG).normalize(), "f")


WEIGHT = Parser("a weight up to 1000 kg", _read_weight, _write_weight, WEIGHT_UNITS, "kg")


def _read_quantity(text: str) -> int:
    found = thousandths(text)
    if found > _MOST_PIECES:
        raise CellDoubt("is more than any store holds", "check the quantity", REFUSE)
    return found


def _write_quantity(value: object) -> str:
    if not isinstance(value, int):
        raise TypeError(f"a quantity in thousandths is written here, not {value!r}")
    return format(as_decimal(value), "f")


QUANTITY = Parser("a quantity, 0 or more", _read_with(_read_quantity), _write_quantity)


def _read_phases(text: str, _: Setting) -> str:
    letters = re.sub(r"[\s,;/&+-]+", "", text).upper() if text[:1] not in "-+" else text
    allowed = "letters out of ABC, such as A, BC or ABC"
    if not set(letters) <= set("ABC"):
        raise CellDoubt("is not a set of phases", allowed, REFUSE)
    if len(set(letters)) != len(letters):
        raise CellDoubt("names a phase twice", allowed, REFUSE)
    return "".join(sorted(letters))


PHASES = Parser("letters out of ABC", _read_phases)


def _read_size(text: str, setting: Setting) -> ConductorSize:
    bare = setting.unit is not None and re.fullmatch(r"[0-9]+(?:/0)?", text)
    try:
        return parse_size(f"{text} {setting.unit}" if bare else text)
    except Doubt as doubt:
        raise graded(doubt) from doubt


def _write_sizes(value: object) -> str:
    if not isinstance(value, SizeSet):
        raise TypeError(f"a set of sizes is written here, not {value!r}")
    return str(value)


SIZE = Parser("a conductor size such as 1/0 AWG, 500 kcmil or 95 mm2", _read_size, str, _SIZE_UNITS)
SIZES = Parser("sizes such as 1/0; 2/0 or a span such as 2 AWG..4/0", _read_with(parse_size_set), _write_sizes)

CLASS = Parser("a class: 15, 25, 35 or U0/U(Um) such as 12/20(24)", _read_with(parse_class))
CLASSES = several(CLASS)
_LEVELS = (100, 133, 173)  # percent, ICEA S-94-649


def _read_level(text: str, _: Setting) -> int | str:
    percent = re.fullmatch(r"([0-9]{3})\s*%?", text)
    if percent is not None and int(percent[1]) in _LEVELS:
        return int(percent[1])
    if "/" in text:
        return str(CLASS.read(text, _))
    raise CellDoubt("is not an insulation level", "100, 133, 173 % or U0/U(Um) such as 12/20(24)", REFUSE)


LEVEL = Parser("100, 133, 173 % or U0/U(Um)", _read_level)

METAL = word(("Al", "Cu"), also={"aluminium": "Al", "aluminum": "Al", "alum": "Al", "copper": "Cu"})
MADE_OF = word(("Al", "Cu", "bimetal"), also={"aluminium": "Al", "aluminum": "Al", "copper": "Cu", "al/cu": "bimetal"})
STRAND = word(("solid", "concentric", "compressed", "compact"))
INSULATION = word(("XLPE", "TR-XLPE", "EPR", "paper"))
SWITCHING = word(("loadbreak", "deadbreak"))
POSITION_SWITCHING = word(("loadbreak", "deadbreak", "fused loadbreak"))
KIND = word(tuple(KINDS), what="a kind of part")
POSITION_KIND = word(tuple(POSITION_KINDS))
SHIELD = Parser("the shield in words, such as concentric neutral or tape", lambda text, _: plain(text).casefold())


def _read_interface(text: str, setting: Setting) -> object:
    amperes = re.search(r"\b([0-9]{3})\s*A\b", text, re.IGNORECASE)
    class_kv = re.fullmatch(r"([0-9]{2})|.*?\b([0-9]{2})\s*kV.*", text, re.IGNORECASE)
    if loose(text) not in _INTERFACE_WORDS and class_kv is not None:
        options = tuple(
            interface.name
            for interface in INTERFACES.values()
            if (class_kv[1] or class_kv[2]) in interface.classes
            and (amperes is None or interface.current_a == int(amperes[1]))
            and ("deadbreak" in text.casefold()) >= ("deadbreak" in interface.name)
        )
        if options:
            raise CellDoubt("does not name one interface", f"{' or '.join(options)}?", ASK, _same(options))
    return _INTERFACE_NAME.read(text, setting)


def _same(options: tuple[str, ...]) -> tuple[tuple[str, object], ...]:
    return tuple((option, option) for option in options)


_INTERFACE_WORDS = frozenset(map(loose, INTERFACES))
_INTERFACE_NAME = word(
    tuple(INTERFACES), what="an interface such as 200 A 15 kV, 600 A 15/25 kV (IEEE 386) or A to F (EN 50181)"
)
INTERFACE = Parser(_INTERFACE_NAME.words, _read_interface)

_CONTENT = re.compile(r"(.+?)(?:\s+[x×]\s*([0-9]{1,3}))?")


def _read_contents(text: str, setting: Setting) -> tuple[tuple[str, int], ...]:
    contents: dict[str, int] = {}
    for part in filter(None, map(plain, re.split(r"[;\n]", text))):
        found = _CONTENT.fullmatch(part)
        code, count = (found[1], int(found[2] or 1)) if found else (part, 1)
        code = str(CODE.read(code, setting))
        if code in contents or count == 0:
            raise CellDoubt(f"names {code} {'twice' if code in contents else '0 times'}", "each code once", REFUSE)
        contents[code] = count
    if not contents:
        raise CellDoubt("lists nothing", "stock codes", REFUSE)
    return tuple(contents.items())


def _write_contents(value: object) -> str:
    if not isinstance(value, tuple):
        raise TypeError(f"contents are written here, not {value!r}")
    return "; ".join(f"{code} x{count}" for code, count in value)


CONTENTS = Parser("stock codes with counts, such as CC-1; JS-1 x2", _read_contents, _write_contents)


def read_price_breaks(text: str) -> tuple[PriceBreak, ...]:
    """Price breaks in the order of their purchase units.

    Raises:
        CellDoubt: what is no price break, or is there twice.
    """
    breaks: dict[int, PriceBreak] = {}
    for part in filter(None, map(plain, re.split(r"[;\n]", text))):
        units, colon, price = (one.strip() for one in part.partition(":"))
        if not colon or not units.isdecimal() or not _FIRST_BREAK <= Decimal(units) <= _LAST_BREAK:
            raise CellDoubt(f"holds {part}, which is no price break", "24: 41.50; 48: 39", REFUSE)
        found = PriceBreak(int(units), exact_number(price))
        if found.price < 0 or found.units in breaks:
            raise CellDoubt(f"gives {units} {'twice' if found.units in breaks else 'a price below 0'}", "", REFUSE)
        breaks[found.units] = found
    if not breaks:
        raise CellDoubt("lists nothing", "24: 41.50; 48: 39", REFUSE)
    return tuple(breaks[units] for units in sorted(breaks))


def _write_breaks(value: object) -> str:
    if not isinstance(value, tuple):
        raise TypeError(f"price breaks are written here, not {value!r}")
    return "; ".join(f"{one.units}: {one.price:f}" for one in value)


PRICE_BREAKS = Parser(
    "purchase units and the price of each from there on, such as 24: 41.50; 48: 39",
    lambda text, _: read_price_breaks(text),
    _write_breaks,
)

_NO_LOT = frozenset({"?", "n/a", "na", "unknown", "none", "-", "lot unknown"})


def _read_lot(text: str, _: Setting) -> str | None:
    return None if text.casefold() in _NO_LOT else intact_text(text)


LOT = Parser("the lot as printed on the carton", _read_lot)
CODES = several(CODE)
REEL_LIST = several(CODE, repeats=True)
METALS = several(METAL)
STRANDS = several(STRAND)
SHIELDS = several(SHIELD)
