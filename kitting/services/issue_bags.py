"""Stage checked bags, issue them against a signature, take them back unused, and say that work has begun."""

from collections.abc import Collection
from typing import Unpack

from inventory.services.actions import use_case
from inventory.services.doubts import Doubts
from jobs.models import CANCELLED, UNDER_WAY
from kitting.calculation.bag_states import (
    BEGIN,
    CANCEL,
    CHECKED,
    HAND_BACK,
    ISSUE,
    OUT,
    STAGE,
    STAGED,
    BagFacts,
    next_state,
)  # fmt: skip
from kitting.errors import Refusal
from kitting.models import SHORT_ISSUE, Bag, Recipe
from kitting.models.bags import HANDED_BACK, ISSUED
from kitting.roles import DO, Actor
from kitting.selectors.bag_contents import label_state
from kitting.services.bag_leave import end_requests, leave_for
from kitting.services.rack_places import rack_scanned
from kitting.services.release_promises import bring_back, take_out
from kitting.services.scans import Answer, Opened, Scan, advance, opened, settled
from kitting.services.two_persons import attempts_kept


@use_case
def stage(*, bag: str, rack: str, confirmed: Collection[str] = (), **scan: Unpack[Scan]) -> Answer:
    """Put a checked bag in its rack place.

    Raises:
        Doubt: ``place-taken``: other bags lie there; names them; ``near-rack``: which rack place is meant.
        Refusal: ``no-rack``; ``not-a-rack``; ``unknown-rack``; something in the bag is not good any
            more; or the bag's state forbids it.
    """
    one = opened(bag, STAGE, {"rack": rack}, scan)
    if one.repeated:
        return Answer("PLACED", f"{one.bag} is at {one.bag.whereabouts} already.", one.bag, repeated=True)
    state = advance(one, STAGE)
    rack = rack_for(one, rack, confirmed)
    settled(one, state, "bag staged", {"rack": rack, "label": label_state(one.contents)}, whereabouts=rack)
    return Answer("PLACED", f"{one.bag} at {rack}: {label_state(one.contents)}.", one.bag)


def rack_for(one: Opened, scanned: str, confirmed: Collection[str]) -> str:
    """The rack place into which a bag is put; asks where another lies there.

    Raises:
        Doubt, Refusal: as ``stage``.
    """
    doubts = Doubts(confirmed)
    rack = rack_scanned(one.bag.depot, scanned, doubts)
    there = Bag.objects.filter(depot=one.bag.depot, whereabouts=rack, state__in=(STAGED, CHECKED)).exclude(
        pk=one.bag.pk
    )
    names = sorted(str(other) for other in there.select_related("job"))
    if names:
        doubts.ask("place-taken", 1, f"PLACE TAKEN: {', '.join(names)} at {rack}: put this bag there as well?")
    doubts.settle()
    return rack


@attempts_kept
@use_case
def issue(
    *,
    bag: str,
    crew: str,
    truck: str,
    signature: str,
    approver: Actor | None = None,
    reason: str = "",
    **scan: Unpack[Scan],
) -> Answer:
    """Give a staged bag to a crew.

    Args:
        bag: code on its label.
        crew, truck: who takes it, and with what.
        signature: the name under which the crew signs.
        approver: planner or duty supervisor who lets a short bag go; not who issues it. None: by what was approved.
        reason: why it goes short; what was approved has its own.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``already-out`` names who took it; ``is-a-kit``: a pre-made kit is given to a job; ``own-approval``;
            ``leave-lapsed``; superseded, held, out of date, short without leave or unsigned (``bag-not-ready``); or
            the bag's state forbids it.
    """
    truck = truck.removeprefix("truck ").strip()
    content = {"crew": crew, "truck": truck, "signature": signature, "reason": reason}
    one = opened(bag, ISSUE, content, scan, why=reason)
    if one.repeated:
        return Answer("OUT", f"{one.bag} went with {one.bag.crew}.", one.bag, repeated=True)
    if one.bag.state in OUT:
        message = f"ALREADY OUT: {one.bag} went with {one.bag.crew}, {one.bag.whereabouts}."
        raise Refusal("already-out", message, {"bag": str(one.bag), "crew": one.bag.crew})
    if Recipe.objects.filter(job=one.bag.job).exists():
        message = f"{one.bag} is a pre-made kit of no job: give it to a storm or an emergency as a whole."
        raise Refusal("is-a-kit", message, {"bag": str(one.bag)})
    leave = leave_for(one, SHORT_ISSUE, approver, reason) if one.contents.missing() else None
    by, why = (leave.by, leave.reason) if leave else ("", reason)
    state = advance(one, ISSUE, approver=by, reason=why, signature=signature)
    label = label_state(one.contents)
    for stand in one.contents.lines:
        for lot, left in stand.inside.items():
            if left > 0:
                one.write(stand.line, one.contents.lots[lot], ISSUED, left)
    told = {"crew": crew, "truck": truck, "signature": signature, "label": label}
    short = {"asked_by": leave.asked_by, "approved_by": by, "reason": why} if leave else {}
    name = "bag issued short" if leave else "bag issued"
    end_requests(one.bag, SHORT_ISSUE, leave)
    settled(one, state, name, {**told, **short}, crew=crew, whereabouts=f"truck {truck}")
    if not Bag.objects.filter(job=one.bag.job).exclude(state__in=(*OUT, "closed", "cancelled")).exists():
        take_out(one.bag.job, at=scan["at"])
    return Answer("OUT", f"{one.bag}: {label}; with {crew}, truck {truck}.", one.bag)


@use_case
def hand_back(*, bag: str, why: str, **scan: Unpack[Scan]) -> Answer:
    """Take an issued bag back unopened, because the outage is off; it is looked at again before it goes out.

    Raises:
        Refusal: no reason, or the bag's state forbids it.
    """
    one = opened(bag, HAND_BACK, {}, scan, why=why)
    if not one.repeated:
        state = advance(one, HAND_BACK, reason=why)
        for stand in one.contents.lines:
            for lot, left in stand.inside.items():
                if left > 0:
                    one.write(stand.line, one.contents.lots[lot], HANDED_BACK, left)
        if one.bag.job.ended == CANCELLED:
            state = next_state(state, CANCEL, BagFacts(name=str(one.bag), reason=why))
        settled(one, state, "bag handed back", {"why": why}, whereabouts="", crew="", checked_by="", why=why)
        if one.bag.job.ended == UNDER_WAY and one.bag.revision:  # an emergency has no schedule to plan again
            bring_back(one.bag.job)
    return Answer("BACK", f"{one.bag} is back: check it again before it goes out.", one.bag, repeated=one.repeated)


@use_case
def begin_work(*, bag: str, **scan: Unpack[Scan]) -> Answer:
    """The outage has started and the bag is opened.

    Raises:
        Refusal: the bag's state forbids it.
    """
    one = opened(bag, BEGIN, {}, scan, right="as-installed", level=DO)
    if not one.repeated:
        settled(one, advance(one, BEGIN), "work begun", {})
    return Answer("IN WORK", f"{one.bag} is in work.", one.bag, repeated=one.repeated)
