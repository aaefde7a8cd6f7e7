"""What any scanned or typed code is, and where it leads."""

from collections.abc import Sequence

from django.http import HttpResponse
from django.urls import reverse

from kitting.pages.asked import ANY_REFUSAL, Asked, go_to, page, split_loud
from kitting.roles import SEE
from kitting.selectors.what_is_this import BAG, CARTON, ITEM, LOT, Known, what_is


def what(asked: Asked) -> HttpResponse:
    """Say what a code is: a bag, a carton, a stock code, a reel, a place."""
    code = asked.text("code")
    found: list[Known] = []
    problem = ""
    if code:
        try:
            found = what_is(code, today=asked.today)
        except ANY_REFUSAL as refusal:
            problem = str(refusal)
    if len(found) == 1 and found[0].kind == BAG and asked.actor.may("bags", SEE):
        if found[0].warning:  # the page of the bag is one touch away, what is wrong with the label is read first
            return page(asked, "what.html", _context(code, found), 200)
        return go_to(_address(found[0]))  # a bag's page says all of this, and what comes next
    return page(asked, "what.html", _context(code, found, problem), 404 if problem else 200)


def _context(code: str, found: Sequence[Known], problem: str = "") -> dict[str, object]:
    shown = [(one, _address(one), split_loud(one.warning)) for one in found]
    return {"code": code, "found": shown, "problem": problem}


def _address(one: Known) -> str:
    """The page of what was found; '' where it has none."""
    route = PAGES.get(one.kind)
    return reverse(route, args=[one.code or one.name]) if route else ""


PAGES: dict[str, str] = {BAG: "bag", ITEM: "item", CARTON: "item", LOT: "lot"}  # kind of thing -> route of its page
