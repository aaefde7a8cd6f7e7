"""All labels of a day in the order of the rack, to print them before the bags are filled or staged."""

from collections.abc import Sequence
from datetime import date

from django.http import HttpResponse
from django.urls import reverse

from inventory.selectors.finding import depot_named
from kitting.documents.day_labels import CUTOVER, DAYS, DayLabel, day_labels_pdf, days_ahead, labels_of_day
from kitting.documents.record_papers import content_revision
from kitting.errors import Refusal
from kitting.models import BAG_LABEL
from kitting.pages.asked import Asked, page, refused
from kitting.pages.paper_pages import labels_response, printed
from kitting.pages.queue_pages import QUEUED
from kitting.pages.tables import Table, link
from kitting.pages.typed import typed_day
from kitting.selectors.printings import prints_of


def day_labels(asked: Asked, depot: str) -> HttpResponse:
    """All labels of a day in the order of the rack: which ones, how often each was printed, and the file."""
    depot_named(depot)
    ahead = days_ahead(depot, asked.today)
    day = typed_day(asked.text("day"), "The day") or next(iter(ahead), asked.today)
    of = asked.text("of") if asked.text("of") in DAYS else CUTOVER
    labels = labels_of_day(depot=depot, day=day, of=of)
    if asked.request.method == "POST":
        return _day_labels_file(asked, labels, depot, day, of)
    before = prints_of(BAG_LABEL, [str(one.bag) for one in labels])
    rows = [
        [one.rack or "no place yet", link(one.bag, "bag", one.code, note=f"cutover {one.content.cutover}"),
         one.content.bags[0].state,
         f"REPRINT {again}" if (again := before[str(one.bag), content_revision(one.content)]) else "first print"]
        for one in labels
    ]  # fmt: skip
    empty = f"No bag in store at {depot} has this day; bags have a label from when they are listed."
    table = Table(
        f"{len(labels)} label{'' if len(labels) == 1 else 's'} in the order of the rack",
        ("Rack", "Bag", "State", "Print"),
        rows,
        empty,
    )
    jobs = list(dict.fromkeys(one.bag.job.job for one in labels))
    context = {
        "depot": depot, "day": day, "of": of, "days": DAYS, "ahead": ahead, "table": table, "labels": labels,
        "jobs": jobs, "queued": QUEUED.items(),
    }  # fmt: skip
    return page(asked, "day_labels.html", context)


def _day_labels_file(asked: Asked, labels: Sequence[DayLabel], depot: str, day: date, of: str) -> HttpResponse:
    if not labels:
        message = f"NO LABEL: no bag in store at {depot} has {day} as its day ({of})."
        return refused(asked, Refusal("no-bags", message, {"day": day}), reverse("day-labels", args=[depot]))
    prints = {str(one.bag): printed(asked, BAG_LABEL, str(one.bag), one.content) for one in labels}
    on_sheets = asked.text("on") == "sheets"
    content = day_labels_pdf(labels, prints, title=f"Bag labels {depot} {day}", today=asked.today, sheets=on_sheets)
    return labels_response(asked, f"{depot}-{day}-{BAG_LABEL}", content)
