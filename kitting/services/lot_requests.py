"""A lot is let go from hold, or gets a later date by certificate, when two persons sign: standards and another."""

from datetime import date, datetime

from inventory.models import DATED_KINDS, Item, LotHold
from inventory.selectors.finding import items_by_code
from inventory.services.actions import begin, use_case
from inventory.services.dating import extend_date, extendable_lots
from inventory.services.holding import lift_hold
from kitting.errors import Refusal
from kitting.models import APPROVED, ASKED, EXTEND_DATE, RELEASE_HOLD, LotRequest
from kitting.roles import AUDITOR, STANDARDS_ENGINEER, STOREKEEPER, Actor
from kitting.services.record_events import Happening, record_events
from kitting.services.rights import need_keep_items, signing_role
from kitting.services.two_persons import attempts_kept, decide, locked, need_another, need_reason, stamp_of, turn_down


@use_case
def ask_hold_release(*, hold: int, reason: str, actor: Actor, at: datetime) -> LotRequest:
    """Sign first that a lot may be let go: standards or an auditor, with the reason.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``no-open-hold``; ``asked-already``.
    """
    role = signing_role(actor)
    told = need_reason(reason, "A release of a hold")
    found = LotHold.objects.select_for_update(of=("self",)).select_related("item").filter(pk=hold).first()
    if found is None or found.released_at is not None:
        raise Refusal("no-open-hold", f"There is no open hold {hold}.", {"hold": hold})
    return _asked(
        LotRequest(what=RELEASE_HOLD, item=found.item, lot_number=found.lot_number, hold=found),
        told,
        role=role,
        actor=actor,
        at=at,
    )


@use_case
def ask_extension(
    *, stock_code: str, lot: str, use_by: date, certificate: str, reason: str, actor: Actor, at: datetime
) -> LotRequest:
    """Sign first that a lot was inspected and found good until a later date, with the certificate's number.

    Only items of dated kind II may be extended (``say_dated_kind``).

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``asked-already``; those of ``extendable_lots``.
    """
    role = signing_role(actor)
    told = need_reason(reason, "A later date")
    extendable_lots(stock_code=stock_code, lot=lot, use_by=use_by, certificate=certificate)
    item = items_by_code([stock_code])[stock_code]
    request = LotRequest(what=EXTEND_DATE, item=item, lot_number=lot, use_by=use_by, certificate=certificate.strip())
    return _asked(request, told, role=role, actor=actor, at=at)


def _asked(request: LotRequest, told: str, *, role: str, actor: Actor, at: datetime) -> LotRequest:
    open_ones = LotRequest.objects.filter(
        state=ASKED, what=request.what, item=request.item, lot_number=request.lot_number
    )
    if open_ones.exists():
        message = f"{open_ones[0]} waits for its second signature already."
        raise Refusal("asked-already", message, {"request": open_ones[0].pk})
    request.asked_by, request.asked_as, request.asked_at, request.why = actor.name, role, at, told
    request.save()
    data = {"why": told, "use_by": request.use_by, "certificate": request.certificate}
    other = AUDITOR if role == STANDARDS_ENGINEER else STANDARDS_ENGINEER
    record_events([Happening(f"{request.what} asked", str(request), data, addressed_to=other)], by=actor.name, at=at)
    return request


@attempts_kept
@use_case
def sign_lot_request(*, number: int, reason: str, actor: Actor, at: datetime, action: str) -> LotRequest:
    """Sign second, and do it: one of the two who sign is of standards. The same action number again changes nothing.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``;
            ``needs-standards``: two auditors; ``no-open-hold``; those of ``extend_date``.
    """
    done, repeated = begin("sign lot request", {"request": number}, stamp_of(actor, at, action), reason)
    if repeated:
        return LotRequest.objects.get(pk=number)
    role = signing_role(actor)
    told = need_reason(reason, "A second signature")
    request = locked(LotRequest, number, ASKED)
    need_another(request, actor)
    if STANDARDS_ENGINEER not in (role, request.asked_as):
        raise Refusal("needs-standards", "One of the two who sign is a standards engineer.", {"number": number})
    data: dict[str, object] = {"reason": told, "asked_by": request.asked_by, "asked_why": request.why}
    if request.what == RELEASE_HOLD:
        hold = request.hold
        lift_hold(done, hold=hold.pk if hold else 0, reason=f"{request.why}; {told}")
        data["hold"] = hold.pk if hold else 0
    else:
        extended = extend_date(
            done,
            stock_code=request.item.stock_code,
            lot=request.lot_number,
            use_by=request.use_by or date.min,
            certificate=request.certificate,
        )
        data |= {"certificate": request.certificate, "before": extended.before, "after": extended.after}
    decide(request, state=APPROVED, actor=actor, decision=told, at=at)
    request.save()
    name = "hold released" if request.what == RELEASE_HOLD else "date extended"
    record_events([Happening(name, str(request), data, addressed_to=STOREKEEPER)], by=actor.name, at=at)
    return request


@attempts_kept
@use_case
def refuse_lot_request(*, number: int, reason: str, actor: Actor, at: datetime) -> None:
    """Refuse to sign; the lot stays as it is.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``.
    """
    signing_role(actor)
    request = locked(LotRequest, number, ASKED)
    turn_down(request, f"{request.what} refused", reason=reason, actor=actor, at=at)


@use_case
def say_dated_kind(*, stock_code: str, dated_kind: str, reason: str, actor: Actor, at: datetime) -> None:
    """Say whether the date of an item's lots is final (I) or may be extended after an inspection (II).

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``no-such-kind``; that of an unknown stock code.
    """
    need_keep_items(actor)
    told = need_reason(reason, "A kind of dated stock")
    if dated_kind not in DATED_KINDS:
        raise Refusal("no-such-kind", f"Dated stock is of kind {' or '.join(DATED_KINDS)}.", {"read": dated_kind})
    item = items_by_code([stock_code])[stock_code]
    before = item.dated_kind
    Item.objects.filter(pk=item.pk).update(dated_kind=dated_kind, version=item.version + 1)
    data = {"reason": told, "before": before, "after": dated_kind}
    record_events([Happening("dated kind said", f"items {item}", data)], by=actor.name, at=at)
