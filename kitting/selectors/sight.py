"""What a person sees of what others did: stores their depots, crews their ends, and names only by right."""

from collections.abc import Callable
from dataclasses import replace

from django.db.models import Q, QuerySet

from kitting.models import BagEntry, Event
from kitting.models.bags import FITTED
from kitting.roles import CREW_LEAD, SEE, STOREKEEPER, Actor
from kitting.selectors.end_signatures import end_name

_NARROW = {STOREKEEPER, CREW_LEAD}


def is_narrow(actor: Actor) -> bool:
    """Whether they trace as stores or as a crew only, and no other role of theirs lets them see all."""
    return not replace(actor, roles=actor.roles - _NARROW).may("trace", SEE)


def has_own_ends_only(actor: Actor) -> bool:
    """Whether they see the ends only on which they noted a part."""
    return is_narrow(actor) and STOREKEEPER not in actor.roles


def depots_seen(actor: Actor) -> frozenset[str]:
    """The depots whose part of the record they see; empty: that of every depot."""
    return actor.depots if is_narrow(actor) else frozenset()


def events_seen(actor: Actor) -> QuerySet[Event]:
    """Events that a person may look at.

    Stores see those of their depots and of none; crews those of bags and ends from which and on which they noted a
    part, which takes one query; both what they did themselves.
    """
    return Event.objects.filter(_seen(actor))


def part_seen(actor: Actor) -> str:
    """Which part of the record that is, in words."""
    if has_own_ends_only(actor):
        return "you did, or that was done to bags and ends of yours"
    return "was done at your depot, at none, or by you" if depots_seen(actor) else "was done"


def _seen(actor: Actor) -> Q:
    own = Q(by=actor.name)
    if has_own_ends_only(actor):
        return own | Q(subject__in=_bags_and_ends(actor.name))
    depots = depots_seen(actor)
    return own | Q(depot="") | Q(depot__in=depots) if depots else Q()


def _bags_and_ends(name: str) -> set[str]:
    noted = BagEntry.objects.filter(FITTED, action__by=name)
    found: set[str] = set()
    for job, structure, planned, typed in noted.values_list(
        "line__bag__job__job", "line__bag__structure", "line__facts", "facts"
    ):
        found.add(f"{job} {structure}".strip())
        found.add(end_name((structure, planned.get("position") or typed.get("position", ""))))
    return found


def names_as_read_by(actor: Actor) -> Callable[[str], str]:
    """How a person reads names on one paper: with the right as they are, else others as numbers as they come."""
    numbers: dict[str, str] = {}

    def read(name: str) -> str:
        if name in ("", actor.name) or actor.may("names", SEE):
            return name
        return numbers.setdefault(name, f"person {len(numbers) + 1}")

    return read
