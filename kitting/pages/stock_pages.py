"""Look for items by their facts, and see which dates come near and who could still use those pieces."""

from collections import Counter
from collections.abc import Mapping, Sequence
from urllib.parse import urlencode

from django.http import HttpResponse

from inventory.models import Depot, Item
from kitting.calculation.cable_geometry import GAUGE, Band
from kitting.calculation.conductor_sizes import ConductorSize, parse_size
from kitting.calculation.doubts import Doubt
from kitting.calculation.lengths import both, parse_length
from kitting.calculation.quantities import quantity_text
from kitting.documents.diameters import spans_text
from kitting.pages.asked import Asked, page
from kitting.pages.drawing import Fit, fit
from kitting.pages.tables import Cell, Table, figure, link
from kitting.roles import DO
from kitting.selectors.bag_contents import bare
from kitting.selectors.lot_names import lot_address
from kitting.selectors.lots import Use, uses_ahead
from kitting.selectors.stock_search import Wanted, choices, find_items, ranges_over_insulation
from kitting.selectors.stock_sums import FREE, OWNED, Sums, spots, sums
from kitting.services.note_looking import note_dates_seen

ON_A_PAGE = 25
_UNITS = ("in", "mm")


def lot_cell(code: str, number: str, note: str = "") -> Cell:
    """A lot, which leads to its page."""
    return link(number or "unknown", "lot", lot_address(code, number), note=note)


def stock(asked: Asked) -> HttpResponse:
    """Items by their facts; without any, what may be asked."""
    problems: list[str] = []
    unit = asked.text("unit") if asked.text("unit") in _UNITS else _UNITS[0]
    diameter, size = _diameter(asked, unit, problems), _size(asked, problems)
    names = ("words", "kind", "class", "interface", "metal")
    given = {name: asked.text(name) for name in names}
    is_asked = any(given.values()) or diameter is not None or size is not None
    found: Sequence[Item] = ()
    if is_asked and not problems:
        found = find_items(
            Wanted(
                words=given["words"], kind=given["kind"], class_kv=given["class"], interface=given["interface"],
                metal=given["metal"], diameter_nm=diameter, size=size,
            )
        )  # fmt: skip
    start = _start(asked, len(found))
    shown = found[start : start + ON_A_PAGE]
    context = {
        "given": given, "diameter": asked.text("diameter"), "size": asked.text("size"), "unit": unit,
        "units": _UNITS, "choices": choices(), "problems": problems, "is_asked": is_asked and not problems,
        "table": _table(asked, shown, len(found)) if is_asked and not problems else None,
        "fits": _fits(shown, diameter), "told": both(diameter, inches_first=unit == "in") if diameter else "",
        "pages": _pages(asked, start, len(found)),
    }  # fmt: skip
    return page(asked, "stock.html", context)


def _diameter(asked: Asked, unit: str, problems: list[str]) -> int | None:
    """Nanometres; a unit that is typed with the number wins over the switch."""
    text = asked.text("diameter")
    try:
        return parse_length(text, unit) if text else None
    except Doubt as doubt:
        problems.append(_problem("Diameter over insulation", text, doubt))
        return None


def _size(asked: Asked, problems: list[str]) -> ConductorSize | None:
    text = asked.text("size")
    try:
        return parse_size(text) if text else None
    except Doubt as doubt:
        problems.append(_problem("Conductor size", text, doubt))
        return None


def _problem(what: str, text: str, doubt: Doubt) -> str:
    return f"{what} reads {text!r}: {doubt.problem}{f'; try {doubt.suggestion}' if doubt.suggestion else ''}."


def _start(asked: Asked, number: int) -> int:
    text = asked.text("from")
    start = int(text) if text.isascii() and text.isdigit() else 0
    return start if start < number else 0


def _pages(asked: Asked, start: int, number: int) -> list[tuple[str, str]]:
    """Words and address of the page before and the page after."""
    kept = {name: text for name, text in asked.request.GET.items() if name != "from" and text}
    steps = (("Before", start - ON_A_PAGE), ("More", start + ON_A_PAGE))
    return [
        (f"{word}: {at + 1} to {min(at + ON_A_PAGE, number)} of {number}", f"?{urlencode({**kept, 'from': at})}")
        for word, at in steps
        if 0 <= at < number
    ]


def _table(asked: Asked, items: Sequence[Item], number: int) -> Table:
    depots = [*Depot.objects.order_by("depot").values_list("depot", flat=True)]
    totals = sums(spots(items, today=asked.today))
    rows = [
        [
            link(one.stock_code, "item", one.stock_code, note=_named(one)),
            Cell(one.kind, note=", ".join(filter(None, (_kv(one.classes_kv), one.interface, one.state)))),
            Cell(spans_text([*ranges_over_insulation(one)]) or "–", note=_conductor(one)),
            *(_there(totals, one, depot) for depot in depots),
        ]
        for one in items
    ]
    heads = ("Stock code", "Kind", "Holds over insulation", *(f"Depot {depot}" for depot in depots))
    plural = "item" if number == 1 else "items"
    empty = "No item has all of these facts. Leave one out: a diameter must lie inside an item's range, ends included."
    return Table(f"{number} {plural}", heads, rows, empty)


def _named(item: Item) -> str:
    old = ", ".join(sorted(one.code for one in item.old_codes.all()))
    return f"{item.called}{f'; old code {old}' if old else ''}"


def _kv(classes: str) -> str:
    return f"{classes} kV" if classes else ""


def _conductor(item: Item) -> str:
    sides = ((item.conductor_sizes, item.metals), (item.conductor_sizes_2, item.metals_2))
    return " and ".join(" ".join(filter(None, (sizes, metals))) for sizes, metals in sides if sizes)


def _there(totals: Sums, item: Item, depot: str) -> Cell:
    shares = totals.get((item.stock_code, depot), Counter())
    if not shares.total():
        return figure("–")
    theirs = f", and {bare(shares[OWNED])} of the supplier's own" if shares[OWNED] else ""
    return figure(f"{bare(shares[FREE])} free", note=f"of {quantity_text(shares.total(), item.stock_unit)}{theirs}")


def _fits(items: Sequence[Item], diameter: int | None) -> list[tuple[str, Fit]]:
    """The picture of each range that holds the diameter."""
    if diameter is None:
        return []
    band = Band(diameter, diameter, GAUGE)
    return [
        (one.stock_code, fit(part, band, over_what="insulation", estimates="accept"))
        for one in items
        for part in ranges_over_insulation(one)
    ]


def dates(asked: Asked) -> HttpResponse:
    """Pieces whose date comes within 30, 60 and 90 days or has passed, with the jobs that have or could use them."""
    if any(asked.actor.may(work, DO) for work in ("warehouse", "order sheet")):  # whose weekly task it is
        note_dates_seen(actor=asked.actor, at=asked.at, since=asked.week_began)
    groups: dict[str, list[Use]] = {}
    for use in uses_ahead(today=asked.today):
        groups.setdefault(use.ageing.within, []).append(use)
    tables = [_ageing(within, uses) for within, uses in groups.items()]
    return page(asked, "stock_dates.html", {"tables": tables})


def _ageing(within: str, uses: Sequence[Use]) -> Table:
    heads = ("Use by", "Stock code", "Lot", "Place", "Pieces", "Promised to", "Could be used by")
    words: Mapping[str, str] = {"expired": "Out of date", "date missing": "Dated stock without a date"}
    return Table(words.get(within, f"Within {within}"), heads, [_use(use) for use in uses], "")


def _use(use: Use) -> list[Cell]:
    one = use.ageing.lying
    held = "on hold" if one.hold or one.place_kind == "hold" else ""
    return [
        Cell(one.use_by or "no date"),
        link(one.stock_code, "item", one.stock_code),
        lot_cell(one.stock_code, one.lot),
        Cell(f"{one.depot}/{one.place}", note=", ".join(filter(None, (one.place_kind, one.job, held)))),
        figure(bare(one.quantity)),
        Cell(", ".join(use.promised_to) or "nobody"),
        Cell(", ".join(use.could_use) or "no job ahead"),
    ]
