"""All sense checks between cells, rows and sheets, in the order in which one may rest on another."""

from collections.abc import Mapping

from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.date_checks import check_dates
from kitting.calculation.sheets.diameter_checks import check_diameters, fill_gauge_readings
from kitting.calculation.sheets.item_checks import (
    check_contents,
    check_levels,
    check_places,
    check_quantities,
    check_repeated_stock,
    check_selectable,
)
from kitting.calculation.sheets.key_checks import check_keys, check_repeats
from kitting.calculation.sheets.position_checks import check_positions
from kitting.calculation.sheets.reading import SheetReading
from kitting.calculation.sheets.reference_checks import (
    check_references,
    check_stock_codes,
    drop_with_items,
    referred_to,
)
from kitting.calculation.sheets.schedule_checks import (
    check_ends,
    check_reels_of_rows,
    check_sizes,
    check_systems,
    check_systems_of_rows,
)

# Which sheets' checks read more of a sheet than its keys: clocks of depots, diameters and sizes, units and old codes.
_READ_BY = {
    "depots": ("jobs",),
    "cable types": ("reels", "schedule"),
    "items": ("levels", "stock", "orders", "stand ins", "pins", "added lines"),
}


def sheets_to_check(changed: str) -> frozenset[str]:
    """The sheets that checks must read after cells beside the keys of one were changed, where all were sound before.

    They are the sheet, those whose checks read these cells, what all of them refer to, step by step, and the policies,
    by which every cell is read; after a change of those it is every sheet.
    """
    if changed == "policies":
        return frozenset(SHEETS)
    read = {"policies"}
    further = {changed, *_READ_BY.get(changed, ())}
    while further:
        read |= further
        further = {named for sheet in further for named in referred_to(sheet)} - read
    return frozenset(read)


def cross_check(readings: Mapping[str, SheetReading]) -> None:
    """Run every check; each asks about cells and rows of the readings."""
    check_references(readings)
    check_stock_codes(readings)
    for name, reading in readings.items():
        if name != "policies":  # policies are read, and repeats found, before everything else
            check_keys(reading)
    check_systems(readings["systems"])
    check_positions(readings["positions"])
    check_dates(readings)
    fill_gauge_readings(readings["reels"])
    check_diameters(readings)
    check_contents(readings["items"])
    check_selectable(readings["items"])
    check_quantities(readings)
    check_levels(readings["levels"])
    check_places(readings["stock"])
    check_repeated_stock(readings["stock"])
    drop_with_items(readings)
    schedule = readings["schedule"]
    check_ends(schedule, readings["positions"])
    check_reels_of_rows(schedule)
    check_sizes(schedule, readings["cable types"])
    check_systems_of_rows(schedule, readings["systems"])
    schedule.mark_unusable()
    check_repeats(schedule)
