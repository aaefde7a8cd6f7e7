"""What a person has to hear, with what to do."""

from django.http import HttpResponse
from django.urls import reverse

from kitting.calculation.short_codes import check_characters
from kitting.documents.notice_digest import solved, told
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.tables import Cell, Table, link
from kitting.selectors.lot_names import lot_address
from kitting.selectors.notices import Notice, notices
from kitting.services.see_notices import see_notices


def notices_page(asked: Asked) -> HttpResponse:
    """Notices, the new ones first, and of these what is still to be done; a form says that they are seen."""
    if asked.request.method == "POST":
        return attempt(asked, lambda: _seen(asked), reverse("notices"))
    found = sorted(notices(asked.actor, asked.at), key=_order)
    heads = ("When", "What", "Of", "What to do")
    rows = [_row(asked, one) for one in found]
    empty = "Nobody has told you anything in the last days. What changes your work is told here, and stays a while."
    latest = max(one.event.number for one in found) if any(one.is_new for one in found) else 0
    table = Table("Notices", heads, rows, empty)
    return page(asked, "notices.html", {"table": table, "latest": latest})


def _order(one: Notice) -> tuple[bool, bool, bool]:
    return not one.is_new, one.settled is not None, not one.kind.is_urgent


def _seen(asked: Asked) -> tuple[str, str]:
    see_notices(up_to=asked.number("up_to"), scan=asked.scan())
    return "SEEN", "What comes from now on is new."


def _row(asked: Asked, one: Notice) -> list[Cell]:
    event = one.event
    state = ("NEW, NOW" if one.kind.is_urgent and not one.settled else "NEW") if one.is_new else ""
    state = "; ".join(filter(None, (state, one.not_seen)))
    return [
        Cell(f"{event.at.astimezone(asked.zone):%Y-%m-%d %H:%M}", note=state),
        Cell(event.name, note=told(event.data)),
        _leads(one),
        Cell(solved(one.settled, asked.zone) or one.kind.do or "–"),
    ]


def _leads(one: Notice) -> Cell:
    """What it is about, which leads to where something is done about it, if there is a page of its own."""
    data, name, about = one.event.data, one.kind.page, one.event.subject
    named: tuple[str, ...] = ()
    if name == "job":
        named = (about,)
    elif name == "bag":
        plain = data.get("bag", "")
        name, named = ("bag", (f"{plain}-{check_characters(plain)}",)) if plain else ("bags", ())
    elif name == "lot":
        named = (lot_address(data["stock_code"], data["lot"]),)
    note = f"depot {one.event.depot}" if one.event.depot else ""
    return link(about, name, *named, note=note) if name else Cell(about, note=note)
