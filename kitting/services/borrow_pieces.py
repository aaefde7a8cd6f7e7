"""Borrow pieces from a staged bag, only where free ones are gone, and pay them back."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Unpack

from inventory.models import Item, Lot, Place
from inventory.selectors.finding import items_by_code, local_day
from inventory.services.actions import begin, use_case
from inventory.services.doubts import Doubts
from inventory.services.moving import Carry, carry
from kitting.calculation.bag_states import BORROW, PICK
from kitting.errors import Refusal
from kitting.models import TO_BORROW, Bag, BagEntry, Borrow
from kitting.models.bags import BORROWED, PICKED
from kitting.models.storms import FREE_TO_BREAK, NEVER
from kitting.roles import APPROVE, BUYER, CREW_LEAD, PLANNER, STOREKEEPER, Actor, require
from kitting.selectors.bag_contents import bag_by_code, bare, contents_of, good_until, label_code
from kitting.selectors.count_lists import SPOT_EVENT
from kitting.selectors.promises import staged_days
from kitting.selectors.sources import AT_HAND, FREE, Source, sources
from kitting.selectors.storms import kept_kit
from kitting.services.bag_leave import Leave, end_requests, leave_for
from kitting.services.fill_bags import put_in, refuse_unfit, taken_out
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Answer, Opened, Scan, advance, lines_with, opened, place_of, settled, stamp_of
from kitting.services.two_persons import attempts_kept, need_reason

STAGED_BAG = "staged bag"


@dataclass(frozen=True, slots=True)
class Owed:
    """An open borrow as the ledger shows it, with its age in days; ``left`` are thousandths still to come back."""

    borrow: Borrow
    left: int
    age_days: int

    @property
    def sentence(self) -> str:
        """In words."""
        return (
            f"{bare(self.left)} {self.borrow.lot.item} for {self.borrow.bag}, lent to {self.borrow.to_job} "
            f"{self.age_days} days ago ({self.borrow.why}; {self.borrow.authorised_by}), due {self.borrow.pay_back_by}"
        )


@attempts_kept
@use_case
def borrow(
    *,
    bag: str,
    to_bag: str,
    stock_code: str,
    lot: str,
    quantity: int,
    why: str,
    authoriser: Actor | None = None,
    pay_back_by: date,
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> Borrow:
    """Take pieces out of a bag in store and put them in a bag of another job; the lending bag is broken then.

    Args:
        bag, to_bag: codes on their labels.
        stock_code, lot, quantity: what is taken, in thousandths.
        why: the reason in words.
        authoriser: planner or duty supervisor; not who takes the pieces. None: by what was approved.
        pay_back_by: the day by which they come back.
        confirmed: keys of questions answered with yes; yes to ``free-first`` says that the pieces named are gone.
        scan: who, when, the number of the action.

    Raises:
        Doubt: ``free-first``: there are free pieces; ``pay-back-late``: they come back after the lending bag must be
            ready.
        Refusal: ``no-reason``; ``not-allowed``; ``own-approval``; ``no-leave``: nobody signs in, and exactly this was
            not approved; ``leave-lapsed``; ``too-late``: later than was approved; ``kit-kept``: a storm is open, and
            the list says that this kit is broken never, or only with the planner; ``same-job``; ``wrong-item``;
            ``not-in-bag``; ``pay-back-past``; ``lot-held``, ``expires-before-cutover``: they would not do in the other
            bag; or a bag's state forbids it.
    """
    told = need_reason(why, "A borrow")
    content = {
        "to_bag": to_bag, "code": stock_code, "lot": lot, "quantity": quantity,
        "authoriser": authoriser.name if authoriser else "", "pay_back_by": pay_back_by,
    }  # fmt: skip
    one = opened(bag, BORROW, content, scan, why=told)
    if one.repeated:
        return Borrow.objects.get(bag=one.bag, borrowed_at=one.action.at, lot__number=lot, quantity=quantity)
    taker = bag_by_code(to_bag, lock=True)
    item = items_by_code([stock_code])[stock_code]
    exactly: dict[str, Any] = {"to_bag": taker, "item": item, "lot_number": lot}
    leave = _leave(one, authoriser, told, pay_back_by, quantity=quantity, **exactly)
    refuse_kept(one.bag, as_planner=leave.as_planner)
    need_other_job(one.bag, taker)
    free = free_first(item, taker)
    ask_before_lending(one.bag, free, pay_back_by, local_day(one.bag.depot, scan["at"]), confirmed)
    state = advance(one, BORROW, reason=told)
    lent = Borrow.objects.create(
        bag=one.bag, to_job=taker.job, lot=_carried(one, taker, stock_code, lot, quantity), quantity=quantity, why=told,
        free_first=[source.sentence for source in free], asked_by=leave.asked_by, authorised_by=leave.by,
        borrowed_at=one.action.at, pay_back_by=pay_back_by,
    )  # fmt: skip
    facts = _facts(lent, taker)
    end_requests(one.bag, TO_BORROW, leave, **exactly)
    settled(one, state, "bag broken", facts, addressed_to=PLANNER, checked_by="", why=f"lent to {taker}: {told}")
    _tell(one, free, facts)
    return lent


def _carried(one: Opened, taker: Bag, stock_code: str, lot: str, quantity: int) -> Lot:
    """Carry the pieces from one bag to the other; returns their lot."""
    parts = [*taken_out(one.contents, stock_code, lot, quantity)]
    for line, found, pieces in parts:
        one.write(line, found, BORROWED, pieces, facts={"to": str(taker)})
    _into(one, taker, parts)
    return parts[0][1]


def _facts(lent: Borrow, taker: Bag) -> dict[str, object]:
    """What is told of a borrow."""
    return {
        "pieces": f"{bare(lent.quantity)} {lent.lot.item} lot {lent.lot.number}", "to": str(taker), "reason": lent.why,
        "authorised_by": lent.authorised_by, "asked_by": lent.asked_by, "pay_back_by": lent.pay_back_by,
        "free_first": lent.free_first,
    }  # fmt: skip


@use_case
def pay_back(
    *,
    number: int,
    lot: str,
    place: Place,
    quantity: int,
    stock_code: str = "",
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> Answer:
    """Put pieces of the borrowed stock code in the lending bag again, or of one that stands in for it there.

    Args:
        number: of the borrow.
        lot, place, quantity: what comes back, in thousandths.
        stock_code: of it; '' for the one that was lent.
        confirmed: keys of questions answered with yes.
        scan: who, when, the number of the action.

    Raises:
        Doubt: ``other-lot``: not the lot that was lent.
        Refusal: ``no-open-borrow``; ``needs-stand-in``: another part, which does not stand in on the bag's list;
            ``over-pick``: more than was lent; or as ``pick``.
    """
    lent = _lent(number)
    content = {"borrow": number, "lot": lot, "place": place.pk, "quantity": quantity}
    content |= {"code": stock_code} if stock_code else {}
    one = opened(label_code(lent.bag), PICK, content, scan)
    if one.repeated:
        return Answer("PAID BACK", f"{lent}: booked already.", one.bag, repeated=True)
    left = lent.quantity - lent.paid
    if quantity > left or lent.given_up_why:
        raise Refusal("no-open-borrow", f"{lent}: {bare(left)} are to come back, not {bare(quantity)}.", {})
    item = _comes_back(one, lent, stock_code)
    doubts = Doubts(confirmed)
    if item == lent.lot.item and lot != lent.lot.number:
        doubts.ask("other-lot", 1, f"{lent.lot} was lent; these are of lot {lot or 'unknown'}: take them?")
    doubts.settle()
    state = advance(one, PICK)
    answered = [*confirmed, "other-lot/1"]
    taken = put_in(one, item, lot, place, quantity, as_spare=False, confirmed=answered)
    lent.paid += quantity
    lent.save(update_fields=("paid",))
    told = {"pieces": f"{bare(quantity)} {taken}", "borrow": str(lent), "left": bare(lent.quantity - lent.paid)}
    settled(one, state, "paid back", told, addressed_to=PLANNER, checked_by="")
    return Answer("PAID BACK", f"{bare(lent.quantity - lent.paid)} still to come back for {one.bag}.", one.bag)


def _comes_back(one: Opened, lent: Borrow, stock_code: str) -> Item:
    """The item that is paid back with.

    Raises:
        Refusal: ``needs-stand-in``; ``unknown-stock-code``.
    """
    item = items_by_code([stock_code])[stock_code] if stock_code else lent.lot.item
    wanted = lent.lot.item.stock_code
    on_list = [stand.line for stand in one.contents.lines if stand.line.item_id == item.pk and not stand.line.dropped]
    if item != lent.lot.item and not any(line.instead_of == wanted for line in on_list):
        message = f"WRONG ITEM: {wanted} was lent; {item} needs an approved stand-in on the list of {one.bag}."
        raise Refusal("needs-stand-in", message, {"lent": wanted, "is": item.stock_code})
    return item


@use_case
def give_up_borrow(*, number: int, why: str, **scan: Unpack[Scan]) -> Borrow:
    """Say that pieces will not come back: the lending bag is really short of them, and the next plan looks for others.

    Raises:
        Refusal: ``not-allowed``; ``other-depot``; ``no-reason``; ``no-open-borrow``: there is none, it is paid back, or
            it was given up.
    """
    lent = _lent(number)
    actor, at, depot = scan["actor"], scan["at"], lent.bag.depot.depot
    require(actor, STAGED_BAG, APPROVE, depot)
    told = need_reason(why, "A borrow that is given up")
    _, repeated = begin("give up borrow", {"borrow": number}, stamp_of(scan), told)
    if repeated:
        return lent
    left = lent.quantity - lent.paid
    if not left or lent.given_up_why:
        raise Refusal("no-open-borrow", f"{lent}: nothing is to come back.", {"borrow": number})
    lent.given_up_why = told
    lent.save(update_fields=("given_up_why",))
    facts = {"pieces": f"{bare(left)} {lent.lot.item}", "to": str(lent.to_job), "why": told}
    happenings = [
        Happening("borrow given up", str(lent.bag), facts, addressed_to=role, depot=depot) for role in (PLANNER, BUYER)
    ]
    record_events(happenings, by=actor.name, at=at)
    return lent


def reasons() -> list[tuple[str, int, int]]:
    """Why pieces were borrowed: each reason with how many borrows and how many are open, the most frequent first."""
    counted: dict[str, tuple[str, int, int]] = {}
    rows = Borrow.objects.order_by("pk").values_list("why", "quantity", "paid", "given_up_why")
    for why, quantity, paid, given_up in rows:
        named, count, open_ = counted.get(why.casefold(), (why, 0, 0))
        counted[why.casefold()] = (named, count + 1, open_ + (paid < quantity and not given_up))
    return sorted(counted.values(), key=lambda one: (-one[1], one[0]))


def ledger(today: date) -> list[Owed]:
    """Open borrows, the oldest first; one query."""
    found = Borrow.objects.filter(given_up_why="").select_related("bag__job", "bag__depot", "to_job", "lot__item")
    return [
        Owed(lent, lent.quantity - lent.paid, (today - local_day(lent.bag.depot, lent.borrowed_at)).days)
        for lent in found.order_by("borrowed_at", "pk")
        if lent.paid < lent.quantity
    ]


def _lent(number: int) -> Borrow:
    found = Borrow.objects.select_for_update(of=("self",)).select_related(
        "lot__item", "bag__job", "bag__depot", "to_job"
    )
    lent = found.filter(pk=number).first()
    if lent is None:
        raise Refusal("no-open-borrow", f"There is no borrow {number}.", {"borrow": number})
    return lent


def _leave(one: Opened, authoriser: Actor | None, told: str, pay_back_by: date, **exactly: Any) -> Leave:
    leave = leave_for(one, TO_BORROW, authoriser, told, **exactly)
    if leave is None:
        message = "NEEDS SUPERVISOR: planner or duty supervisor sign in here, or are asked first and approve it."
        raise Refusal("no-leave", message, {"bag": str(one.bag)})
    last = leave.request.pay_back_by if leave.request else None
    if last and pay_back_by > last:
        raise Refusal("too-late", f"{leave.by} approved it to be paid back by {last}.", {"by": str(last)})
    return leave


def need_other_job(lender: Bag, taker: Bag) -> None:
    """Refuse to borrow within a job.

    Raises:
        Refusal: ``same-job``.
    """
    if taker.job_id == lender.job_id:
        raise Refusal("same-job", f"{taker} is of {lender.job} as well: put the pieces back and pick them.", {})


def refuse_kept(lender: Bag, *, as_planner: bool) -> None:
    """Refuse to break a kit that an open storm keeps.

    Raises:
        Refusal: ``kit-kept``.
    """
    kept = kept_kit(lender.job_id)
    if kept is None or kept.protection == FREE_TO_BREAK:
        return
    if kept.protection == NEVER or not as_planner:
        way = "take other pieces" if kept.protection == NEVER else "ask a planner"
        message = f"KEPT: {lender} is broken {kept.protection} in storm {kept.storm} ({kept.by}: {kept.why}): {way}."
        raise Refusal("kit-kept", message, {"bag": str(lender), "protection": kept.protection})


def free_first(item: Item, taker: Bag) -> list[Source]:
    """Free pieces that would do instead of a bag's, the first to be taken first: the reserve and other depots too."""
    until = good_until(taker.job)
    if until is None:
        return []
    return [one for one in sources(item=item, depot=taker.depot.depot, until=until) if one.kind in FREE]


def ask_before_lending(
    lender: Bag, free: Sequence[Source], pay_back_by: date, today: date, confirmed: Collection[str]
) -> None:
    """Ask whether free pieces are gone, and whether pieces may come back after the lending bag must be ready.

    Raises:
        Doubt: ``free-first``; ``pay-back-late``.
        Refusal: ``pay-back-past``.
    """
    if pay_back_by < today:
        raise Refusal("pay-back-past", f"{pay_back_by} is past: say by which day to come they are paid back.", {})
    doubts = Doubts(confirmed)
    if free:
        named = "; ".join(source.sentence for source in free)
        doubts.ask("free-first", 1, f"Take these first: {named}. Are they gone, or not to be had in time?")
    staged_by = staged_days().of(lender.job.job, lender.depot.depot)
    if staged_by and pay_back_by > staged_by:
        question = f"{lender} must be ready by {staged_by}; paid back by {pay_back_by} is too late. Lend all the same?"
        doubts.ask("pay-back-late", 1, question)
    doubts.settle()


def _into(one: Opened, taker: Bag, parts: Sequence[tuple[object, Lot, int]]) -> None:
    """The pieces lie in the taker's bag, for its lines that want them."""
    contents = contents_of([taker])[taker.pk]
    taking = Opened(taker, contents, one.action, False, one.scan)
    advance(taking, PICK)
    entries = []
    missing = {stand.line.pk: stand.missing for stand in contents.lines}
    for _, lot, pieces in parts:
        refuse_unfit(taker, lot, pieces, None)
        left = pieces
        for line in lines_with(taking, lot.item_id):
            share = min(left, missing[line.pk])
            if share > 0:
                entries.append(BagEntry(action=one.action, line=line, lot=lot, deed=PICKED, quantity=share))
                missing[line.pk] -= share
                left -= share
        if left:
            message = f"{taker} wants {bare(pieces - left)} {lot.item}, not {bare(pieces)}."
            raise Refusal("wrong-item", message, {"wanted": pieces - left})
    carries = [Carry(lot=lot, quantity=pieces, source=place_of(one), target=taker.place) for _, lot, pieces in parts]
    carry(one.action, carries, one.action.why)
    BagEntry.objects.bulk_create(entries)
    taker.state = advance(taking, PICK)
    taker.checked_by = ""
    taker.version += 1
    taker.save(update_fields=("state", "checked_by", "version"))


def _tell(one: Opened, free: Sequence[Source], facts: dict[str, object]) -> None:
    """Storekeeper and crew hear of the broken bag; bins that are said to be empty are to be counted."""
    depot = one.bag.depot.depot
    happenings = [Happening("bag broken", str(one.bag), facts, addressed_to=role, depot=depot) for role in
                  (STOREKEEPER, CREW_LEAD)]  # fmt: skip
    happenings += [
        Happening(SPOT_EVENT, str(source.balance.place), {"said gone": source.sentence},
                  addressed_to=STOREKEEPER, depot=depot)
        for source in free
        if source.kind in AT_HAND
    ]  # fmt: skip
    record_events(happenings, by=one.scan["actor"].name, at=one.scan["at"])
