"""Lots past their date: sign first that pieces may be used on a job, and sign second or refuse."""

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Lot
from inventory.selectors.words import quantity_text
from kitting.models import ASKED, ExpiredUse
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.bag_forms import Field
from kitting.pages.deciding_pages import NO, request_context, request_facts
from kitting.pages.tables import Table, figure
from kitting.pages.typed import back_with_typed, typed_quantity
from kitting.selectors.decisions import expired_request, where_it_lies
from kitting.services.expired_lots import ask_use_expired, refuse_use_expired, sign_use_expired

RIGHT = "expired lot"


def ask(asked: Asked) -> HttpResponse:
    """Sign first that pieces of a lot may be used on a job past their date."""
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            ask_use_expired(
                stock_code=asked.text("stock_code").upper(), lot=asked.text("lot"), job=asked.text("job"),
                quantity=typed_quantity(asked.text("quantity"), "How many"), reason=asked.text("reason"),
                actor=asked.actor, at=asked.at,
            )  # fmt: skip
            return "SIGNED FIRST", "It waits for another person on the page To approve."

        return attempt(asked, deed, reverse("to-approve"), back=back_with_typed(asked, reverse("ask-expired")))
    labels = {
        "stock_code": "Stock code", "lot": "Lot", "job": "Job", "quantity": "How many pieces",
        "reason": "Why it may be used past its date",
    }  # fmt: skip
    fields = [Field(name, label, asked.text(name)) for name, label in labels.items()]
    return page(asked, "ask_expired.html", {"fields": fields})


def expired_page(asked: Asked, number: str) -> HttpResponse:
    """A lot that is to be used past its date: its date, the day it is needed, where it lies."""
    address = reverse("expired-asked", args=[number])
    request = expired_request(int(number))
    if asked.request.method == "POST":
        return attempt(asked, lambda: _decide(asked, request), address, back=back_with_typed(asked, address))
    unit = request.item.stock_unit
    rows = [[str(one.place), one.place.kind, one.lot.day_words, figure(quantity_text(one.quantity, unit))]
            for one in where_it_lies(request)]  # fmt: skip
    heads, empty = ("Place", "Kind", "Use by", "Pieces"), "No piece of it is on the books."
    context = request_context(asked, request, RIGHT, (ASKED,))
    context |= {
        "facts": request_facts(asked, request, _facts(request)),
        "table": Table("Where its pieces lie", heads, rows, empty),
    }
    return page(asked, "expired_asked.html", context)


def _facts(request: ExpiredUse) -> dict[str, object]:
    item = request.item
    days = Lot.objects.filter(item=item, number=request.lot_number).values_list("use_by", flat=True)
    final = "may be moved by a certificate (kind II)" if item.dated_kind == "II" else "final"
    return {
        "Asked for": f"{quantity_text(request.quantity, item.stock_unit)} {item}: {item.called}",
        "Use by": ", ".join(sorted({str(day) for day in days})),
        "Its date": final,
        "Needed through": request.good_to.isoformat(),
        "Job": f"{request.job}, {request.job.cutover}",
    }


def _decide(asked: Asked, request: ExpiredUse) -> tuple[str, str]:
    number, reason = request.pk, asked.text("reason")
    if asked.text("deed") == NO:
        refuse_use_expired(number=number, reason=reason, actor=asked.actor, at=asked.at)
        return "REFUSED", f"{request.asked_by} is told; the lot stays out."
    sign_use_expired(number=number, reason=reason, actor=asked.actor, at=asked.at)
    told = "signed by two; it stands among the overrides and on the end's record. Plan again: the job has them then."
    return "SIGNED", f"{request}: {told}"
