"""All sense checks between cells, rows and sheets, in the order in which one may rest on another."""

from collections.abc import Callable, Mapping

from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.date_checks import check_approvals, check_clocks, check_zones
from kitting.calculation.sheets.diameter_checks import (
    check_build,
    check_order,
    check_reels,
    check_widths,
    fill_gauge_readings,
)
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
    NAMING_ITEMS,
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

# Checks in the order in which one may rest on another: each is given the sheet that it asks about, and those of which
# it reads cells besides. So it can read no other, and an edit of such a cell reads the sheet that is asked about.
_CHECKS: tuple[tuple[Callable[..., None], tuple[str, ...]], ...] = (
    (check_systems, ("systems",)),
    (check_positions, ("positions",)),
    (check_zones, ("depots",)),
    (check_clocks, ("jobs", "depots")),
    (check_approvals, ("stand ins",)),
    (fill_gauge_readings, ("reels",)),
    *((check_order, (name,)) for name in ("cable types", "reels", "schedule", "items")),
    (check_widths, ("items",)),
    *((check_build, (name,)) for name in ("cable types", "schedule")),
    (check_reels, ("reels", "cable types")),
    (check_contents, ("items",)),
    (check_selectable, ("items",)),
    *((check_quantities, (name, "items")) for name in ("stock", "orders", "pins", "added lines", "stand ins")),
    *((check_quantities, (name, "items")) for name in ("levels", "items")),
    (check_levels, ("levels",)),
    (check_places, ("stock",)),
    (check_repeated_stock, ("stock",)),
    (check_reels_of_rows, ("schedule",)),
    (check_sizes, ("schedule", "cable types")),
    (check_systems_of_rows, ("schedule", "systems")),
)


def sheets_to_check(changed: str) -> frozenset[str]:
    """The sheets that checks must read after cells beside the keys of one were changed, where all were sound before.

    They are the sheet, those whose checks read these cells, what all of them refer to, step by step, and the policies,
    by which every cell is read; after a change of those it is every sheet.
    """
    if changed == "policies":
        return frozenset(SHEETS)
    read = {"policies"}
    further = {changed, *(asked for _, (asked, *others) in _CHECKS if changed in others)}
    further |= NAMING_ITEMS if changed == "items" else set()
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
    for check, names in _CHECKS:
        check(*(readings[name] for name in names))
    drop_with_items(readings)
    schedule = readings["schedule"]
    check_ends(schedule, readings["positions"])
    schedule.mark_unusable()
    check_repeats(schedule)
