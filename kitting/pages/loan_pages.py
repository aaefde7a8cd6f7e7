"""Loans with neighbours: agree one, hand it over, give it back, and the ledger with its ages."""

from collections.abc import Callable, Mapping
from types import MappingProxyType

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import BIN, SUPPLIER_OWNED, Depot, Place
from kitting.models import FROM_NEIGHBOUR, TO_NEIGHBOUR, Loan, LoanMove
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.bag_forms import Field, place_scanned
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, typed_day, typed_place, typed_quantity
from kitting.roles import DO
from kitting.selectors.bag_contents import bare
from kitting.selectors.loans import LoanStand, loan_by_number, loan_stands, stand_of, to_give_back
from kitting.services.lend_pieces import LOAN, WAREHOUSE, agree_loan, end_loan, give_back, hand_over


def loans(asked: Asked) -> HttpResponse:
    """All loans, open ones first; agree another."""
    here = reverse("loans")
    if asked.request.method == "POST":
        return attempt(asked, lambda: _agreed(asked), here, back=back_with_typed(asked, here))
    stands = loan_stands(today=asked.today)
    rows = [_row(asked, one) for one in stands]
    heads = ("Loan", "Neighbour", "Agreed", "Over", "Given back", "Left", "Back by", "Age")
    empty = "Nothing is lent or borrowed: a loan is agreed with a neighbour and a day of return."
    closed = frozenset(at for at, one in enumerate(stands) if not one.is_open)
    depots = [(one, f"depot {one}") for one in Depot.objects.order_by("depot").values_list("depot", flat=True)]
    fields = [
        Field("way", "Which way", asked.text("way"), options=[(way, way) for way in (TO_NEIGHBOUR, FROM_NEIGHBOUR)]),
        Field("neighbour", "Neighbour", asked.text("neighbour")),
        Field("stock_code", "Stock code", asked.text("stock_code")),
        Field("quantity", "How many", asked.text("quantity"), "decimal"),
        Field("depot", "Depot", asked.text("depot"), options=depots),
        Field("back_by", "To be given back by", asked.text("back_by"), "date", required=False),
        Field("why", "Why", asked.text("why")),
    ]
    table = Table("Ledger", heads, rows, empty, closed)
    return page(asked, "loans.html", {"table": table, "fields": fields, "acts": asked.actor.may(LOAN, DO)})


def _row(asked: Asked, one: LoanStand) -> list[Cell]:
    loan = one.loan
    late = "OVERDUE" if one.is_overdue(asked.today) else ""
    return [
        link(f"{loan.item} {loan.way}", "loan", loan.pk, note=f"depot {loan.depot}: {loan.why}"),
        Cell(loan.neighbour, note=f"agreed by {loan.agreed.by}"),
        figure(bare(loan.quantity)), figure(bare(one.over)), figure(bare(one.back)), figure(bare(one.left)),
        Cell(loan.back_by, note=loan.ended_why or late), figure(f"{one.age_days} day{'s' * (one.age_days != 1)}"),
    ]  # fmt: skip


def _agreed(asked: Asked) -> tuple[str, str]:
    named = {name: asked.text(name) for name in ("way", "neighbour", "stock_code", "depot", "why")}
    loan = agree_loan(
        **named, quantity=typed_quantity(asked.text("quantity"), "How many"),
        back_by=typed_day(asked.text("back_by"), "The day of return"), **asked.scan(),
    )  # fmt: skip
    return "AGREED", f"{bare(loan.quantity)} {loan.item} {loan.way}, {loan.neighbour}, back by {loan.back_by}."


def loan_page(asked: Asked, number: int) -> HttpResponse:
    """One loan: hand it over, give it back, end it."""
    loan, here = loan_by_number(number), reverse("loan", args=[number])
    if asked.request.method == "POST":
        deed = DEEDS.get(asked.text("do"), DEEDS["over"])
        return attempt(asked, lambda: deed(asked, loan), here, back=back_with_typed(asked, here))
    stand, depot = stand_of(loan, asked.today), loan.depot.depot
    moves = LoanMove.objects.filter(loan=loan).select_related("lot__item", "action").order_by("pk")
    rows = [
        [Cell(one.action.at.astimezone(asked.zone).date()), Cell("given back" if one.back else "handed over"),
         figure(bare(one.quantity)), Cell(one.lot.number or "unknown"), Cell(one.action.by)]
        for one in moves
    ]  # fmt: skip
    lots = [(str(one.pk), f"{bare(one.quantity)} of {one.lot} at {one.place.code}") for one in to_give_back(loan)]
    context = {
        "loan": loan, "stand": stand, "is_overdue": stand.is_overdue(asked.today),
        "left": bare(stand.left), "to_hand_over": bare(stand.to_hand_over),
        "table": Table("What went over and came back", ("Day", "What", "Pieces", "Lot", "By"), rows, "Nothing yet."),
        "stores": asked.actor.may(WAREHOUSE, DO, depot), "agrees": asked.actor.may(LOAN, DO, depot),
        "over_fields": _over_fields(asked, loan), "back_fields": _back_fields(asked, loan, lots), "lots": lots,
    }  # fmt: skip
    return page(asked, "loan.html", context)


def _over_fields(asked: Asked, loan: Loan) -> list[Field]:
    is_ours = loan.way == TO_NEIGHBOUR
    fields = [
        Field("place", "From which bin: scan it" if is_ours else "Put at: a supplier-owned place", asked.text("place"),
              scans=True),
        Field("lot", "Lot", asked.text("lot"), required=not is_ours),
        Field("pieces", "How many", asked.text("pieces"), "decimal"),
    ]  # fmt: skip
    return fields if is_ours else [*fields, Field("use_by", "Use by", asked.text("use_by"), "date", required=False)]


def _back_fields(asked: Asked, loan: Loan, lots: list[tuple[str, str]]) -> list[Field]:
    fields = [
        Field("balance", "Which pieces", asked.text("balance"), options=lots),
        Field("given", "How many", asked.text("given"), "decimal"),
    ]
    note = "a bin, or a place of the kind hold to be inspected"
    put = Field("to", "Put at", asked.text("to"), note=note, scans=True)
    return [*fields, put] if loan.way == TO_NEIGHBOUR else fields


def _handed_over(asked: Asked, loan: Loan) -> tuple[str, str]:
    kind = BIN if loan.way == TO_NEIGHBOUR else SUPPLIER_OWNED
    pieces = typed_quantity(asked.text("pieces"), "How many")
    hand_over(
        loan=loan.pk, place=place_scanned(loan.depot, asked.text("place"), kind), lot=asked.text("lot"),
        quantity=pieces, use_by=typed_day(asked.text("use_by"), "Use by"), **asked.scan(),
    )  # fmt: skip
    return "BOOKED", f"{bare(pieces)} {loan.item} {loan.way}, {loan.neighbour}."


def _given_back(asked: Asked, loan: Loan) -> tuple[str, str]:
    pieces, number = typed_quantity(asked.text("given"), "How many"), asked.text("balance")
    to: Place | None = typed_place(loan.depot, asked.text("to")) if loan.way == TO_NEIGHBOUR else None
    chosen = int(number) if number.isdecimal() else 0
    give_back(loan=loan.pk, balance=chosen, quantity=pieces, to=to, **asked.scan())
    return "GIVEN BACK", f"{bare(pieces)} {loan.item}, {loan.neighbour}."


def _ended(asked: Asked, loan: Loan) -> tuple[str, str]:
    end_loan(loan=loan.pk, why=asked.text("ended"), **asked.scan())
    return "ENDED", f"Nothing more of {loan} is awaited."


DEEDS: Mapping[str, Callable[[Asked, Loan], tuple[str, str]]] = MappingProxyType(
    {"over": _handed_over, "back": _given_back, "end": _ended}
)
