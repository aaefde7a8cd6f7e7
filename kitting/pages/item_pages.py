"""An item: its facts in both units, where its pieces are, what comes, who has it promised and who lacks it."""

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import BAG, RESERVE, VAN, Balance, Item, Movement
from kitting.calculation.quantities import quantity_text
from kitting.calculation.weights import both_weights
from kitting.documents.diameters import span_text
from kitting.pages.asked import Asked, page
from kitting.pages.cutover_pages import why_cell
from kitting.pages.drawing import steps
from kitting.pages.stock_pages import lot_cell
from kitting.pages.tables import Cell, Table, figure, link
from kitting.roles import APPROVE, ASK, DO, SEE
from kitting.selectors.bag_contents import bare
from kitting.selectors.buying import Lead
from kitting.selectors.item_sheet import Change, ItemSheet, item_sheet
from kitting.selectors.stock_search import ranges_over_insulation
from kitting.selectors.stock_sums import FREE, OWNED, SHARES, Spot, sums


def item_page(asked: Asked, code: str) -> HttpResponse:
    """All of an item; an old code leads to it as well."""
    sheet = item_sheet(code, today=asked.today)
    item = sheet.item
    changes = sheet.changes()
    tables = [_shares(sheet), _places(asked, sheet), _orders(sheet), _promised(sheet), _lacking(sheet),
              _levels(sheet), *_stand_ins(sheet)]  # fmt: skip
    context = {
        "item": item,
        "old": ", ".join(sorted(old.code for old in item.old_codes.all())),
        "facts": [(name, text) for name, text in _facts(item) if text],
        "buying": [(name, text) for name, text in _buying(asked, item) if text],
        "tables": [one for one in tables if one.rows], "nothing": [one.empty for one in tables if not one.rows],
        "line": _line(changes), "picture": steps([one.left for one in changes]) if changes else "",
        "may_ask": any(asked.actor.may("stand-in", level) for level in (ASK, APPROVE)),
        "moves": _moves(asked, sheet.moves),
    }  # fmt: skip
    return page(asked, "item.html", context)


def _facts(item: Item) -> Iterator[tuple[str, object]]:
    yield "Kind", item.kind
    yield "Class", f"{item.classes_kv} kV" if item.classes_kv else ""
    yield "Interface", item.interface
    yield "Gives interface", item.gives_interface
    yield "Current", f"{item.current_a} A{', also 900 A' if item.rated_900 else ''}" if item.current_a else ""
    yield "Switching", item.switching
    yield "Phase to phase", _yes(item.phase_to_phase)
    for number, span in enumerate(ranges_over_insulation(item)):
        yield f"Holds over insulation{', second side' if number else ''}", span_text(span)
    yield "Conductor", " ".join(filter(None, (item.conductor_sizes, item.metals)))
    yield "Conductor, second side", " ".join(filter(None, (item.conductor_sizes_2, item.metals_2)))
    yield "Made of", item.made_of
    yield "Strand", item.strand
    if item.jacket_low_nm is not None and item.jacket_high_nm is not None:
        yield "Holds over jacket", span_text((item.jacket_low_nm, item.jacket_high_nm))
    yield "MCOV", f"{item.mcov_kv.normalize():f} kV" if item.mcov_kv else ""
    yield "Test point", _yes(item.test_point)
    yield "Cable shield", item.shield
    yield "Contains", item.contains
    yield "Ways", item.ways or ""
    yield "Maker", item.maker
    yield "Good for", f"{item.shelf_months} months" if item.shelf_months else ""
    yield (
        "Weighs",
        f"{both_weights(Fraction(item.weight_ng), decimals=3)} a {item.stock_unit}" if item.weight_ng else "",
    )
    yield "In a box", {None: "", 0: "comes in none"}.get(item.per_box, f"{item.per_box} {item.stock_unit}")
    yield "Lots", {"yes": "tracked", "no": "not tracked"}.get(_yes(item.lot_tracked), "")
    yield "State", item.state


def _yes(fact: bool | None) -> str:
    return "" if fact is None else "yes" if fact else "no"


def _buying(asked: Asked, item: Item) -> Iterator[tuple[str, object]]:
    yield "Counted in", item.stock_unit
    if item.per_purchase_unit:
        yield "Bought by", f"{item.purchase_unit} of {quantity_text(item.per_purchase_unit, item.stock_unit)}"
    yield "Supplier", item.supplier
    yield "Supplier's code", item.supplier_code
    yield "Lead", Lead(item.lead_days, item.lead_date).words(asked.today).removeprefix("lead ")
    yield "Least order", quantity_text(item.minimum_order, item.stock_unit) if item.minimum_order else ""
    yield "Orders in steps of", quantity_text(item.order_multiple, item.stock_unit) if item.order_multiple else ""
    if asked.actor.may("prices", SEE) and item.price is not None:
        unit = item.purchase_unit or item.stock_unit
        yield "Price breaks", item.price_breaks
        yield "Price", f"{item.price.normalize():f} a {unit}{f', {item.price_date}' if item.price_date else ''}"


def _shares(sheet: ItemSheet) -> Table:
    """What the pieces at each depot are kept for, and what is to come."""
    by_depot = {depot: shares for (_, depot), shares in sums(sheet.spots).items()}
    coming: Counter[str] = Counter()
    for line in sheet.orders:
        coming[line.depot.depot] += line.quantity - line.received
    used = [share for share in SHARES if any(shares[share] for shares in by_depot.values())]
    rows = [
        [
            depot,
            *(figure(bare(by_depot.get(depot, Counter())[share])) for share in used),
            figure(quantity_text(by_depot.get(depot, Counter()).total(), sheet.item.stock_unit)),
            figure(bare(coming[depot])),
        ]
        for depot in sorted({*by_depot, *coming})
    ]
    heads = ("Depot", *(share.capitalize() for share in used), "In all", "On order")
    return Table("By depot", heads, rows, "There is no piece of it, and none is on order.")


def _places(asked: Asked, sheet: ItemSheet) -> Table:
    rows = [
        [
            Cell(
                str(one.place),
                _way_to_move(asked, one),
                note=" ".join(filter(None, (one.place.kind, one.place.job, one.place.structure))),
            ),
            lot_cell(sheet.item.stock_code, one.lot.number, "the supplier's own" if one.lot.supplier_owned else ""),
            Cell(one.lot.day_words),
            figure(bare(one.quantity), note=f"{bare(spot.promised)} promised" if spot.promised else ""),
            Cell(_kept_as(spot)),
            Cell(one.counted_on or "never"),
        ]
        for spot in sheet.spots
        for one in [spot.balance]
    ]
    heads = ("Place", "Lot", "Use by", "Pieces", "Kept as", "Counted on")
    return Table("Places, the first to expire first", heads, rows, "Nowhere lies a piece of it.")


def _way_to_move(asked: Asked, one: Balance) -> str:
    """Where its pieces are moved by hand; '' where that is not this person's, or not done by hand."""
    may = one.place.kind not in (BAG, RESERVE, VAN) and asked.actor.may("warehouse", DO, one.place.depot.depot)
    return reverse("pieces", args=[one.pk]) if may else ""


def _kept_as(spot: Spot) -> str:
    if spot.share not in (FREE, OWNED) or not spot.promised:
        return spot.share
    return "promised" if spot.promised == spot.balance.quantity else f"{spot.share}, part promised"


def _orders(sheet: ItemSheet) -> Table:
    rows = [
        [
            link(one, "order-line", one.pk),
            figure(bare(one.quantity - one.received), note=f"of {bare(one.quantity)}"),
            Cell(one.promised or "no day"),
            str(one.depot),
            str(one.supplier or "–"),
        ]
        for one in sheet.orders
    ]
    heads = ("Order line", "To come", "Promised", "Depot", "Supplier")
    return Table("On order", heads, rows, "Nothing is on order.")


def _promised(sheet: ItemSheet) -> Table:
    rows = [
        [
            link(one.job.job, "job", one.job.job),
            why_cell(one.line, {"job": one.job.job, "line": one.line}),
            Cell(sheet.staged_by.get(one.job.job) or "–", note=f"cutover {one.job.cutover or 'no date'}"),
            figure(bare(one.quantity)),
            Cell(one.place or f"order {one.order_line}", note=f"lot {one.lot.number or 'unknown'}" if one.lot else ""),
        ]
        for one in sheet.promises
    ]
    heads = ("Job", "Line", "Staged by", "Pieces", "From")
    return Table("Who has it promised", heads, rows, "No piece is promised.")


def _lacking(sheet: ItemSheet) -> Table:
    rows = [
        [
            one["job"], Cell(one["line"]), Cell(one["staged_by"] or "–"),
            figure(one["short"], note=f"{one['have']} of {one['need']}"), one["why"],
        ]
        for one in sheet.lacking
    ]  # fmt: skip
    heads = ("Job", "Line", "Staged by", "Short", "Why")
    return Table("Who lacks it", heads, rows, "By the plan applied last no line is short of it.")


def _levels(sheet: ItemSheet) -> Table:
    rows = [
        [str(one.depot), *(_level(amount) for amount in (one.minimum, one.maximum, one.reserve_floor))]
        for one in sheet.levels
    ]
    return Table("Levels", ("Depot", "Least", "Greatest", "Reserve floor"), rows, "No depot has a level for it.")


def _level(amount: int | None) -> Cell:
    return figure("–" if amount is None else bare(amount))


def _stand_ins(sheet: ItemSheet) -> Iterator[Table]:
    for caption, found, name, empty in (
        ("What may stand in for it", sheet.stood_in_for, "allowed", "No stand-in for it is approved."),
        ("What it may stand in for", sheet.stands_in, "wanted", "It stands in for nothing else."),
    ):
        rows = [
            [
                link(getattr(one, name), "item", getattr(one, name).stock_code),
                Cell(one.system or "every system"),
                Cell(f"{one.valid_from or '–'} to {one.valid_to or 'open'}"),
                figure("any number" if one.max_quantity is None else bare(one.max_quantity)),
                Cell(one.approved_by, note=one.reason),
            ]
            for one in found
        ]
        yield Table(caption, ("Stock code", "On", "When", "At most", "Approved by"), rows, empty)


def _line(changes: Sequence[Change]) -> Table:
    rows = [
        [
            Cell(one.day or "no day"), Cell(one.what, note=one.job),
            figure(f"{'+' if one.quantity > 0 else ''}{bare(one.quantity)}" if one.quantity else "–"),
            figure(bare(one.left), note="NOT ENOUGH" if one.left < 0 else ""),
        ]
        for one in changes
    ]  # fmt: skip
    return Table("Day by day", ("Day", "What", "Pieces", "Left"), rows, "Nothing is promised and nothing is to come.")


def _moves(asked: Asked, moves: Sequence[Movement]) -> Table:
    rows = [
        [
            Cell(f"{one.action.at.astimezone(asked.zone):%Y-%m-%d %H:%M}", note=one.action.by),
            Cell(one.from_place or one.origin),
            Cell(one.to_place or one.ending),
            lot_cell(one.lot.item.stock_code, one.lot.number),
            figure(bare(one.quantity)),
            Cell(one.action.use_case, note=", ".join(filter(None, (one.action.why, one.action.paper)))),
        ]
        for one in moves
    ]
    heads = ("When, who", "From", "To", "Lot", "Pieces", "What")
    return Table("Lately moved", heads, rows, "No piece of it was ever booked.")
