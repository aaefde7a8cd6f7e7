"""Failures on the line: those that a person sees, how many a lot has, and which could be of a lot."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet, Sum

from inventory.models import Item
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, Failure
from kitting.models.bags import FITTED, INSTALLED
from kitting.roles import Actor
from kitting.selectors.sight import depots_seen, has_own_ends_only


@dataclass(frozen=True, slots=True)
class LotFailures:
    """A lot number with failures: how many reports, and thousandths of it that were ever installed."""

    item: Item
    lot: str
    count: int
    installed: int


def failures_seen(actor: Actor) -> QuerySet[Failure]:
    """Reports that a person may look at, the last first: crews see their own, stores also those of their depots."""
    found, own = (
        Failure.objects.select_related("action", "item").order_by("-failed_at", "-pk"),
        Q(action__by=actor.name),
    )
    if has_own_ends_only(actor):
        return found.filter(own)
    depots = depots_seen(actor)
    return found.filter(own | Q(depot="") | Q(depot__in=depots)) if depots else found


def failure_by_number(actor: Actor, number: int) -> Failure:
    """One report that a person may look at.

    Raises:
        Refusal: ``unknown-failure``.
    """
    found = failures_seen(actor).filter(pk=number).first()
    if found is None:
        raise Refusal("unknown-failure", f"There is no failure {number}.", {"number": number})
    return found


def by_lot(found: Iterable[Failure]) -> list[LotFailures]:
    """How many of these reports each lot has, the most first; one query."""
    counted = Counter((one.item, one.lot_number) for one in found if one.item and not one.withdrawn_why)
    sums = BagEntry.objects.filter(FITTED, lot__item__in={item for item, _ in counted})
    rows = sums.values_list("lot__item", "lot__number").annotate(Sum("quantity"))
    installed = {(item, number): pieces for item, number, pieces in rows}
    lots = [LotFailures(item, lot, count, installed.get((item.pk, lot), 0)) for (item, lot), count in counted.items()]
    return sorted(lots, key=lambda one: (-one.count, one.item.stock_code, one.lot))


def failures_of_lot(item: Item, lot: str, as_of: datetime | None = None) -> tuple[Sequence[Failure], Sequence[Failure]]:
    """Failures of a lot number, and those of an unknown lot at an end where it was fitted; three queries."""
    standing = _standing(as_of)
    named = standing.filter(item=item, lot_number=lot)
    if not lot:
        return [*named], []
    fitted = BagEntry.objects.filter(FITTED, lot__item=item, lot__number=lot)
    entries = [*fitted.select_related("line__bag", "action", "lot")]
    structures = {one.line.bag.structure for one in entries}
    unnamed = standing.filter(Q(item=item) | Q(item=None), lot_number="", structure__in=structures - {""})
    return [*named], [one for one in unnamed if any(_could_be(one, entry) for entry in entries)]


def failures_at(structure: str, position: str) -> list[Failure]:
    """What failed at an end; one query."""
    return [*_standing().filter(structure=structure, position=position)] if structure else []


def failures_of_bag(bag: Bag, entries: Iterable[BagEntry]) -> list[Failure]:
    """What failed, or could have, of what came from a bag; one query."""
    brought = [*entries]
    back = {one.undoes_id for one in brought}
    fitted = [one for one in brought if one.deed == INSTALLED and one.pk not in back]
    if not fitted:
        return []
    here = _standing().filter(structure=bag.structure).exclude(structure="")
    return [one for one in here if any(_could_be(one, entry) for entry in fitted)]


def _standing(as_of: datetime | None = None) -> QuerySet[Failure]:
    found = Failure.objects.filter(withdrawn_why="").select_related("action", "item").order_by("failed_at", "pk")
    return found.filter(action__at__lte=as_of) if as_of else found


def _could_be(failure: Failure, entry: BagEntry) -> bool:
    """Whether pieces that were fitted by then, where it failed, could be what failed."""
    position = entry.line.facts.get("position") or entry.facts.get("position") or ""
    return (
        failure.structure == entry.line.bag.structure
        and failure.position in ("", position)
        and entry.action.at <= failure.failed_at
        and failure.item_id in (None, entry.lot.item_id)
        and failure.lot_number in ("", entry.lot.number)
        and (not failure.phase or not entry.phase or bool(set(failure.phase) & set(entry.phase)))
    )
