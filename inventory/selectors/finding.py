"""Records by the names that people say; an unknown name is refused with those that come near."""

from collections.abc import Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db import DEFAULT_DB_ALIAS
from django.db.models import Q

from inventory.errors import Refusal
from inventory.models import Depot, Item, Lot, LotHold, OldCode, OrderLine, Place
from inventory.selectors.words import near

LotKey = tuple[int, str]  # item, number


def items_by_code(codes: Iterable[str]) -> dict[str, Item]:
    """Items by their stock codes or old codes; capitals count only where two codes differ in nothing else.

    Raises:
        Refusal: some code is neither; names the nearest.
    """
    wanted = set(codes)
    found = {item.stock_code: item for item in Item.objects.filter(stock_code__in=wanted)}
    old = OldCode.objects.filter(code__in=wanted - found.keys()).select_related("item")
    found.update((one.code, one.item) for one in old)
    for code in sorted(wanted - found.keys()):
        named = Item.objects.filter(Q(stock_code__iexact=code) | Q(old_codes__code__iexact=code)).distinct()
        if len(named) == 1:
            found[code] = named[0]
            continue
        close = near(code, Item.objects.values_list("stock_code", flat=True))
        raise Refusal("unknown-stock-code", f"There is no stock code {code}{close}", {"stock_code": code})
    return found


def depot_named(name: str) -> Depot:
    """The depot of a code.

    Raises:
        Refusal: ``unknown-depot``; names the nearest.
    """
    found = Depot.objects.filter(depot=name).first()
    if found is None:
        close = near(name, Depot.objects.values_list("depot", flat=True)) or "."
        raise Refusal("unknown-depot", f"There is no depot {name or 'without a name'}{close}", {"depot": name})
    return found


def place_at(*, depot: Depot, code: str, kind: str | None = None) -> Place:
    """The place of this code at a depot; the kind is needed only where a shelf has parts of several kinds.

    Capitals count only where two codes differ in nothing else.

    Raises:
        Refusal: there is none, or there are several.
    """
    places = Place.objects.filter(depot=depot, **({"kind": kind} if kind else {})).select_related("depot")
    found = [*places.filter(code=code)] or [*places.filter(code__iexact=code)]
    if len(found) == 1:
        return found[0]
    if found:
        raise Refusal("several-places", f"{depot} has several places {code}: say which kind.", {"place": code})
    close = near(code, Place.objects.filter(depot=depot).values_list("code", flat=True))
    raise Refusal("unknown-place", f"{depot} has no place {code}{close}", {"depot": depot.depot, "place": code})


def known_lots(names: Iterable[tuple[Item, str]]) -> dict[LotKey, list[Lot]]:
    """All lots on the books under these items and numbers."""
    found: dict[LotKey, list[Lot]] = {}
    items: dict[int, Item] = {}
    for item, number in names:
        found[(item.pk, number)] = []
        items[item.pk] = item
    # By item alone: a database asked for items and numbers would try every pair of them.
    columns = ("id", "item_id", "number", "use_by", "supplier_owned")
    for row in Lot.objects.filter(item__in=items).order_by("pk").values_list(*columns):
        if row[1:3] in found:
            lot = Lot.from_db(DEFAULT_DB_ALIAS, columns, row)
            lot.item = items[lot.item_id]
            found[row[1:3]].append(lot)
    return found


def lots_by_number(*, item: Item, number: str) -> list[Lot]:
    """The lots of this number, ours and the supplier's.

    Raises:
        Refusal: there is none; names the nearest, and picks none of them.
    """
    lots = [*Lot.objects.filter(item=item, number=number).select_related("item").order_by("pk")]
    if not lots:
        close = near(number, item.lots.values_list("number", flat=True))
        raise Refusal("unknown-lot", f"{item} has no lot {number}{close}", {"lot": number})
    return lots


def open_holds(lots: Iterable[Lot]) -> dict[LotKey, LotHold]:
    """The open hold of each of these lots that has one."""
    keys = {(lot.item_id, lot.number) for lot in lots}
    items = ", ".join({str(item) for item, _ in keys}) or "NULL"
    # Every movement asks this while others wait for its balances, and most lots are free: so not by way of a QuerySet.
    holds = LotHold.objects.raw(
        f"SELECT * FROM inventory_lothold WHERE released_at IS NULL AND item_id IN ({items})"  # noqa: S608 - numbers
    ).prefetch_related("item")
    return {(hold.item_id, hold.lot_number): hold for hold in holds if (hold.item_id, hold.lot_number) in keys}


def order_lines(keys: Iterable[tuple[str, str]]) -> dict[tuple[str, str], OrderLine]:
    """Order lines by order and line number, locked in the order of their records.

    Raises:
        Refusal: some line is on no order.
    """
    wanted = set(keys)
    found = (
        OrderLine.objects.select_for_update(of=("self",), no_key=True)
        .filter(order__number__in={order for order, _ in wanted}, line__in={line for _, line in wanted})
        .select_related("order", "item", "depot")
        .order_by("pk")
    )
    lines = {(line.order.number, line.line): line for line in found}
    for order, line in sorted(wanted - lines.keys()):
        raise Refusal("unknown-order-line", f"There is no order line {order}/{line}.", {"order": order, "line": line})
    return lines


def local_day(depot: Depot, at: datetime) -> date:
    """The date on the wall of a depot; a depot without a zone keeps that of the moment."""
    return (at.astimezone(ZoneInfo(depot.time_zone)) if depot.time_zone else at).date()
