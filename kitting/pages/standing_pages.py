"""What was decided by hand and still stands: pins in force, and what staged bags have lent."""

from django.http import HttpResponse
from django.urls import reverse

from kitting.pages.asked import Asked, attempt, page
from kitting.pages.cutover_pages import why_cell
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed
from kitting.roles import APPROVE, DO
from kitting.selectors.bag_contents import bare, label_code
from kitting.selectors.pins import pins_in_force
from kitting.selectors.sight import depots_seen
from kitting.services.borrow_pieces import STAGED_BAG, give_up_borrow, ledger, reasons
from kitting.services.pin_pieces import unpin


def pins(asked: Asked) -> HttpResponse:
    """Pins in force, and the way to take one away."""
    if asked.request.method == "POST":
        return attempt(asked, lambda: _unpinned(asked), reverse("pins"), back=back_with_typed(asked, reverse("pins")))
    found = pins_in_force()
    rows = [
        [
            link(one.pin.job.job, "job", one.pin.job.job),
            why_cell(one.pin.line, {"job": one.pin.job.job, "line": one.pin.line}),
            Cell(one.pin.item.stock_code, note=", ".join(filter(None, (
                f"lot {one.pin.lot}" if one.pin.lot else "", f"at {one.pin.depot}" if one.pin.depot else ""
            )))),
            figure(one.words),
            Cell(one.pin.by, note=one.pin.reason),
            Cell(one.since.astimezone(asked.zone).date() if one.since else "not known"),
        ]
        for one in found
    ]  # fmt: skip
    heads = ("Job", "Line", "Stock code", "Holds", "By, why", "Since")
    table = Table("Pins in force", heads, rows, "Nothing is pinned: the plan serves every job in its turn.")
    choices = [(one.pin.pk, f"{one.pin.item.stock_code} for {one.pin.line}") for one in found]
    context = {"table": table, "choices": choices, "may_act": asked.actor.may("job dates", DO)}
    return page(asked, "pins.html", context)


def _unpinned(asked: Asked) -> tuple[str, str]:
    number = asked.text("unpin")
    unpin(number=int(number) if number.isdecimal() else 0, reason=asked.text("reason"), actor=asked.actor, at=asked.at)
    return "UNPINNED", "The next plan gives these pieces as if they had never been pinned."


def borrows(asked: Asked) -> HttpResponse:
    """What staged bags have lent and not got back, how often for which reason; what won't come back is given up."""
    if asked.request.method == "POST":
        here = reverse("borrows")
        return attempt(asked, lambda: _given_up(asked), here, back=back_with_typed(asked, here))
    counted = [[why, figure(count), figure(still or "–")] for why, count, still in reasons()]
    why = Table("Why bags were broken", ("Reason", "Borrows", "Still open"), counted, "No bag has lent anything yet.")
    context = {
        "table": borrow_table(asked),
        "reasons": why,
        "choices": [(one.borrow.pk, one.sentence) for one in ledger(asked.today)],
        "may_act": asked.actor.may(STAGED_BAG, APPROVE),
    }
    return page(asked, "borrows.html", context)


def borrow_table(asked: Asked) -> Table:
    """What staged bags of the depots that one sees have lent and not got back, the oldest first."""
    seen = depots_seen(asked.actor)
    rows = [
        [
            Cell(f"{bare(one.left)} {one.borrow.lot.item}", note=f"lot {one.borrow.lot.number or 'unknown'}"),
            link(one.borrow.bag, "bag", label_code(one.borrow.bag)),
            link(one.borrow.to_job.job, "job", one.borrow.to_job.job),
            figure(f"{one.age_days} days"),
            Cell(one.borrow.pay_back_by, note="OVERDUE" if one.borrow.pay_back_by < asked.today else ""),
            Cell(one.borrow.why, note=f"by leave of {one.borrow.authorised_by}"),
        ]
        for one in ledger(asked.today)
        if not seen or one.borrow.bag.depot.depot in seen
    ]
    heads = ("What", "From bag", "To job", "Since", "Pay back by", "Why")
    return Table("Lent and not paid back", heads, rows, "Every borrow is paid back, or given up.")


def _given_up(asked: Asked) -> tuple[str, str]:
    number = asked.text("borrow")
    lent = give_up_borrow(number=int(number) if number.isdecimal() else 0, why=asked.text("why"), **asked.scan())
    sentence = (
        f"{lent.bag} is really short of it; planner and buyer are told. Plan and apply, to look for other pieces."
    )
    return "GIVEN UP", sentence
