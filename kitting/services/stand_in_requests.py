"""A stand-in is asked for, compared fact by fact, and approved with limits or refused by another person."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime

from inventory.selectors.finding import items_by_code
from inventory.services.actions import use_case
from jobs.models import System
from kitting.calculation.fit_matching.comparing import FactBeside
from kitting.calculation.quantities import as_decimal
from kitting.calculation.sheets.book import read_book
from kitting.calculation.stand_in_comparison import Comparison, compare_stand_in, template_of_line
from kitting.errors import Refusal
from kitting.models import APPROVED, ASKED, COMPARED, DutyLimit, StandIn, StandInRequest
from kitting.roles import CREW_LEAD, DUTY_SUPERVISOR, PLANNER, STANDARDS_ENGINEER, STOREKEEPER, Actor
from kitting.selectors.clock import day_at
from kitting.selectors.sheets import sheets_from_records
from kitting.services.record_events import Happening, record_events
from kitting.services.rights import need_ask_stand_in, need_decide_stand_in, need_see_stand_in, role_of
from kitting.services.two_persons import attempts_kept, decide, locked, need_another, need_reason, turn_down


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What an approval allows: one system or any, dates of the cutover (ends included), so many thousandths or any."""

    valid_to: date
    valid_from: date | None = None
    system: str = ""
    most: int | None = None


@use_case
def ask_stand_in(
    *,
    wanted: str,
    stand_in: str,
    why: str,
    actor: Actor,
    at: datetime,
    line: str = "",
    system: str = "",
    outage_running: bool = False,
) -> StandInRequest:
    """Ask to use one stock code instead of another, for a line or wherever the wanted one is taken.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``unknown-system``; ``no-such-line``; ``same-part``; those of the
            stock codes.
    """
    need_ask_stand_in(actor)
    told = need_reason(why, "A stand-in")
    items = items_by_code([wanted, stand_in])
    if items[wanted] == items[stand_in]:
        raise Refusal("same-part", f"{items[wanted]} can't stand in for itself: name another stock code.", {})
    if line:
        template_of_line(read_book(sheets_from_records(day_at(at))), line)
    request = StandInRequest.objects.create(
        wanted=items[wanted],
        stand_in=items[stand_in],
        line=line,
        system=_system(system),
        outage_running=outage_running,
        asked_by=actor.name,
        asked_as=role_of(actor, CREW_LEAD, STOREKEEPER, DUTY_SUPERVISOR, STANDARDS_ENGINEER),
        asked_at=at,
        why=told,
    )
    roles = (STANDARDS_ENGINEER, DUTY_SUPERVISOR) if outage_running else (STANDARDS_ENGINEER,)
    data = {"line": line, "system": system, "why": told, "outage_running": outage_running}
    record_events(
        [Happening("stand-in asked", str(request), data, addressed_to=role) for role in roles], by=actor.name, at=at
    )
    return request


def _system(code: str) -> System | None:
    if not code:
        return None
    found = System.objects.filter(system=code).first()
    if found is None:
        raise Refusal("unknown-system", f"There is no system {code}.", {"system": code})
    return found


@use_case
def compare_request(*, number: int, actor: Actor, at: datetime) -> Comparison:
    """Show every fact of both parts, as the records stand; what was shown is kept with the request.

    Raises:
        Refusal: ``not-allowed``; ``no-such-request``; ``decided-already``; ``not-its-code``.
    """
    need_see_stand_in(actor)
    request = locked(StandInRequest, number, ASKED, COMPARED)
    found = _compared(request, at)
    request.compared, request.state = [asdict(fact) for fact in found.facts], COMPARED
    request.save(update_fields=("compared", "state"))
    data = {"facts": request.compared, "forbidden_by": [fact.check for fact in found.forbidden_by]}
    record_events([Happening("stand-in compared", str(request), data)], by=actor.name, at=at)
    return found


def _compared(request: StandInRequest, at: datetime) -> Comparison:
    book = read_book(sheets_from_records(day_at(at)))
    return compare_stand_in(
        book,
        wanted=request.wanted.stock_code,
        stand_in=request.stand_in.stock_code,
        line=request.line,
        system=request.system.system if request.system else "",
    )


@attempts_kept
@use_case
def approve_stand_in(*, number: int, limits: Limits, reason: str, actor: Actor, at: datetime) -> StandIn:
    """Approve a stand-in within limits; from then on planning takes it after all own codes.

    Standards approve; a duty supervisor only what standards have listed for that, within the listed limits.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``;
            ``compare-first``: nobody has looked at the facts as they stand; ``hard-check-fails``: no one can approve
            it, names the checks; ``beyond-limits``; ``no-limit``: the limits are no limits.
    """
    only_listed = need_decide_stand_in(actor)
    told = need_reason(reason, "An approval")
    request = locked(StandInRequest, number, ASKED, COMPARED)
    need_another(request, actor)
    system = _limited_system(request, limits)
    _check_limits(limits, at)
    if only_listed:
        _refuse_beyond_list(request, system, limits, at)
    found = _compared(request, at) if request.compared else None
    if found is None or request.compared != [asdict(fact) for fact in found.facts]:
        raise Refusal("compare-first", f"Look at the facts of {request} first, as they are now.", {"number": number})
    refuse_hard_checks(found.forbidden_by)
    request.approval = StandIn.objects.create(
        wanted=request.wanted,
        allowed=request.stand_in,
        system=system,
        valid_from=limits.valid_from,
        valid_to=limits.valid_to,
        max_quantity=limits.most,
        approved_by=actor.name,
        reason=told,
    )
    decide(request, state=APPROVED, actor=actor, decision=told, at=at)
    request.save()
    data = {
        "reason": told,
        "asked_by": request.asked_by,
        "line": request.line,
        "limits": asdict(limits),
        "worse": [fact.check for fact in found.facts if fact.verdict == "worse"],
    }
    approved = Happening("stand-in approved", str(request), data, addressed_to=PLANNER)
    answered = Happening("stand-in answered", str(request), {"approved": True}, addressed_to=request.asked_as)
    record_events([approved, answered], by=actor.name, at=at)
    return request.approval


def refuse_hard_checks(failing: Sequence[FactBeside]) -> None:
    """Refuse where a check forbids the stand-in, whoever asks.

    Raises:
        Refusal: ``hard-check-fails``.
    """
    if failing:
        told = "; ".join(f"{fact.check}: {fact.sentence}" for fact in failing)
        checks = [fact.check for fact in failing]
        raise Refusal("hard-check-fails", f"Nobody can approve this stand-in. {told}.", {"checks": checks})


def _limited_system(request: StandInRequest, limits: Limits) -> System | None:
    """The system that the approval is limited to: what was compared for one system holds for that one only."""
    if request.system is not None and limits.system != request.system.system:
        message = f"The facts were compared for {request.system}: limit the approval to that system."
        raise Refusal("no-limit", message, {"system": request.system.system})
    return _system(limits.system)


def _check_limits(limits: Limits, at: datetime) -> None:
    if limits.valid_from and limits.valid_to < limits.valid_from:
        message = f"An approval can't end on {limits.valid_to}, before it begins on {limits.valid_from}."
        raise Refusal("no-limit", message, {})
    if limits.valid_to < day_at(at):
        raise Refusal("no-limit", f"An approval that ends on {limits.valid_to} has ended already.", {})
    if limits.most is not None and limits.most <= 0:
        raise Refusal("no-limit", "The greatest number of pieces must be above zero.", {"most": limits.most})


def _refuse_beyond_list(request: StandInRequest, system: System | None, limits: Limits, at: datetime) -> None:
    wanted, stand_in = request.wanted, request.stand_in
    listed = DutyLimit.objects.filter(wanted=wanted, stand_in=stand_in, ended_at__isnull=True).select_related("system")
    found = [one for one in listed if one.system in (None, system)]
    if not found:
        message = f"{stand_in} for {wanted} is not on the list of what a duty supervisor may approve: ask standards."
        raise Refusal("beyond-limits", message, {"stand_in": stand_in.stock_code, "wanted": wanted.stock_code})
    days = (limits.valid_to - day_at(at)).days
    if not any(limits.most is not None and limits.most <= one.most_pieces and days <= one.most_days for one in found):
        told = "; ".join(f"{as_decimal(one.most_pieces)} pieces and {one.most_days} days" for one in found)
        message = f"A duty supervisor may approve {stand_in} for {wanted} for at most {told}: ask standards for more."
        raise Refusal("beyond-limits", message, {"limits": told})


@attempts_kept
@use_case
def refuse_stand_in(*, number: int, reason: str, actor: Actor, at: datetime) -> None:
    """Refuse a request with a reason, told to who asked.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``.
    """
    need_decide_stand_in(actor)
    request = locked(StandInRequest, number, ASKED, COMPARED)
    turn_down(request, "stand-in refused", reason=reason, actor=actor, at=at)
