"""Emergencies: the next number for one, the place that somebody names, and what is open."""

import re

from inventory.selectors.words import near
from jobs.models import Job, Position, Structure
from kitting.calculation.bag_states import CANCELLED, CLOSED
from kitting.errors import Refusal
from kitting.models import Bag
from kitting.selectors.storms import emergencies

_NUMBER = re.compile(r"E(\d+)")


def next_number() -> str:
    """The first number ``E01``, ``E02``, … after all that are used."""
    used = [_NUMBER.fullmatch(job) for job in Job.objects.filter(job__startswith="E").values_list("job", flat=True)]
    return f"E{max([int(one[1]) for one in used if one], default=0) + 1:02}"


def open_emergencies(depots: frozenset[str]) -> list[Bag]:
    """Bags of emergencies that are not closed, the latest first; of these depots where any are named."""
    found = Bag.objects.filter(job__in=emergencies()).exclude(state__in=(CLOSED, CANCELLED))
    found = found.select_related("job", "depot").order_by("-pk")
    return [bag for bag in found if not depots or bag.depot.depot in depots]


def place_named(text: str) -> tuple[str, str]:
    """Structure and position of a place as scanned or typed: ``A2-a``, or ``A2`` alone; '' for no position.

    A structure with one position needs no position named. What is on no books stays as it is typed: it may lie
    somewhere along a cable.
    """
    names = [(text, "")]
    for at, letter in enumerate(text):
        if letter == "-":
            names.append((text[:at], text[at + 1 :]))
    for structure, position in names:
        there = [*Position.objects.filter(structure__structure=structure).values_list("position", flat=True)]
        if position in there or (there and not position):
            return structure, position or (there[0] if len(there) == 1 else "")
    return text, ""


def positions_at(structure: str) -> list[str]:
    """The positions of a structure."""
    found = Position.objects.filter(structure__structure=structure)
    return [*found.order_by("position").values_list("position", flat=True)]


def refuse_unknown(structure: str) -> None:
    """Refuse a structure that is not on the books, with those that come near.

    Raises:
        Refusal: ``unknown-structure``.
    """
    names = Structure.objects.values_list("structure", flat=True)
    if structure not in names:
        message = f"{structure} is not on the books{near(structure, names)}"
        raise Refusal("unknown-structure", message, {"structure": structure})
