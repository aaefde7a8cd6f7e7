"""Parsers of voltage classes and insulation levels.

Classes are text in two families that never match each other: the North American numbers (ICEA S-94-649 for cables,
IEEE 386 and IEEE 404 for connectors) and U0/U(Um) of IEC 60183 and IEC 60502-2.
"""

import re

from kitting.calculation.published_tables import table_rows
from kitting.calculation.questions import ASK, REFUSE
from kitting.calculation.sheets.parsers import CellDoubt, Parser, Setting, several

_NORTH_AMERICAN = tuple(dict.fromkeys(row["class_kv"] for row in table_rows("insulation_walls")))
_IEC = tuple(row["class_kv"] for row in table_rows("iec_rated_voltages"))
_BY_U0_U = {name.split("(")[0]: name for name in _IEC}
_WORDS = f"a class: {', '.join(_NORTH_AMERICAN)} or U0/U(Um) such as 12/20(24)"
_LEVELS = (100, 133, 173)


def _read_class(text: str, _: Setting) -> str:
    compact = re.sub(r"\s+|kV", "", text, flags=re.IGNORECASE)
    if compact in _NORTH_AMERICAN or compact in _IEC:
        return compact
    if compact in _BY_U0_U:
        return _BY_U0_U[compact]
    options = tuple(name for name in _IEC if compact in re.split(r"[/()]", name))
    if options:
        choice = tuple((name, name) for name in options)
        raise CellDoubt("alone is not a class", f"{' or '.join(options)}?", ASK, choice)
    parts = compact.split("/")
    if len(parts) > 1 and set(parts) <= set(_NORTH_AMERICAN):
        raise CellDoubt("runs classes together", f"{'; '.join(parts)}?", ASK)
    raise CellDoubt("is not a class", _WORDS, REFUSE)


CLASS = Parser(_WORDS, _read_class)
CLASSES = several(CLASS)


def _read_level(text: str, setting: Setting) -> int | str:
    percent = re.fullmatch(r"([0-9]+)\s*%?", text)
    if percent is not None and int(percent[1]) in _LEVELS:
        return int(percent[1])
    designation = re.sub(r"\s+|kV", "", text, flags=re.IGNORECASE)
    if designation in _IEC or designation in _BY_U0_U:
        return _read_class(text, setting)
    raise CellDoubt("is not an insulation level", "100, 133, 173 % or U0/U(Um) such as 12/20(24)", REFUSE)


LEVEL = Parser("100, 133, 173 % or U0/U(Um)", _read_level)
