"""Take installed pieces off the line; what was there stays visible, beside what came instead."""

from typing import Unpack

from inventory.services.actions import begin, use_case
from kitting.errors import Refusal
from kitting.models import BagEntry, Retired
from kitting.models.bags import FATES
from kitting.roles import DO, require
from kitting.selectors.bag_contents import bare
from kitting.selectors.end_signatures import end_name
from kitting.selectors.installed_ends import Fitted, history
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, stamp_of
from kitting.services.two_persons import need_reason

AS_INSTALLED = "as-installed"


@use_case
def retire(
    *,
    structure: str,
    position: str,
    stock_code: str,
    lot: str,
    quantity: int,
    why: str,
    fate: str,
    phase: str = "",
    **scan: Unpack[Scan],
) -> list[Retired]:
    """Note that pieces of a lot were taken off a position. They never come back to stock.

    What is fitted instead is noted by ``install`` with the bag it comes from; the history of the end shows both.

    Args:
        structure, position: where.
        stock_code, lot, quantity: what was taken off, in thousandths; lot '' for one that nobody knows.
        why: the reason in words.
        fate: one of ``FATES``.
        phase: a letter, or '' where it doesn't matter.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``unknown-fate``; ``moves-nothing``; ``not-on-that-end`` says what is.
    """
    told, end = need_reason(why, "Retiring a part"), end_name((structure, position))
    if fate not in FATES:
        raise Refusal("unknown-fate", f"A retired part goes to {' or '.join(FATES)}, never to stock.", {"fate": fate})
    if quantity <= 0:
        raise Refusal("moves-nothing", f"Say how many {stock_code} were taken off {end}.", {})
    require(scan["actor"], AS_INSTALLED, DO)
    content = {
        "structure": structure, "position": position, "code": stock_code, "lot": lot, "quantity": quantity,
        "phase": phase, "fate": fate,
    }  # fmt: skip
    action, repeated = begin("retire installed", content, stamp_of(scan), told)
    if repeated:
        return [*Retired.objects.filter(action=action).order_by("pk")]
    fitted = _locked_history(structure, position)
    alike = [one for one in fitted if one.left and _is(one, stock_code, lot, phase)]
    left, made = quantity, []
    for one in alike:
        pieces = min(one.left, left)
        if pieces:
            made.append(Retired(action=action, entry=one.entry, quantity=pieces, why=told, fate=fate))
            left -= pieces
    if left:
        raise _not_there(end, f"{bare(quantity)} {stock_code} lot {lot or 'unknown'}", fitted)
    depots = sorted({one.entry.line.bag.depot.depot for one in alike})
    for depot in depots:
        require(scan["actor"], AS_INSTALLED, DO, depot)
    Retired.objects.bulk_create(made)
    data = {"stock_code": stock_code, "lot": lot, "quantity": bare(quantity), "phase": phase, "fate": fate, "why": told}
    happening = Happening("part retired", end, data, "auditor", depots[0])
    record_events([happening], by=scan["actor"].name, at=scan["at"])
    return made


def _locked_history(structure: str, position: str) -> list[Fitted]:
    """What is at a position, its entries locked so that nothing is taken off twice."""
    numbers = [one.entry.pk for one in history(structure, position)]
    [*BagEntry.objects.select_for_update(of=("self",)).filter(pk__in=numbers).order_by("pk")]
    return history(structure, position)


def _is(one: Fitted, stock_code: str, lot: str, phase: str) -> bool:
    named = (one.entry.lot.item.stock_code, one.entry.lot.number) == (stock_code, lot)
    return named and (not phase or not one.entry.phase or phase in one.entry.phase)


def _not_there(end: str, asked: str, fitted: list[Fitted]) -> Refusal:
    there = [one for one in fitted if one.left]
    told = "; ".join(one.sentence for one in there) or "nothing on the books"
    facts = {"end": end, "there": [str(one.entry.lot) for one in there]}
    return Refusal("not-on-that-end", f"{end} does not hold {asked}. On it: {told}.", facts)
