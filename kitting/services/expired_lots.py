"""Pieces past their date go into the bags of one job when standards and the duty supervisor sign together."""

from datetime import date, datetime

from inventory.models import Item, Lot
from inventory.selectors.finding import items_by_code, lots_by_number
from inventory.services.actions import use_case
from jobs.models import Job
from kitting.calculation.quantities import as_decimal
from kitting.errors import Refusal
from kitting.models import APPROVED, ASKED, ExpiredUse
from kitting.roles import DUTY_SUPERVISOR, STANDARDS_ENGINEER, Actor
from kitting.selectors.bag_contents import good_until, is_good
from kitting.services.record_events import Happening, record_events
from kitting.services.rights import signing_of_expired
from kitting.services.two_persons import attempts_kept, decide, locked, need_another, need_reason, turn_down

LET = "expired lot let go"


@use_case
def ask_use_expired(
    *, stock_code: str, lot: str, job: str, quantity: int, reason: str, actor: Actor, at: datetime
) -> ExpiredUse:
    """Sign first that pieces of a lot may be used on a job although its date is past by then.

    A held lot stays stopped whoever signs, and a lot whose date nobody knows is read first.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``unknown-job``; ``moves-nothing``; ``no-date``: of the job, or of the
            lot; ``still-good``; ``asked-already``; those of stock code and lot.
    """
    role = signing_of_expired(actor)
    told = need_reason(reason, "A use past the date")
    item = items_by_code([stock_code])[stock_code]
    found = Job.objects.filter(job=job).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {job}.", {"job": job})
    if quantity <= 0:
        raise Refusal("moves-nothing", "Say how many pieces may be used.", {"quantity": quantity})
    until = _needed(found, item, lots_by_number(item=item, number=lot))
    same = {"item": item, "lot_number": lot, "job": found, "state": ASKED}
    if ExpiredUse.objects.filter(**same).exists():
        message = f"{item} lot {lot} for {found} waits for its second signature already."
        raise Refusal("asked-already", message, {"job": job})
    request = ExpiredUse.objects.create(
        **same, quantity=quantity, good_to=until, asked_by=actor.name, asked_as=role, asked_at=at, why=told
    )
    other = DUTY_SUPERVISOR if role == STANDARDS_ENGINEER else STANDARDS_ENGINEER
    data = {"why": told, "pieces": as_decimal(quantity), "until": until}
    record_events([Happening("expired lot asked", str(request), data, addressed_to=other)], by=actor.name, at=at)
    return request


def _needed(job: Job, item: Item, lots: list[Lot]) -> date:
    """The day through which a job needs a lot, which is past the lot's date."""
    until = good_until(job)
    if until is None:
        raise Refusal("no-date", f"{job} has no cutover: nothing can be said of dates.", {"job": job.job})
    if any(lot.use_by is None for lot in lots):
        message = f"Nobody knows the date of {lots[0]}: read it from the carton first."
        raise Refusal("no-date", message, {"stock_code": item.stock_code})
    if all(is_good(lot, until) for lot in lots):
        raise Refusal("still-good", f"{lots[0]} is good through {until}: no signature is needed.", {"until": until})
    return until


@attempts_kept
@use_case
def sign_use_expired(*, number: int, reason: str, actor: Actor, at: datetime) -> ExpiredUse:
    """Sign second: then so many pieces may be picked for that job, until the day that was signed for.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``;
            ``needs-both``: standards and the duty supervisor sign, each once.
    """
    role = signing_of_expired(actor)
    told = need_reason(reason, "A second signature")
    request = locked(ExpiredUse, number, ASKED)
    need_another(request, actor)
    needed = DUTY_SUPERVISOR if request.asked_as == STANDARDS_ENGINEER else STANDARDS_ENGINEER
    if needed not in actor.roles:
        message = f"{request.asked_by} signed as {request.asked_as}, {actor.name} is {role} too: a {needed} signs."
        raise Refusal("needs-both", message, {"roles": [needed]})
    decide(request, state=APPROVED, actor=actor, decision=told, at=at)
    request.save()
    data = {
        "reason": f"{request.why}; {told}", "asked_by": request.asked_by, "pieces": as_decimal(request.quantity),
        "until": request.good_to,
    }  # fmt: skip
    record_events([Happening(LET, str(request), data, addressed_to="storekeeper")], by=actor.name, at=at)
    return request


@attempts_kept
@use_case
def refuse_use_expired(*, number: int, reason: str, actor: Actor, at: datetime) -> None:
    """Refuse to sign; the lot stays out.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``.
    """
    signing_of_expired(actor)
    request = locked(ExpiredUse, number, ASKED)
    turn_down(request, "expired lot refused", reason=reason, actor=actor, at=at)
