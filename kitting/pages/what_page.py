"""What any scanned or typed code is, and where it leads."""

from django.http import HttpResponse
from django.urls import reverse

from kitting.pages.asked import ANY_REFUSAL, Asked, go_to, page
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
        return go_to(_address(found[0]))  # a bag's page says all of this, and what comes next
    context = {"code": code, "found": [(one, _address(one)) for one in found], "problem": problem}
    return page(asked, "what.html", context, 404 if problem else 200)


def _address(one: Known) -> str:
    """The page of what was found; '' where it has none."""
    route = PAGES.get(one.kind)
    return reverse(route, args=[one.code or one.name]) if route else ""


PAGES: dict[str, str] = {BAG: "bag", ITEM: "item", CARTON: "item", LOT: "lot"}  # kind of thing -> route of its page
