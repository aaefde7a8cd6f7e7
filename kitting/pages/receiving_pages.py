"""Receive what a supplier brings: lines to come, one line counted in both units, and who gets the pieces."""

from collections.abc import Mapping

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import BIN, HOLD, STAGING, SUPPLIER_OWNED, Balance, LotHold, Movement, OrderLine, Place
from inventory.selectors.finding import LotKey
from inventory.services.receiving import Arrival, receive
from kitting.calculation.carton_codes import Carton, read_carton
from kitting.calculation.quantities import PER_UNIT, as_decimal, quantity_text
from kitting.documents.reorder_sheet import plural
from kitting.errors import Refusal
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, page
from kitting.pages.stock_pages import lot_cell
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, place_names, typed_day, typed_place, typed_quantity
from kitting.roles import DO
from kitting.selectors.bag_contents import bare
from kitting.selectors.receipts import Receipt, receipt, too_old_for
from kitting.selectors.stock_sums import order_lines_open
from kitting.selectors.what_is_this import carton_item
from kitting.services.settle_deliveries import settle_deliveries

_TO_PUT = (BIN, STAGING, SUPPLIER_OWNED, HOLD)


def depot_of_line(number: int) -> str:
    """The depot that an order line is for; '' where there is no such line."""
    return OrderLine.objects.filter(pk=number).values_list("depot__depot", flat=True).first() or ""


def to_come(asked: Asked) -> HttpResponse:
    """Order lines to come at the person's depots; a scanned carton leaves those of its item."""
    lines = order_lines_open(depots=asked.actor.depots)
    problem, code = "", asked.text("carton")
    if code:
        try:
            item = carton_item(_carton(asked, code))
            lines = [one for one in lines if one.item_id == item.pk]
            problem = "" if lines else f"{item} is on no open order line here: ask purchasing before it is put away."
        except ANY_REFUSAL as refusal:
            lines, problem = [], str(refusal)
    heads = ("Order line", "Stock code", "To come", "Promised", "Depot", "Supplier")
    empty = "Nothing is to come: open order lines of your depots stand here."
    table = Table("Order lines to come", heads, [_line(asked, one) for one in lines], empty)
    return page(asked, "receive.html", {"table": table, "carton": code, "problem": problem})


def _line(asked: Asked, one: OrderLine) -> list[Cell]:
    late = "LATE" if one.promised and one.promised < asked.today else ""
    return [
        link(str(one), "receive-line", one.pk),
        Cell(one.item.stock_code, note=one.item.description),
        figure(quantity_text(one.quantity - one.received, one.item.stock_unit), note=_in_purchase_units(one)),
        Cell(one.promised or "no day", note=late),
        Cell(str(one.depot)),
        Cell(one.supplier or "–"),
    ]


def _in_purchase_units(line: OrderLine) -> str:
    """What is to come in whole purchase units; '' where those are the stock unit or it doesn't come out even."""
    factor = line.item.per_purchase_unit
    if not factor or factor == PER_UNIT:
        return ""
    units, rest = divmod((line.quantity - line.received) * PER_UNIT, factor)
    return "" if rest else plural(as_decimal(units), line.item.purchase_unit)


def _carton(asked: Asked, code: str) -> Carton:
    return read_carton(code, today=asked.today)


def receive_line(asked: Asked, number: int) -> HttpResponse:
    """Count what came of one line."""
    line = OrderLine.objects.select_related("order", "item", "depot").filter(pk=number).first()
    if line is None:
        raise Refusal("unknown-order-line", f"There is no order line {number}.", {})
    if asked.request.method == "POST":
        return _receive(asked, line)
    given, problem = (
        {name: asked.text(name) for name in ("lot", "use_by", "made_on", "each", "kits", "place", "paper")},
        "",
    )
    code = asked.text("carton")
    if code:
        try:
            given |= _from_carton(asked, line, code)
        except ANY_REFUSAL as refusal:
            problem = str(refusal)
    places = [*Place.objects.filter(depot=line.depot, kind__in=_TO_PUT, job="").order_by("code", "pk")]
    context = {
        "line": line, "left": line.received < line.quantity,
        "to_come": quantity_text(line.quantity - line.received, line.item.stock_unit),
        "in_kits": _in_purchase_units(line), "given": given, "carton": code, "problem": problem,
        "kit": _kit(line), "put_at": [*place_names(places)], "place": given["place"] or _usual_place(line, places),
    }  # fmt: skip
    return page(asked, "receive_line.html", context)


def _kit(line: OrderLine) -> str:
    """What a purchase unit holds, in words; '' where it is the stock unit."""
    factor = line.item.per_purchase_unit
    if not factor or not line.item.purchase_unit or factor == PER_UNIT:
        return ""
    return f"{line.item.purchase_unit} of {quantity_text(factor, line.item.stock_unit)}"


def _usual_place(line: OrderLine, places: list[Place]) -> str:
    """The bin in which the item lies already, the one with most of it; '' where it lies in none."""
    found = (
        Balance.objects.filter(place__depot=line.depot, place__kind=BIN, lot__item=line.item)
        .order_by("-quantity", "-pk")
        .first()
    )
    return next((name for name, place in place_names(places).items() if found and place.pk == found.place_id), "")


def _from_carton(asked: Asked, line: OrderLine, code: str) -> Mapping[str, str]:
    """What a carton says, for the fields.

    Raises:
        Refusal: ``not-what-was-ordered``: another item is in it; or what is wrong with its code.
    """
    carton = _carton(asked, code)
    item = carton_item(carton)
    if item.pk != line.item_id:
        message = f"WRONG ITEM: the carton holds {item}, the order line is for {line.item}. Set it aside and ask."
        raise Refusal("not-what-was-ordered", message, {"carton": item.stock_code, "ordered": line.item.stock_code})
    told = {
        "lot": carton.lot,
        "use_by": carton.use_by.isoformat() if carton.use_by else "",
        "made_on": carton.made_on.isoformat() if carton.made_on else "",
        "each": str(carton.count) if carton.count is not None else "",
    }
    return {name: text for name, text in told.items() if text}


def _receive(asked: Asked, line: OrderLine) -> HttpResponse:
    stamp = asked.stamp()

    def deed() -> tuple[str, str]:
        count, unit = _counted(asked, line)
        arrival = Arrival(
            stock_code=line.item.stock_code, place=typed_place(line.depot, asked.text("place")), count=count, unit=unit,
            lot=asked.text("lot"), use_by=typed_day(asked.text("use_by"), "Use by"),
            made_on=typed_day(asked.text("made_on"), "Made on"), order=line.order.number, line=line.line,
        )  # fmt: skip
        receive(depot=line.depot, arrivals=[arrival], confirmed=asked.confirmed, **stamp)
        settle_deliveries(by=asked.actor.name, at=asked.at, depots=asked.actor.depots)
        return _answer(receipt(stamp["action"]), line)

    booked = reverse("receipt", args=[stamp["action"]])
    here = reverse("receive-line", args=[line.pk])
    return attempt(asked, deed, booked, back=back_with_typed(asked, here))


def _counted(asked: Asked, line: OrderLine) -> tuple[int, str]:
    """Thousandths and their unit, from whichever of the two counts is given; both must say the same.

    Raises:
        Refusal: ``no-quantity``; ``counts-differ``.
    """
    kits, each = asked.text("kits"), asked.text("each")
    unit, bought = line.item.stock_unit, line.item.purchase_unit
    if not kits:
        return typed_quantity(each, f"Count in {unit}"), unit
    number = typed_quantity(kits, f"Count in {bought}")
    if each:
        factor = line.item.per_purchase_unit or PER_UNIT
        counted = typed_quantity(each, f"Count in {unit}")
        if number * factor != counted * PER_UNIT:
            message = (
                f"EACH OR {bought.upper()}?: {quantity_text(number, bought)} of {quantity_text(factor, unit)} are not "
                f"{quantity_text(counted, unit)}: open one {bought} and count again."
            )
            raise Refusal("counts-differ", message, {"each": counted, "kits": number})
    return number, bought


def _answer(found: Receipt, line: OrderLine) -> tuple[str, str]:
    """``BOOKED 12 EA (4 KIT)``, or that they went to hold, or won't last for a job that waits for them."""
    total = sum(move.quantity for move in found.moves)
    factor, bought = line.item.per_purchase_unit or PER_UNIT, line.item.purchase_unit
    units, rest = divmod(total * PER_UNIT, factor)
    also = f" ({quantity_text(units, bought)})" if factor != PER_UNIT and bought and not rest else ""
    where = "; ".join(f"{bare(one.quantity)} of {one.lot} at {one.to_place}" for one in found.moves)
    use_by = min((one.lot.use_by for one in found.moves if one.lot.use_by), default=None)
    word, told = "BOOKED", f"Order line {line}: {where}"
    if any(_why_held(one, found.holds) for one in found.moves):
        word = "ON HOLD"
    elif use_by is not None and (jobs := too_old_for(line, use_by)):
        word, told = "SHORT LIFE", f"{told}. Good through {use_by}, too short for {', '.join(jobs)}: tell the buyer."
    return f"{word} {quantity_text(total, line.item.stock_unit)}{also}".upper(), told


def receipt_page(asked: Asked, number: str) -> HttpResponse:
    """What a delivery brought, where it lies, and who gets it."""
    found = receipt(number)
    rows = [
        [
            Cell(one.lot.item.stock_code),
            lot_cell(one.lot.item.stock_code, one.lot.number),
            Cell(one.lot.day_words),
            figure(quantity_text(one.quantity, one.lot.item.stock_unit)),
            Cell(one.to_place, note=_why_held(one, found.holds)),
            Cell(one.order_line or "no order"),
        ]
        for one in found.moves
    ]
    heads = ("Stock code", "Lot", "Use by", "Pieces", "Put at", "Order line")
    booked = Table("Booked", heads, rows, "Nothing was booked.")
    given = [
        [one.job.job, Cell(one.line), figure(bare(one.quantity)), Cell(one.place), Cell(one.job.cutover or "no date")]
        for one in found.promises
    ]
    empty = "Nobody waits for them: they are free."
    gets = Table("Who gets them", ("Job", "Line", "Pieces", "At", "Cutover"), given, empty)
    may_undo = any(asked.actor.may("warehouse", DO, one.to_place.depot.depot) for one in found.moves if one.to_place)
    return page(asked, "receipt.html", {"receipt": found, "booked": booked, "gets": gets, "may_undo": may_undo})


def _why_held(move: Movement, holds: Mapping[LotKey, LotHold]) -> str:
    hold = holds.get((move.lot.item_id, move.lot.number))
    if hold is not None:
        return f"HELD: {hold.reason}"
    return "on hold: out of date on arrival, or put there" if move.to_place and move.to_place.kind == HOLD else ""
