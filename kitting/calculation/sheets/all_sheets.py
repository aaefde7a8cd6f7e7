"""All sheets that a book may hold, in the order in which they are printed."""

from collections.abc import Mapping
from types import MappingProxyType

from kitting.calculation.sheets.columns import Column, Rows, Sheet
from kitting.calculation.sheets.date_parsers import DATE
from kitting.calculation.sheets.network_sheets import (
    BAG_DEPOTS,
    CABLE_TYPES,
    DEPOTS,
    JOBS,
    POSITIONS,
    REELS,
    SCHEDULE,
    SYSTEMS,
    TRANSFERS,
)
from kitting.calculation.sheets.parsers import TEXT
from kitting.calculation.sheets.stock_sheets import ADDED_LINES, ITEMS, LEVELS, ORDERS, PINS, STAND_INS, STOCK

RULES = "rules "  # a sheet named so, with the table's name behind, holds a decision table

POLICIES = Sheet(
    "policies",
    (
        Column("policy", "policy", TEXT, required=True, key=True),
        Column("value", "value", TEXT, required=True),
    ),
    rows=Rows.WHOLE,
)

ANSWERS = Sheet(
    "answers",
    (
        Column("sheet", "sheet", TEXT, required=True),
        Column("key", "key", TEXT, required=True),
        Column("column", "column", TEXT, required=True),
        Column("read", "read", TEXT),
        Column("value", "value", TEXT, required=True),
        Column("by", "by", TEXT, required=True),
        Column("on", "on", DATE, required=True),
    ),
    rows=Rows.WHOLE,
)

SHEETS: Mapping[str, Sheet] = MappingProxyType(
    {
        sheet.name: sheet
        for sheet in (
            POLICIES, DEPOTS, TRANSFERS, SYSTEMS, CABLE_TYPES, REELS, POSITIONS, JOBS, BAG_DEPOTS, SCHEDULE,
            ITEMS, LEVELS, STOCK, ORDERS, STAND_INS, PINS, ADDED_LINES, ANSWERS,
        )
    }
)  # fmt: skip


def template_headers(sheet: str) -> tuple[str, ...]:
    """Headers of an empty sheet of this name as our own books print them, lengths with their unit.

    Raises:
        KeyError: no such sheet is declared.
    """
    return tuple(column.header for column in SHEETS[sheet].columns)
