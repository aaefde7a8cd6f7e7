"""The days on which a depot does not work."""

from datetime import date
from typing import Any

from inventory.models import Depot
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.parsers import Setting

_CLOSED_DAYS = SHEETS["depots"].by_field["closed_days"].parser


def closed_days(depot: Depot) -> frozenset[date]:
    """Days on which a depot is closed beside weekends, read as its sheet writes them."""
    days: Any = _CLOSED_DAYS.read(depot.closed_days, Setting()) if depot.closed_days else ()
    return frozenset(days)
