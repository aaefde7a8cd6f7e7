"""Pin pieces to a line: tried by planning before and after, so it takes as long as two plans."""

from inventory.errors import Doubt
from kitting.calculation.quantities import thousandths
from kitting.errors import Refusal
from kitting.models import Errand, Event, Person
from kitting.services.ask_errands import end_errand
from kitting.services.pin_pieces import pin_pieces

PIN = "pin"


def pin(errand: Errand) -> None:
    """Pin as asked; where other jobs would go short that is the question that the errand ends with.

    Raises:
        Refusal: as ``pin_pieces``; ``no-quantity``.
    """
    given = errand.given
    pinned = Event.objects.filter(name="pinned", subject=given["line"], by=errand.asked_by, at=errand.asked_at)
    if pinned.exists():  # done before the worker that did it was killed
        end_errand(errand, result={"questions": {}})
        return
    try:
        quantity = thousandths(given["quantity"])
    except (ValueError, ArithmeticError):
        raise Refusal("no-quantity", f"{given['quantity']!r} is no number of pieces.", {}) from None
    try:
        pin_pieces(
            job=given["job"], line=given["line"], stock_code=given["stock_code"], quantity=quantity,
            reason=given["reason"], actor=Person.objects.get(name=errand.asked_by).actor(), at=errand.asked_at,
            lot=given["lot"], depot=given["depot"], confirmed=given["confirmed"],
        )  # fmt: skip
    except Doubt as doubt:
        end_errand(errand, result={"questions": doubt.data.get("questions", {})})
        return
    end_errand(errand, result={"questions": {}})
