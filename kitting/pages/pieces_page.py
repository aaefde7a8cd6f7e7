"""Pieces of a lot at one place: put them elsewhere, scrap them, or send them back to the supplier."""

from collections.abc import Sequence

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import RETURNED, SCRAPPED, Balance, Movement
from kitting.errors import Refusal
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.bag_forms import Field
from kitting.pages.typed import back_with_typed, typed_place, typed_quantity
from kitting.selectors.bag_contents import bare
from kitting.services.move_pieces import COUNT_OUT, SEND, move_pieces, undo_move, undo_receipt

_WAYS = (("", "to another place of this depot"), (SCRAPPED, "scrap"), (RETURNED, "back to the supplier"))


def depot_of_pieces(number: int) -> str:
    """The depot where they lie."""
    return _found(number).place.depot.depot


def _found(number: int) -> Balance:
    found = Balance.objects.filter(pk=number).select_related("place__depot", "lot__item__supplier").first()
    if found is None:
        raise Refusal("not-there", f"The books have no pieces under the number {number}.", {"balance": number})
    return found


def pieces(asked: Asked, number: int) -> HttpResponse:
    """What lies there, and a form that says where it goes."""
    found = _found(number)
    if asked.request.method == "POST":
        item = reverse("item", args=[found.lot.item.stock_code])
        return attempt(asked, lambda: _moved(asked, found), item, back=back_with_typed(asked, asked.request.path))
    fields = (
        Field("quantity", "How many", asked.text("quantity"), "decimal", focus=True),
        Field("way", "Where they go", asked.text("way"), required=False, options=_WAYS),
        Field("to", "Place, if they stay here", asked.text("to"), required=False, note="Scan or type it.", scans=True),
        Field("why", "Why", asked.text("why"), required=False,
              note="Needed for scrap, for the supplier, and for what leaves a hold place."),
    )  # fmt: skip
    return page(asked, "pieces.html", {"found": found, "there": bare(found.quantity), "fields": fields})


def _moved(asked: Asked, found: Balance) -> tuple[str, str]:
    way, quantity = asked.text("way"), typed_quantity(asked.text("quantity"), "How many")
    to = None if way else typed_place(found.place.depot, asked.text("to"))
    moved = move_pieces(balance=found.pk, quantity=quantity, to=to, ending=way, why=asked.text("why"), **asked.scan())
    where = f"at {to}" if to else way
    return "BOOKED", f"{bare(quantity)} {found.lot.item} {where}.{_said(moved.lost)}"


def _said(lost: Sequence[tuple[str, str, int]]) -> str:
    if not lost:
        return ""
    jobs = ", ".join(dict.fromkeys(job for job, _, _ in lost))
    return f" They were promised to {jobs}: planners hear, and the next plan looks for others."


def undo_receiving(asked: Asked, number: str) -> HttpResponse:
    """Take a wrong receipt back."""
    address = reverse("receipt", args=[number])

    def deed() -> tuple[str, str]:
        undone = undo_receipt(receipt=number, why=asked.text("why"), **asked.scan())
        return "UNDONE", f"The receipt is taken back: receive it again as it is.{_said(undone.lost)}"

    return attempt(asked, deed, reverse("receive"), back=address)


def undo_moving(asked: Asked, number: str) -> HttpResponse:
    """Bring back what was moved, loaded on a van or counted out of one by mistake."""
    moves = Movement.objects.filter(action__number=number).select_related("lot__item", "action")
    code = moves[0].lot.item.stock_code if moves else ""
    use = moves[0].action.use_case if moves else ""
    address = reverse("item", args=[code]) if code else reverse("stock")
    told = f"The pieces of {code} are where they were; both stay in the record."
    if use in (SEND, COUNT_OUT):
        address = reverse("transfers")
        told = "The van is not loaded" if use == SEND else "The van is not counted out: it is on the road"
        told = f"{told}; both stay in the record."

    def deed() -> tuple[str, str]:
        undone = undo_move(moved=number, why="pressed by mistake", **asked.scan())
        return "UNDONE", f"{told}{_said(undone.lost)}"

    return attempt(asked, deed, address)
