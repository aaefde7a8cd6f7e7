"""Send a staged bag whole to another depot by van, and take it in there, so that the crew picks all up at one place."""

from collections.abc import Collection
from datetime import datetime
from typing import Unpack

from inventory.models import Depot, Place, Way
from inventory.selectors.finding import depot_named, local_day
from inventory.services.actions import use_case
from inventory.services.transferring import Load, load_van, unload_whole
from kitting.calculation.bag_states import ARRIVE, SEND
from kitting.calculation.calendars import add_working_days
from kitting.calculation.promising.model import SHELF, TRANSFER
from kitting.errors import Refusal
from kitting.models import Bag, Promise
from kitting.roles import STOREKEEPER
from kitting.selectors.bag_contents import label_state
from kitting.selectors.old_labels import SENT, labels_of_before, moved_words
from kitting.selectors.working_days import closed_days
from kitting.services.bag_depots import note_depot
from kitting.services.freeze_outages import changes_after_freeze
from kitting.services.issue_bags import rack_for
from kitting.services.list_bags import bag_place
from kitting.services.record_events import record_events
from kitting.services.release_promises import release, rest_of
from kitting.services.scans import Answer, Opened, Scan, advance, opened, place_of, settled

OWNER_AGREES = "owner-agrees"


@use_case
def send_bag(
    *, bag: str, to_depot: str, why: str = "", confirmed: Collection[str] = (), **scan: Unpack[Scan]
) -> Answer:
    """Put a staged bag on the van to another depot: from now on it is staged there, and its pieces are on the road.

    Args:
        bag: code on its label.
        to_depot: where it goes.
        why: in words; needed where the outage is frozen.
        confirmed: ``owner-agrees``: the supplier lets his pieces go along.
        scan: who, when, the number of the action.

    Raises:
        Doubt: ``owner-agrees``.
        Refusal: ``unknown-depot``; ``same-depot``; ``no-way``: no van goes there; ``not-planned``: it is of no planned
            job's location; ``empty-bag``; ``frozen``; something in it is not good any more, or the bag's state
            forbids it.
    """
    one = opened(bag, SEND, {"to": to_depot}, scan, why=why)
    if one.repeated:
        return Answer("ON THE ROAD", f"{one.bag} goes to {one.bag.depot}.", one.bag, repeated=True)
    sender, target = one.bag.depot, depot_named(to_depot)
    way = Way.objects.filter(from_depot=sender, to_depot=target).first()
    _refuse_what_can_not_go(one.bag, target, way)
    state = advance(one, SEND)
    loads = [
        Load(lot=there.lot, quantity=there.quantity, source=place_of(one))
        for there in one.bag.place.balances.filter(quantity__gt=0).select_related("lot__item").order_by("pk")
    ]
    if not loads:
        raise Refusal("empty-bag", f"Nothing lies in {one.bag}: let it be filled at {target}.", {})
    number = f"BAG-{one.bag.pk}-{one.bag.version}"
    van = load_van(
        one.action, transfer=number, to_depot=target, loads=loads, why=why, owner_agrees=OWNER_AGREES in confirmed,
        job=one.bag.job.job, structure=one.bag.structure,
    )  # fmt: skip
    note_depot(one.bag.job, one.bag.structure, target)
    left = one.bag.place
    one.bag.depot, one.bag.place, one.bag.transfer = target, van.place, van
    one.bag.save(update_fields=("depot", "place", "transfer"))
    _promises_follow(one, left, scan["at"], days=way.days if way else 0)
    road = f"on the road to {target.depot}"
    late = changes_after_freeze([one.bag.job.job], reason=why, what=f"the depot of the bag of {one.bag.structure}")
    record_events(late, by=scan["actor"].name, at=scan["at"])
    told = {
        "from": sender.depot,
        "to": target.depot,
        "transfer": number,
        "label": label_state(one.contents),
        "why": why,
        "changes": [moved_words(target.depot, sender.depot)],
    }
    settled(one, state, SENT, told, addressed_to=STOREKEEPER, whereabouts=road)
    told_of = f"{label_state(one.contents)}; van slip {number}.{_of_label(one)}"
    return Answer("ON THE ROAD", f"{one.bag} to {target}: {told_of}", one.bag)


@use_case
def take_in_bag(*, bag: str, rack: str, confirmed: Collection[str] = (), **scan: Unpack[Scan]) -> Answer:
    """Take a bag off the van and put it in a rack place of its new depot, whole as it came.

    Raises:
        Doubt: as ``stage``.
        Refusal: as for the rack place of ``stage``; the bag is not on the road.
    """
    one = opened(bag, ARRIVE, {"rack": rack}, scan)
    van = one.bag.transfer
    if one.repeated or van is None:
        if not one.repeated:
            advance(one, ARRIVE)  # says why not
        return Answer("PLACED", f"{one.bag} is at {one.bag.whereabouts} already.", one.bag, repeated=True)
    state = advance(one, ARRIVE)
    rack = rack_for(one, rack, confirmed)
    here = bag_place(one.bag, one.bag.depot)
    unload_whole(one.action, van, here)
    left = one.bag.place
    one.bag.place, one.bag.transfer = here, None
    one.bag.save(update_fields=("place", "transfer"))
    _promises_follow(one, left, scan["at"], days=None)
    told = {"rack": rack, "from": van.from_depot.depot, "transfer": van.number, "label": label_state(one.contents)}
    settled(one, state, "bag taken in", told, whereabouts=rack)
    return Answer("PLACED", f"{one.bag} at {rack}: {label_state(one.contents)}.{_of_label(one)}", one.bag)


def _of_label(one: Opened) -> str:
    """What to say of the label that was printed before the bag left; it is taken in by it, and goes no further."""
    old = labels_of_before([one.bag]).get(one.bag.pk)
    return f" {old}." if old else ""


def _refuse_what_can_not_go(bag: Bag, target: Depot, way: Way | None) -> None:
    if bag.depot_id == target.pk:
        raise Refusal("same-depot", f"{bag} is staged at {target} already.", {"depot": target.depot})
    if bag.job.ended or not bag.structure:
        message = f"{bag} is not the bag of a location of a planned job: no plan would look for it at {target}."
        raise Refusal("not-planned", message, {"bag": str(bag)})
    if way is None:
        raise Refusal("no-way", f"No van goes from {bag.depot} to {target}.", {"to": target.depot})


def _promises_follow(one: Opened, left: Place, at: datetime, *, days: int | None) -> None:
    """What is promised of the pieces inside goes along; what its lines are promised elsewhere is free again.

    Args:
        one: the bag at its new place.
        left: its place of before.
        at: the moment.
        days: working days on the road; None where it has arrived.
    """
    bag, why = one.bag, "its bag goes to another depot" if days is not None else "its bag has arrived"
    today = local_day(bag.depot, at)
    ready = today if days is None else add_working_days(today, days, closed_days(bag.depot))
    inside = Promise.objects.select_for_update(of=("self",)).filter(place=left, released_at=None)
    made = [rest_of(promise, promise.quantity, at) for promise in inside.order_by("pk")]
    for promise in made:
        promise.place, promise.depot, promise.ready_on = bag.place, bag.depot.depot, ready
        promise.source = SHELF if days is None else TRANSFER
    release(Promise.objects.filter(place=left), why=why, at=at)
    if days is not None:
        lines = [stand.line.line for stand in one.contents.lines]
        release(Promise.objects.filter(job=bag.job, line__in=lines), why=why, at=at)
    Promise.objects.bulk_create(made)
