"""Approved stand-ins end at their date or earlier; a longer time, and what may be approved at night, need reasons."""

from datetime import date, datetime

from inventory.selectors.finding import items_by_code
from inventory.services.actions import use_case
from jobs.models import System
from kitting.calculation.sheets.book import read_book
from kitting.calculation.stand_in_comparison import compare_stand_in
from kitting.errors import Refusal
from kitting.models import APPROVED, ENDED, DutyLimit, StandIn, StandInRequest
from kitting.roles import PLANNER, STOREKEEPER, Actor
from kitting.selectors.clock import day_at
from kitting.selectors.sheets import sheets_from_records
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.rights import need_keep_stand_ins
from kitting.services.stand_in_requests import refuse_hard_checks
from kitting.services.two_persons import attempts_kept, need_another, need_reason


@attempts_kept
@use_case
def extend_stand_in(*, number: int, valid_to: date, reason: str, actor: Actor, at: datetime) -> StandIn:
    """Let an approval hold until a later date; its facts are compared again.

    Args:
        number: of the approval.
        valid_to: its new last day.
        reason: why it must hold longer.
        actor: standards, and not who asked for it.
        at: the moment.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``no-such-approval``; ``own-request``; ``not-later``;
            ``hard-check-fails``: it would not be approved today.
    """
    need_keep_stand_ins(actor)
    told = need_reason(reason, "An extension")
    found = _locked(number)
    request = StandInRequest.objects.filter(approval=found).first()
    if request is not None:
        need_another(request, actor)
    if found.valid_to is None or valid_to <= max(found.valid_to, day_at(at)):
        last = found.valid_to.isoformat() if found.valid_to else "no date"
        raise Refusal("not-later", f"The approval ends on {last}; {valid_to} is no extension.", {"valid_to": last})
    compared = compare_stand_in(
        read_book(sheets_from_records(day_at(at))),
        wanted=found.wanted.stock_code,
        stand_in=found.allowed.stock_code,
        line=request.line if request else "",
        system=found.system.system if found.system else "",
    )
    refuse_hard_checks(compared.forbidden_by)
    before = _end_at(found, valid_to)
    StandInRequest.objects.filter(approval=found).update(state=APPROVED)
    data = {"reason": told, "before": before, "after": valid_to, "asked_by": request.asked_by if request else ""}
    record_events([Happening("stand-in extended", f"{found}", data, addressed_to=PLANNER)], by=actor.name, at=at)
    return found


@use_case
def end_stand_in(*, number: int, valid_to: date, reason: str, actor: Actor, at: datetime) -> StandIn:
    """Let an approval end on an earlier day than it says; lines that use it later turn short.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``no-such-approval``; ``not-earlier``.
    """
    need_keep_stand_ins(actor)
    told = need_reason(reason, "An earlier end")
    found = _locked(number)
    if found.valid_to is not None and valid_to >= found.valid_to:
        raise Refusal("not-earlier", f"The approval ends on {found.valid_to} anyhow.", {"valid_to": found.valid_to})
    before = _end_at(found, valid_to)
    StandInRequest.objects.filter(approval=found).update(state=ENDED)
    data = {"reason": told, "before": before, "after": valid_to}
    record_events([Happening("stand-in ended", f"{found}", data, addressed_to=STOREKEEPER)], by=actor.name, at=at)
    return found


def _locked(number: int) -> StandIn:
    lock_chain()  # before the record, as loading does, so that neither waits for the other
    stand_ins = StandIn.objects.select_for_update(of=("self",)).select_related("wanted", "allowed", "system")
    found = stand_ins.filter(pk=number).first()
    if found is None:
        raise Refusal("no-such-approval", f"There is no approved stand-in {number}.", {"number": number})
    return found


def _end_at(found: StandIn, valid_to: date) -> date | None:
    """Set the last day; an approval that would end before it starts never starts. Returns the former last day."""
    before, found.valid_to = found.valid_to, valid_to
    if found.valid_from is not None and found.valid_from > valid_to:
        found.valid_from = valid_to
    found.version += 1
    found.save(update_fields=("valid_from", "valid_to", "version"))
    return before


@use_case
def unlist_for_duty(*, number: int, reason: str, actor: Actor, at: datetime) -> None:
    """Take a pair off the list of what a duty supervisor may approve; what was approved stays.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``not-listed``.
    """
    need_keep_stand_ins(actor)
    told = need_reason(reason, "A pair that is taken off the list")
    if not DutyLimit.objects.filter(pk=number, ended_at__isnull=True).update(ended_at=at):
        raise Refusal("not-listed", f"Nothing is listed under {number}.", {"number": number})
    listed = str(DutyLimit.objects.get(pk=number))
    record_events([Happening("stand-in off the duty list", listed, {"reason": told})], by=actor.name, at=at)


@use_case
def list_for_duty(
    *,
    wanted: str,
    stand_in: str,
    most_pieces: int,
    most_days: int,
    reason: str,
    actor: Actor,
    at: datetime,
    system: str = "",
) -> DutyLimit:
    """List what a duty supervisor may approve at night, in the place of a former listing of the pair and system.

    Args:
        wanted: stock code that serves.
        stand_in: stock code that may be taken instead.
        most_pieces: thousandths, the most that one approval may allow.
        most_days: days from the approval on, the longest.
        reason: why it may be approved without standards.
        actor: standards.
        at: the moment.
        system: the only system on which it may be; '' for any.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``no-limit``; ``hard-check-fails``: nobody may approve it.
    """
    need_keep_stand_ins(actor)
    told = need_reason(reason, "A listing")
    if most_pieces <= 0 or most_days <= 0:
        raise Refusal("no-limit", "A listing allows at least one piece and one day.", {})
    book = read_book(sheets_from_records(day_at(at)))
    refuse_hard_checks(compare_stand_in(book, wanted=wanted, stand_in=stand_in, system=system).forbidden_by)
    items = items_by_code([wanted, stand_in])
    pair = {
        "wanted": items[wanted],
        "stand_in": items[stand_in],
        "system": System.objects.get(system=system) if system else None,
    }
    DutyLimit.objects.filter(**pair, ended_at__isnull=True).update(ended_at=at)
    listed = DutyLimit.objects.create(
        **pair, most_pieces=most_pieces, most_days=most_days, listed_by=actor.name, listed_at=at, reason=told
    )
    data = {"reason": told, "system": system, "most_pieces": most_pieces, "most_days": most_days}
    record_events([Happening("stand-in listed for duty", str(listed), data)], by=actor.name, at=at)
    return listed
