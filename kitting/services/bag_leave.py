"""By whose leave a bag goes out short or lends: somebody signs in on the spot, or has approved it before, once."""

from dataclasses import dataclass

from inventory.selectors.finding import local_day
from kitting.errors import Refusal
from kitting.models import APPROVED, LAPSED, USED, Bag, BagRequest
from kitting.roles import PLANNER, Actor
from kitting.selectors.bag_requests import why_lapsed
from kitting.services.rights import need_let_bag
from kitting.services.scans import Opened
from kitting.services.two_persons import same_person


@dataclass(frozen=True, slots=True)
class Leave:
    """Who lets it happen, whether as a planner, who asked and why; ``request`` is the one that was approved before."""

    by: str
    as_planner: bool
    asked_by: str
    reason: str
    request: BagRequest | None = None


def leave_for(
    one: Opened, what: str, approver: Actor | None, reason: str, to_bag: Bag | None = None, **pieces: object
) -> Leave | None:
    """The leave of whoever signs in on the spot, else what was approved for exactly this; None where nothing was.

    Raises:
        Refusal: ``not-allowed``; ``own-approval``: who approves is who acts; ``leave-lapsed``: an approval that the bag
            as it is, or the day, is no longer within.
    """
    actor, depot = one.scan["actor"], one.bag.depot
    if approver is not None:
        need_let_bag(approver, what, depot.depot)
        _need_another(approver.name, actor, one)
        return Leave(approver.name, PLANNER in approver.roles, actor.name, reason)
    found = BagRequest.objects.select_for_update().filter(bag=one.bag, what=what, to_bag=to_bag, **pieces)
    request = found.filter(state=APPROVED, ended="").order_by("-pk").first()
    if request is None:
        return None
    lapsed = why_lapsed(request, one.contents, local_day(depot, one.scan["at"]))
    if lapsed:
        message = f"APPROVAL LAPSED: {request.decided_by} approved {request}, but {lapsed}: ask again."
        raise Refusal("leave-lapsed", message, {"request": request.pk, "bag": str(one.bag)})
    _need_another(request.decided_by, actor, one)
    told = f"{request.why}; {request.decision}"
    return Leave(request.decided_by, request.decided_as == PLANNER, request.asked_by, told, request)


def end_requests(bag: Bag, what: str, leave: Leave | None, to_bag: Bag | None = None, **pieces: object) -> None:
    """It happened: the approval that was gone by is used, and whatever else was asked about the same is over."""
    used = leave.request.pk if leave and leave.request else 0
    over = BagRequest.objects.filter(bag=bag, what=what, to_bag=to_bag, ended="", **pieces)
    if used:
        over.filter(pk=used).update(ended=USED)
    over.update(ended=LAPSED)


def _need_another(by: str, actor: Actor, one: Opened) -> None:
    if same_person(by, actor.name):
        raise Refusal("own-approval", f"{by} acts on {one.bag}: another person authorises.", {"bag": str(one.bag)})
