"""Pin pieces to a line with a reason: tried by planning, and asked about where another job would go short by it."""

from collections.abc import Collection
from datetime import datetime
from decimal import Decimal

from inventory.models import Item
from inventory.selectors.finding import depot_named, items_by_code
from inventory.services.actions import use_case
from inventory.services.doubts import Doubts
from inventory.services.whole_pieces import need_whole
from jobs.models import Job
from kitting.calculation.plan_result import Plan
from kitting.calculation.planning import plan
from kitting.calculation.quantities import as_decimal
from kitting.calculation.sheets.book import read_book
from kitting.calculation.what_if import LineChange, differences
from kitting.calculation.what_if import pin_pieces as with_pin
from kitting.errors import Refusal
from kitting.models import Pin
from kitting.roles import Actor
from kitting.selectors.clock import day_at
from kitting.selectors.expired_uses import past_dates
from kitting.selectors.sheets import one_moment, sheets_from_records
from kitting.services.freeze_outages import changes_after_freeze
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.rights import need_pin
from kitting.services.two_persons import need_reason

MAKES_SHORT = "makes-short"
_CHANGED = "facts-changed"
_NAMED = 5


def pin_pieces(
    *,
    job: str,
    line: str,
    stock_code: str,
    quantity: int,
    reason: str,
    actor: Actor,
    at: datetime,
    lot: str = "",
    depot: str = "",
    confirmed: Collection[str] = (),
) -> Pin:
    """Pin thousandths of a stock code, of one lot or depot or any, to a line.

    Raises:
        Doubt: ``makes-short``: lines of other jobs would be short; names them.
        Refusal: ``not-allowed``; ``no-reason``; ``unknown-job``; ``pin-holds-nothing``: there is no such line, the code
            does not serve it, or the pieces are not free in time; says who has pinned them; ``facts-changed``.
    """
    need_pin(actor)
    told = need_reason(reason, "A pin")
    if not Job.objects.filter(job=job, ended="").exists():
        raise Refusal("unknown-job", f"There is no open job {job}.", {"job": job})
    new = Pin(job=Job.objects.get(job=job), line=line, lot=lot, quantity=quantity, reason=told, by=actor.name)
    new.item = items_by_code([stock_code])[stock_code]
    need_whole(new.item, quantity)
    new.depot = depot_named(depot) if depot else None
    try:
        return _tried(new, confirmed, at)
    except Refusal as refusal:
        if refusal.code != _CHANGED:
            raise
    return _tried(new, confirmed, at)  # somebody was first: look again, so that it can be said whose the pieces are


def _tried(new: Pin, confirmed: Collection[str], at: datetime) -> Pin:
    job, line, stock_code = new.job.job, new.line, new.item.stock_code
    with one_moment():
        before, let_go = sheets_from_records(day_at(at)), past_dates()
    after = with_pin(
        before, job=job, line=line, stock_code=stock_code, quantity=f"{as_decimal(new.quantity):f}", lot=new.lot,
        depot=new.depot.depot if new.depot else "",
    )  # fmt: skip
    pinned = plan(read_book(after), as_of=day_at(at), past_dates=let_go)
    _refuse_what_does_not_serve(pinned, line, stock_code)
    now = plan(read_book(before), as_of=day_at(at), past_dates=let_go)
    _refuse_what_is_not_held(now, pinned, new.item)
    losing = _losing(differences(now, pinned), job)
    doubts = Doubts(confirmed)
    if losing:
        named = ", ".join(f"{one.line} ({one.short_after} short)" for one in losing[:_NAMED])
        more = f" and {len(losing) - _NAMED} more" if len(losing) > _NAMED else ""
        doubts.ask(MAKES_SHORT, 1, f"That takes pieces from {named}{more}. Pin them all the same?")
    doubts.settle()
    return _stored(new, before.digest, [one.line for one in losing], at)


@use_case
def _stored(new: Pin, digest: str, losing: list[str], at: datetime) -> Pin:
    lock_chain()
    if sheets_from_records(day_at(at)).digest != digest:
        raise Refusal(_CHANGED, "The records have changed meanwhile: pin again.", {})
    new.save(force_insert=True)
    data = {
        "reason": new.reason,
        "stock_code": new.item.stock_code,
        "lot": new.lot,
        "depot": new.depot.depot if new.depot else "",
        "pieces": as_decimal(new.quantity),
        "makes_short": losing,
    }
    late = changes_after_freeze([new.job.job], reason=new.reason, what=f"a pin to {new.line}")
    record_events([Happening("pinned", new.line, data), *late], by=new.by, at=at)
    return new


def _refuse_what_does_not_serve(after: Plan, line: str, stock_code: str) -> None:
    """Refuse a pin that planning would not hold, in planning's own words."""
    lines = after.requirements[(after.requirements["line"] == line).to_numpy()]
    if lines.empty:
        raise Refusal("pin-holds-nothing", f"No open line is named {line}.", {"line": line})
    if stock_code not in lines["stock_code"].tolist():
        reason = "; ".join(lines["reason"].tolist())
        message = f"{stock_code} can't be pinned to {line}: {reason}. Ask standards for a stand-in."
        raise Refusal("pin-holds-nothing", message, {"line": line, "stock_code": stock_code})


def _refuse_what_is_not_held(before: Plan, after: Plan, item: Item) -> None:
    known = {(one.row, one.problem) for one in before.questions if one.sheet == "pins"}
    for one in after.questions:
        if one.sheet == "pins" and (one.row, one.problem) not in known:
            others = Pin.objects.filter(item=item, job__ended="").select_related("job").order_by("pk")
            named = "".join(f"; {as_decimal(pin.quantity)} pinned to {pin.line} by {pin.by}" for pin in others)
            raise Refusal("pin-holds-nothing", f"{one.problem}{named}.", {"problem": one.problem})


def _losing(changes: Collection[LineChange], job: str) -> list[LineChange]:
    """Lines of other jobs that would be short of more pieces than now."""
    return [one for one in changes if one.job != job and Decimal(one.short_after or 0) > Decimal(one.short_before or 0)]


@use_case
def unpin(*, number: int, reason: str, actor: Actor, at: datetime) -> None:
    """Take a pin away; the next plan gives the pieces as if it had never been.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``no-such-pin``.
    """
    need_pin(actor)
    told = need_reason(reason, "A pin that is taken away")
    lock_chain()
    found = Pin.objects.select_for_update(of=("self",)).select_related("item", "job").filter(pk=number).first()
    if found is None:
        raise Refusal("no-such-pin", f"There is no pin {number}.", {"number": number})
    data = {"reason": told, "stock_code": found.item.stock_code, "pinned_by": found.by, "pinned_why": found.reason}
    line = found.line
    late = changes_after_freeze([found.job.job], reason=told, what=f"a pin taken off {line}")
    found.delete()
    record_events([Happening("unpinned", line, data), *late], by=actor.name, at=at)
