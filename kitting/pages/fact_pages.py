"""Facts that a plan asks for, answered where they stand; gauge readings of reels; and whether a part fits."""

from django.http import HttpResponse
from django.urls import reverse

from jobs.models import Reel
from kitting.calculation.cable_geometry import GAUGE
from kitting.calculation.sheets.raw import cells_of_row
from kitting.documents.diameters import span_text
from kitting.errors import Refusal
from kitting.models import PlanRow
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.tables import Table, link
from kitting.pages.typed import back_with_typed
from kitting.roles import DO
from kitting.selectors.cutovers import last_plan
from kitting.selectors.sheets import sheets_to_check_from_records
from kitting.services.change_facts import change_facts
from kitting.services.settle_facts import settle_fact

_GAUGE_FIELDS = ("DOI low", "DOI high", "gauge id", "measured by", "measured on")


def questions(asked: Asked) -> HttpResponse:
    """The facts that the plan applied last could not do without; one is given beside the cell it came from."""
    if asked.request.method == "POST":
        here = reverse("questions")
        return attempt(asked, lambda: _settled(asked), here, back=back_with_typed(asked, here))
    found = PlanRow.objects.filter(plan=last_plan(), table="questions").exclude(cells__severity="note")
    asks = [*found.order_by("position").values_list("cells", flat=True)]
    sheets = sheets_to_check_from_records({cells["sheet"] for cells in asks}).sheets if asks else {}
    rows = [
        {**cells, "at": at, "beside": cells_of_row(sheets.get(cells["sheet"]), int(cells["row"])),
         "typed": all(asked.text(name) == cells[name] for name in ("sheet", "row", "column"))}
        for at, cells in enumerate(asks)
    ]  # fmt: skip
    return page(asked, "questions.html", {"questions": rows, "may_answer": asked.actor.may("sheets", DO)})


def _settled(asked: Asked) -> tuple[str, str]:
    told = settle_fact(
        sheet=asked.text("sheet"), row=asked.number("row"), column=asked.text("column"),
        read=asked.text("read"), value=asked.text("value"), actor=asked.actor, at=asked.at,
        reason=asked.text("reason"),
    )  # fmt: skip
    return "KEPT", f"{told}, {asked.text('column')}: {asked.text('value')}. Plan again, so that the lines know it."


def reels(asked: Asked) -> HttpResponse:
    """The reels: what cable is on each, and the band that was measured on it."""
    found = Reel.objects.select_related("cable_type").order_by("reel")
    rows = [
        [link(one.reel, "reel", one.reel), one.cable_type.cable_type, _band_text(one), one.measured_by or "–",
         one.measured_on or "–"]
        for one in found
    ]  # fmt: skip
    heads = ("Reel", "Cable type", "Measured over insulation", "By", "On")
    empty = "No reel is on the books: they come with the sheet reels."
    return page(asked, "reels.html", {"table": Table("Reels", heads, rows, empty)})


def reel(asked: Asked, reel: str) -> HttpResponse:
    """One reel: what was measured on it, and a new gauge reading."""
    found = reel_by_number(reel)
    if asked.request.method == "POST":
        here = reverse("reel", args=[reel])
        return attempt(asked, lambda: _measured(asked, found), here, back=back_with_typed(asked, here))
    kind = found.cable_type
    band = (kind.doi_low_nm, kind.doi_high_nm)
    known = span_text((band[0], band[1])) if band[0] is not None and band[1] is not None else "not known"
    return page(asked, "reel.html", {"reel": found, "measured": _band_text(found), "by_type": known})


def reel_by_number(number: str) -> Reel:
    """The reel of a tag.

    Raises:
        Refusal: ``unknown-reel``.
    """
    found = Reel.objects.select_related("cable_type").filter(reel=number).first()
    if found is None:
        raise Refusal("unknown-reel", f"There is no reel {number} in these books.", {"reel": number})
    return found


def _measured(asked: Asked, found: Reel) -> tuple[str, str]:
    unit = asked.text("unit")
    low, high = (f"{asked.text(name)} {unit}" for name in ("low", "high"))
    texts = (low, high, asked.text("gauge"), asked.actor.name, asked.today.isoformat())
    changes = {"origin": GAUGE, **dict(zip(_GAUGE_FIELDS, texts, strict=True))}
    change_facts(
        sheet="reels", key=(found.reel,), version=asked.number("version"), changes=changes,
        by=asked.actor.name, at=asked.at,
    )  # fmt: skip
    return "KEPT", f"Reel {found.reel}: {low} to {high} by gauge. Plan again, so that its runs know it."


def _band_text(one: Reel) -> str:
    if one.doi_low_nm is None or one.doi_high_nm is None:
        return "not measured"
    return span_text((one.doi_low_nm, one.doi_high_nm))
