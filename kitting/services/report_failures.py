"""Report what failed on the line, with its place and lot as far as anybody knows; take back a report that is wrong."""

from collections.abc import Collection
from datetime import datetime
from typing import Unpack

from inventory.models import Item
from inventory.selectors.finding import items_by_code, lots_by_number
from inventory.services.actions import begin, use_case
from inventory.services.doubts import Doubts
from jobs.models import CODE_LENGTH, Position, Structure
from kitting.errors import Refusal
from kitting.models import BagEntry, Failure
from kitting.models.bags import FITTED
from kitting.roles import AUDITOR, DO, Actor, require
from kitting.selectors.bag_contents import bare
from kitting.selectors.installed_ends import history
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, stamp_of
from kitting.services.two_persons import need_reason

FAILURE = "failure"
_PHASES = "ABC"


@use_case
def report_failure(
    *,
    what: str,
    failed_at: datetime | None = None,
    structure: str = "",
    position: str = "",
    phase: str = "",
    stock_code: str = "",
    lot: str = "",
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> Failure:
    """Note that something failed on the line. Nothing is moved by it: what comes off is retired at its end.

    Args:
        what: what failed, and how it was seen, in words.
        failed_at: when it failed or was found failed; None for now.
        structure, position, phase: where; '' as far as nobody knows.
        stock_code, lot: of what; '' as far as nobody knows.
        confirmed: questions that were answered with yes.
        scan: who, when, the number of the action.

    Raises:
        Doubt: the books have no such structure, or no piece of that lot at that end.
        Refusal: ``no-reason``: it says nothing; ``not-yet``: a moment to come; ``no-structure``; ``too-long``;
            ``unknown-phase``; ``no-stock-code``; the stock code or the lot is unknown; ``not-allowed``.
    """
    told, letters = need_reason(what, "A failure, told in words what failed,"), phase.upper()
    require(scan["actor"], FAILURE, DO)
    _check(structure, position, letters, failed_at or scan["at"], scan["at"])
    item = _item(stock_code, lot)
    content = {
        "what": told, "failed_at": failed_at and failed_at.isoformat(), "structure": structure, "position": position,
        "phase": letters, "stock_code": stock_code, "lot": lot,
    }  # fmt: skip
    action, repeated = begin("report failure", content, stamp_of(scan))
    if repeated:
        return Failure.objects.select_related("item").get(action=action)
    _settle(structure, position, item, lot, confirmed)
    made = Failure.objects.create(
        action=action, structure=structure, position=position, phase=letters, item=item, lot_number=lot,
        failed_at=failed_at or scan["at"], what=told, depot=_depot(structure, position, scan["actor"]),
    )  # fmt: skip
    data = {**content, "failed_at": made.failed_at.isoformat(), "failure": made.pk, "action": scan["action"]}
    happening = Happening("failure reported", _end(made), data, addressed_to=AUDITOR, depot=made.depot)
    record_events([happening], by=scan["actor"].name, at=scan["at"])
    return made


@use_case
def withdraw_failure(*, number: int, why: str, **scan: Unpack[Scan]) -> Failure:
    """Take back a report that is wrong: it stays, with the reason, and counts nowhere any more.

    Raises:
        Refusal: ``no-reason``; ``unknown-failure``: there is none, or it was withdrawn before; ``not-allowed``;
            ``other-depot``: it is of another depot, and of another person.
    """
    told = need_reason(why, "Withdrawing a failure report")
    require(scan["actor"], FAILURE, DO)
    _, repeated = begin("withdraw failure", {"number": number, "why": told}, stamp_of(scan), told)
    found = Failure.objects.select_for_update(of=("self",)).select_related("item", "action").filter(pk=number).first()
    if found is None or (found.withdrawn_why and not repeated):
        gone = f"was withdrawn before: {found.withdrawn_why}" if found else "is not in the books"
        raise Refusal("unknown-failure", f"Failure {number} {gone}.", {"number": number})
    if repeated:
        return found
    if found.action.by != scan["actor"].name:
        require(scan["actor"], FAILURE, DO, found.depot)
    found.withdrawn_why = told
    found.save(update_fields=["withdrawn_why"])
    data = {"why": told, "failure": number, "action": scan["action"]}
    happening = Happening("failure withdrawn", _end(found), data, addressed_to=AUDITOR, depot=found.depot)
    record_events([happening], by=scan["actor"].name, at=scan["at"])
    return found


def _check(structure: str, position: str, phase: str, failed_at: datetime, now: datetime) -> None:
    if failed_at > now:
        raise Refusal("not-yet", "A failure is reported once it is there: its moment is still to come.", {})
    if (position or phase) and not structure:
        raise Refusal("no-structure", "A position and a phase belong to a structure: name it, or leave them blank.", {})
    if longest := next((one for one in (structure, position) if len(one) > CODE_LENGTH), ""):
        message = f"{longest[:20]}… has {len(longest)} letters; a place has {CODE_LENGTH} at most."
        raise Refusal("too-long", message, {"letters": len(longest)})
    if set(phase) - set(_PHASES) or len(set(phase)) < len(phase):
        raise Refusal("unknown-phase", f"Phases are letters of {_PHASES}, not {phase}.", {"phase": phase})


def _item(stock_code: str, lot: str) -> Item | None:
    """The stock code, with a lot number that it has.

    Raises:
        Refusal: they are unknown, or a lot is named without a stock code.
    """
    if lot and not stock_code:
        raise Refusal("no-stock-code", f"Lot {lot} of which stock code? Name it as well.", {"lot": lot})
    if not stock_code:
        return None
    item = items_by_code([stock_code])[stock_code]
    if lot:
        lots_by_number(item=item, number=lot)
    return item


def _settle(structure: str, position: str, item: Item | None, lot: str, confirmed: Collection[str]) -> None:
    """What was seen at the line is a fact also where the books know otherwise; a slip of the pen is asked about."""
    doubts = Doubts(confirmed)
    fitted = history(structure, position) if structure else []
    end = "-".join(filter(None, (structure, position)))
    if structure and not fitted and not Structure.objects.filter(structure=structure).exists():
        doubts.ask(
            "unknown-structure", 1, f"NOT ON THE BOOKS: no structure {structure}: keep the report as it is typed?"
        )
    alike = any(one.entry.lot.item == item and one.entry.lot.number in (lot, "") for one in fitted)
    if position and item and lot and not alike:
        there = "; ".join(f"{bare(one.entry.quantity)} {one.entry.lot}" for one in fitted) or "nothing"
        question = f"OTHER LOT: by the books no {item} lot {lot} was ever on {end}, but {there}: keep what was seen?"
        doubts.ask("not-on-that-end", 1, question)
    doubts.settle()


def _depot(structure: str, position: str, actor: Actor) -> str:
    """The depot of the job that fitted the place last, or whose place it is to be, else that of who reports."""
    fitted = BagEntry.objects.filter(FITTED, line__bag__structure=structure).order_by("-pk") if structure else ()
    at_structure = Position.objects.filter(structure__structure=structure, job__isnull=False).order_by("pk")
    for entry in fitted[:1]:
        return entry.line.bag.job.depot
    for place in (at_structure.filter(position=position) or at_structure)[:1]:
        return place.job.depot if place.job else ""
    return next(iter(sorted(actor.depots)), "")


def _end(one: Failure) -> str:
    return "-".join(filter(None, (one.structure, one.position))) or "place unknown"
