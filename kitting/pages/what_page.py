"""What any scanned or typed code is, and where it leads."""

from collections.abc import Callable, Mapping, Sequence
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from kitting.pages.asked import ANY_REFUSAL, Asked, go_to, page, split_loud
from kitting.roles import SEE
from kitting.selectors.printed_papers import (
    AS_INSTALLED,
    BORROW_NOTE,
    COUNT_SHEET,
    HOLD_TAG,
    ISSUE_SLIP,
    LOT_TRACE,
    PAPERS,
    PICK_LIST,
    RESTOCK_SLIP,
    RETURN_SLIP,
    TRANSFER_SLIP,
)
from kitting.selectors.what_is_this import (
    BAG,
    CARTON,
    INNER,
    ITEM,
    JOB,
    LOT,
    ORDER,
    PLACE,
    PLANNED,
    RACK,
    REEL,
    Known,
    what_is,
)

_LEADS_ON = (BAG, INNER, RACK, JOB, ORDER, *PAPERS)  # whoever scans one of these means to go on with it


def what(asked: Asked) -> HttpResponse:
    """Say what a code is: a bag, a carton, a stock code, a reel, a place, a paper of ours."""
    code = asked.text("code")
    found: list[Known] = []
    problem = ""
    if code:
        try:
            found = what_is(code, today=asked.today)
        except ANY_REFUSAL as refusal:
            problem = str(refusal)
    if len(found) == 1 and found[0].kind in _LEADS_ON and not found[0].warning and _address(asked, found[0]):
        return go_to(_address(asked, found[0]))  # its page says all of this, and what comes next
    return page(asked, "what.html", _context(asked, code, found, problem), 404 if problem else 200)


def _context(asked: Asked, code: str, found: Sequence[Known], problem: str = "") -> dict[str, object]:
    shown = [(one, _address(asked, one), split_loud(one.warning)) for one in found]
    return {"code": code, "found": shown, "problem": problem}


def _address(asked: Asked, one: Known) -> str:
    """The page of what was found, of several the first that the person may see; '' where there is none for them."""
    pages = PAGES.get(one.kind, ())
    return next((address(one) for right, address in pages if asked.actor.may(right, SEE)), "")


def _page(route: str) -> Callable[[Known], str]:
    return lambda one: reverse(route, args=[one.code or one.name])


def _rack(one: Known) -> str:
    return f"{reverse('bags')}?{urlencode({'depot': one.code, 'rack': one.name.removeprefix(f'{one.code}/')})}"


def _walk(one: Known) -> str:
    depot, _, job = one.code.partition("/")
    return f"{reverse('pick', args=[depot])}?{urlencode({'job': job})}"


def _where(one: Known) -> str:
    return f"{reverse('where')}?{urlencode({'item': one.name})}"


_BAG = (("bags", _page("bag")), ("turn in", _page("turn-in")))
_ITEM = (("items", _page("item")), ("field answers", _where))
_JOB, _TRACE = (("bags", _page("job-bags")),), (("trace", _page("lot")),)
# Kind of thing -> its pages: the action of the table of roles that one must be allowed to see, and the address.
PAGES: Mapping[str, Sequence[tuple[str, Callable[[Known], str]]]] = {
    BAG: _BAG, INNER: _BAG, ITEM: _ITEM, CARTON: _ITEM, LOT: _TRACE, REEL: (("reel band", _page("reel")),),
    PLACE: (("items", _page("place")),), RACK: (("bags", _rack),),
    ISSUE_SLIP: _JOB, RETURN_SLIP: _JOB, AS_INSTALLED: _JOB, PICK_LIST: (("bags", _walk),),
    TRANSFER_SLIP: (("warehouse", _page("transfer")),), HOLD_TAG: _TRACE, LOT_TRACE: _TRACE,
    COUNT_SHEET: (("count", _page("count-lines")),), BORROW_NOTE: (("bags", _page("bag")),),
    RESTOCK_SLIP: (("truck stock", _page("truck")),),
    PLANNED: _JOB,
    JOB: (("job dates", _page("job")), *_JOB), ORDER: (("order sheet", _page("order-line")),),
}  # fmt: skip
