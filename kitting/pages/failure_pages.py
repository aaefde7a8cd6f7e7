"""Failures on the line: how many each lot has, every report, and one report with its photographs; report another."""

from collections.abc import Mapping, Sequence, Set

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import LotHold
from kitting.documents.record_papers import csv_bytes, table_frame, workbook_bytes
from kitting.errors import Refusal
from kitting.models import Failure
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.lot_pages import lot_url
from kitting.pages.paper_pages import exported
from kitting.pages.picture_pages import pictures_shown
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, typed_moment
from kitting.roles import DO
from kitting.selectors.bag_contents import bare
from kitting.selectors.failures import LotFailures, by_lot, failure_by_number, failures_seen
from kitting.selectors.pictures import pictures_of_failure
from kitting.selectors.sight import names_as_read_by
from kitting.services.recall_lots import LOT_HOLD
from kitting.services.report_failures import FAILURE, report_failure, withdraw_failure

_BY_LOT = ("Stock code", "Lot", "Failures", "Installed, ever")
_REPORTS = ("Failure", "Failed", "Place", "Part", "What failed", "Reported")
_FILED = ("failure", "failed", "structure", "position", "phase", "stock code", "lot", "what failed", "reported",
          "by", "withdrawn because", "depot")  # fmt: skip
FIELDS: Mapping[str, str] = {
    "what": "What failed, and how it was seen",
    "failed": "When, on the clock of your depot, as 2026-03-02 15:00; blank: now",
    "structure": "Structure; blank where nobody knows",
    "position": "Position",
    "phase": "Phase or phases",
    "stock_code": "Stock code; blank where nobody knows",
    "lot": "Lot; blank where nobody can read it",
}


def failures(asked: Asked) -> HttpResponse:
    """Failures by lot, and all reports; a form adds one."""
    here = reverse("failures")
    if asked.request.method == "POST":
        return attempt(asked, lambda: _reported(asked), here, back=back_with_typed(asked, here))
    found = [*failures_seen(asked.actor)]
    may_stop = asked.actor.may(LOT_HOLD, DO)
    lots = by_lot(found)
    held = {
        *LotHold.objects.filter(released_at=None, item__in=[one.item for one in lots]).values_list("item", "lot_number")
    }
    rows = [
        [*_lot_cells(one), figure(one.count), figure(bare(one.installed)), *([_next(one, held)] if may_stop else [])]
        for one in lots
    ]
    heads = (*_BY_LOT, "Next step") if may_stop else _BY_LOT
    tables = [Table("Failures by lot", heads, rows, "No failure of a known part is reported."),
              failures_table(asked, "Reports, the last first", found)]  # fmt: skip
    fields = [{"name": name, "label": label, "value": asked.text(name), "required": name == "what"}
              for name, label in FIELDS.items()]  # fmt: skip
    return page(
        asked, "failures.html", {"tables": tables, "fields": fields, "may_report": asked.actor.may(FAILURE, DO)}
    )


def failures_table(asked: Asked, title: str, found: Sequence[Failure]) -> Table:
    """Reports as rows."""
    read = names_as_read_by(asked.actor)
    rows = [
        [
            link(f"{one.pk}", "failure", one.pk, note="withdrawn" if one.withdrawn_why else ""),
            f"{one.failed_at.astimezone(asked.zone):%Y-%m-%d %H:%M}",
            _place(one),
            _part(one),
            one.what,
            Cell(
                f"{one.action.at.astimezone(asked.zone):%Y-%m-%d %H:%M}",
                note=" · ".join(filter(None, (read(one.action.by), one.depot))),
            ),
        ]
        for one in found
    ]
    return Table(title, _REPORTS, rows, "No failure is reported.")


def _place(one: Failure) -> Cell:
    asking = {"structure": one.structure, "position": one.position}
    return link(one.place, "ends", asking=asking) if one.structure else Cell(one.place.upper())


def _part(one: Failure) -> Cell:
    return Cell(one.part, lot_url(one.item.stock_code, one.lot_number) if one.item else "", route="lot")


def _next(one: LotFailures, held: Set[tuple[int, str]]) -> Cell:
    """Where it is stopped; nothing stops pieces of which nobody knows the lot."""
    if not one.lot:
        return Cell("–")
    address = lot_url(one.item.stock_code, one.lot)
    if (one.item.pk, one.lot) in held:
        return Cell("HELD", address, route="lot")
    return Cell("Stop or recall it", f"{address}#stop", route="lot")


def _lot_cells(one: LotFailures) -> list[Cell]:
    address = lot_url(one.item.stock_code, one.lot)
    return [link(one.item.stock_code, "item", one.item.stock_code), Cell(one.lot or "unknown", address, route="lot")]


def _reported(asked: Asked) -> tuple[str, str]:
    named = {name: asked.text(name) for name in FIELDS if name != "failed"}
    moment = typed_moment(asked, asked.text("failed"))
    one = report_failure(**named, failed_at=moment, confirmed=asked.confirmed, **asked.scan())
    return "NOTED", f"Failure {one.pk} at {one.place}: {one.part}. Photographs are kept on its page."


def failure(asked: Asked, number: int) -> HttpResponse:
    """One report; a form takes it back, and stays visible with the reason."""
    one, here = failure_by_number(asked.actor, number), reverse("failure", args=[number])

    def withdrawn() -> tuple[str, str]:
        withdraw_failure(number=number, why=asked.text("why"), **asked.scan())
        return "WITHDRAWN", f"Failure {number} counts nowhere any more; the report stays."

    if asked.request.method == "POST":
        return attempt(asked, withdrawn, here)
    may = asked.actor.may(FAILURE, DO)
    context = {
        "one": one, "table": failures_table(asked, "Report", [one]), "may_withdraw": may and not one.withdrawn_why,
        "pictures": pictures_shown(asked, pictures_of_failure(one)), "may_picture": may,
        "lot": lot_url(one.item.stock_code, one.lot_number) if one.item else "",
    }  # fmt: skip
    return page(asked, "failure.html", context)


def failures_file(asked: Asked, name: str) -> HttpResponse:
    """All reports or the count by lot, with the moment they were read, for who looks into it; it is noted."""
    found, read = [*failures_seen(asked.actor)], names_as_read_by(asked.actor)
    as_of = asked.at.astimezone(asked.zone).isoformat(timespec="minutes")
    lots = [(one.item.stock_code, one.lot or "unknown", one.count, bare(one.installed), as_of) for one in by_lot(found)]
    reports = [
        (one.pk, one.failed_at.astimezone(asked.zone).isoformat(), one.structure or "place unknown", one.position,
         one.phase, one.item.stock_code if one.item else "", one.lot_number, one.what,
         one.action.at.astimezone(asked.zone).isoformat(), read(one.action.by), one.withdrawn_why, one.depot, as_of)
        for one in found
    ]  # fmt: skip
    by_lots = table_frame([*(head.lower() for head in _BY_LOT), "as of"], lots)
    all_ = table_frame([*_FILED, "as of"], reports)
    written = {
        "failures.xlsx": lambda: workbook_bytes({"by lot": by_lots, "reports": all_}),
        "failures.csv": lambda: csv_bytes(all_),
        "failures-by-lot.csv": lambda: csv_bytes(by_lots),
    }.get(name)
    if written is None:
        raise Refusal("unknown-paper", f"Failures are not written as {name}.", {"name": name})
    return exported(asked, name, name.partition(".")[0], f"{len(reports)} reports", written())
