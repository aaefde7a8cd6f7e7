"""Give out pieces in a storm: fast, but by item, quantity, crew and place; a lot that nobody read is named later."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import NamedTuple, Unpack

from inventory.models import BIN, RESERVE, STAGING, SUPPLIER_OWNED, TRUCK, Action, Balance, Depot, Item, Lot, Place
from inventory.selectors.finding import depot_named, items_by_code, local_day, lots_by_number
from inventory.services.actions import begin, use_case
from inventory.services.doubts import Doubts
from inventory.services.lots import lot_number
from inventory.services.moving import Carry, carry
from jobs.models import Job
from kitting.calculation.bag_states import ISSUED
from kitting.calculation.carton_codes import read_carton
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, BagLine, LotToFinish, Promise
from kitting.models.bags import HANDED_BACK, PICKED, PUT_BACK
from kitting.models.bags import ISSUED as GONE
from kitting.models.storms import OPEN, Storm
from kitting.roles import APPROVE, DO, Actor, require
from kitting.selectors.bag_contents import bag_by_code, bare, contents_of, is_good, label_code
from kitting.selectors.storms import finish_sentence, storm_by_code
from kitting.selectors.what_is_this import carton_to_use
from kitting.services.list_bags import new_bag, review
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import let_go
from kitting.services.scans import BAGS, Scan, stamp_of

_GIVEN_FROM = (BIN, SUPPLIER_OWNED, STAGING, TRUCK, RESERVE)
_OUT_ALREADY = datetime.min.replace(tzinfo=UTC)  # no hold stops what is with a crew


@dataclass(frozen=True, slots=True, kw_only=True)
class Handful:
    """Thousandths of an item taken from a place: by the code on its carton, or by stock code and lot.

    Lot '' (and no carton that says it) is a lot to finish, unless the item is one whose lots nobody follows.
    """

    place: Place
    quantity: int
    carton: str = ""
    stock_code: str = ""
    lot: str = ""

    @property
    def asked(self) -> list[object]:
        """What makes it another action."""
        return [self.place.pk, self.quantity, self.carton, self.stock_code, self.lot]


class _Part(NamedTuple):
    """Thousandths of a lot from a place; ``is_named`` where somebody read the lot."""

    lot: Lot
    place: Place
    quantity: int
    is_named: bool


@dataclass(frozen=True, slots=True)
class StormIssue:
    """The bag under whose number the pieces went out, and the lots that are still to be named."""

    bag: Bag
    to_finish: Sequence[LotToFinish]


@use_case
def issue_to_storm(
    *,
    storm: str,
    depot: str,
    crew: str,
    company: str,
    where: str,
    pieces: Sequence[Handful],
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> StormIssue:
    """Give pieces to a crew at once; they are accounted for later as those of every bag.

    Args:
        storm: code of an open one.
        depot: whose stores give them.
        crew, company: who takes them, as they say their names; visiting crews are on no list of ours.
        where: the place where they are to be used.
        pieces: what goes out.
        confirmed: keys of questions answered with yes.
        scan: who, when, the number of the action.

    Raises:
        Doubt: ``promised-to-others``: pieces that are promised to planned jobs.
        Refusal: ``not-allowed``; ``unknown-storm``; ``storm-state``; ``unknown-depot``; ``no-crew``; ``no-place``;
            ``moves-nothing``; ``wrong-place``; ``unknown-lot``; ``out-of-date``; ``not-enough``; ``on-hold``; what is
            wrong with a carton's code.
    """
    require(scan["actor"], BAGS, DO, depot)
    content = {
        "storm": storm, "depot": depot, "crew": crew, "company": company, "where": where,
        "pieces": [one.asked for one in pieces],
    }  # fmt: skip
    action, repeated = begin("issue to storm", content, stamp_of(scan, storm))
    if repeated:
        return _issued_before(action)
    event = storm_by_code(storm, OPEN, lock=True)
    home = depot_named(depot)
    _refuse_blank(crew=crew, company=company, where=where)
    if not pieces or min(one.quantity for one in pieces) <= 0:
        raise Refusal("moves-nothing", f"Say what {crew} takes, and how many.", {})
    parts = [part for one in pieces for part in _parts(one, local_day(home, scan["at"]), scan["actor"])]
    _ask_about_promises(parts, confirmed)
    bag = out_bag(event.jobs.get(job=storm), home, where, f"{crew.strip()} ({company.strip()})")
    open_lots = _give(action, event, bag, parts)
    gone = {(part.place.pk, part.lot.pk) for part in parts}
    let_go(gone, why=f"went out in storm {storm}", by=scan["actor"].name, at=scan["at"])
    told = {
        "storm": storm, "crew": bag.crew, "where": where, "to_finish": len(open_lots),
        "pieces": [f"{bare(one.quantity)} {one.lot}" for one in parts],
    }  # fmt: skip
    record_events([Happening("storm issue", str(bag), told, depot=depot)], by=scan["actor"].name, at=scan["at"])
    return StormIssue(bag, open_lots)


def _give(action: Action, event: Storm, bag: Bag, parts: Sequence[_Part]) -> list[LotToFinish]:
    """Put the parts in the bag that is out already; returns the lots that are still to be named."""
    lines = _lines(bag, parts)
    target = bag.place
    carry(
        action,
        [Carry(lot=one.lot, quantity=one.quantity, source=one.place, target=target) for one in parts],
        f"storm {event.code}",
    )
    BagEntry.objects.bulk_create(
        BagEntry(action=action, line=lines[one.lot.item_id], lot=one.lot, deed=deed, quantity=one.quantity, facts=facts)
        for one in parts
        for deed, facts in ((PICKED, {"from": str(one.place)}), (GONE, {}))
    )
    open_lots = [
        LotToFinish(storm=event, line=lines[one.lot.item_id], lot=one.lot, place=one.place, quantity=one.quantity)
        for one in parts
        if not one.is_named
    ]
    return LotToFinish.objects.bulk_create(open_lots)


def out_bag(job: Job, depot: Depot, where: str, crew: str) -> Bag:
    """A bag of a job without a schedule that is out with a crew, without lines, in the caller's transaction."""
    Job.objects.select_for_update().get(pk=job.pk)  # two that give at once come one after the other
    number = Bag.objects.filter(job=job).count() + 1
    named = where.strip()
    if Bag.objects.filter(job=job, structure=named).exists():
        named = f"{named} ({number})"
    bag = new_bag(job, depot, named, number)
    bag.state, bag.crew, bag.whereabouts = ISSUED, crew, "with the crew"
    bag.save(update_fields=("state", "crew", "whereabouts"))
    return bag


@use_case
def finish_lot(*, number: int, lot: str = "", carton: str = "", **scan: Unpack[Scan]) -> LotToFinish:
    """Name the lot of pieces that went out without one; where it is another than the books took, the two are swapped.

    A lot that is on hold is named as well, for the pieces are out: the bag goes on hold then.

    Args:
        number: of the line on the list of what is to be finished.
        lot: as somebody read it.
        carton: or the code on the carton.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``no-such-line``; ``named-already``; ``no-lot``; ``wrong-item``: a carton of another item;
            ``unknown-lot``; ``not-enough``: fewer pieces of that lot lie where they were taken; ``not-allowed``.
    """
    found = LotToFinish.objects.select_for_update(of=("self",)).filter(pk=number)
    one = found.select_related("storm", "line__bag__job", "lot__item", "place__depot").first()
    if one is None:
        raise Refusal("no-such-line", f"Nothing to finish has the number {number}.", {"number": number})
    bag = bag_by_code(label_code(one.line.bag), lock=True)
    require(scan["actor"], BAGS, DO, bag.depot.depot)
    content = {"number": number, "lot": lot, "carton": carton}
    action, repeated = begin("finish lot", content, stamp_of(scan, one.storm.code))
    if repeated:
        return one
    if one.named_at:
        message = f"Line {number} is done: {one.named_by} named lot {one.named.number if one.named else ''}."
        raise Refusal("named-already", message, {"number": number})
    read = _read_lot(one, lot, carton, local_day(bag.depot, scan["at"]))
    if not read:
        raise Refusal("no-lot", f"Read the lot from the carton or the part: {finish_sentence(one)}.", {})
    one.named = one.lot if read == one.lot.number else _lot_at(one.lot.item, read, one.place)
    if one.named != one.lot:
        _swap(action, one, bag)
        there = [(one.place_id, one.named.pk)]
        let_go(there, why=f"went out in storm {one.storm}", by=scan["actor"].name, at=scan["at"])
    one.named_by, one.named_at = scan["actor"].name, scan["at"]
    one.save(update_fields=("named", "named_by", "named_at"))
    told = {"line": number, "lot": read, "taken": one.lot.number, "quantity": bare(one.quantity)}
    happening = Happening("storm lot named", str(bag), told, depot=bag.depot.depot)
    record_events([happening], by=scan["actor"].name, at=scan["at"])
    review(Bag.objects.filter(pk=bag.pk), by=scan["actor"].name, at=scan["at"])
    return one


def _issued_before(action: Action) -> StormIssue:
    entry = BagEntry.objects.filter(action=action).select_related("line__bag__job", "line__bag__depot").earliest("pk")
    return StormIssue(entry.line.bag, [*LotToFinish.objects.filter(line__bag=entry.line.bag).order_by("pk")])


def _refuse_blank(*, crew: str, company: str, where: str) -> None:
    if not crew.strip() or not company.strip():
        raise Refusal("no-crew", "Say the crew's name and its company.", {"crew": crew, "company": company})
    if not where.strip():
        raise Refusal("no-place", f"Say where {crew} will use them.", {"crew": crew})


def _parts(one: Handful, today: date, actor: Actor) -> Iterator[_Part]:
    if one.place.kind not in _GIVEN_FROM:
        message = f"{one.place} ({one.place.kind}): a storm is given pieces of {', '.join(_GIVEN_FROM)}; bags lend."
        raise Refusal("wrong-place", message, {"place": str(one.place)})
    if one.place.kind == RESERVE:
        require(actor, "reserve", APPROVE, one.place.depot.depot)
    if one.carton:
        carton = read_carton(one.carton, today=today)
        item, number = carton_to_use(carton), lot_number(carton.lot)
    else:
        item, number = items_by_code([one.stock_code])[one.stock_code], lot_number(one.lot)
    if not number:
        yield from _first_to_expire(one, item, today)
        return
    lot = _lot_at(item, number, one.place)
    if not is_good(lot, today):
        why = f"was good until {lot.use_by}" if lot.use_by else "has no use-by date"
        raise Refusal("out-of-date", f"{lot} {why}: set it aside.", {"lot": number})
    yield _Part(lot, one.place, one.quantity, is_named=True)


def _first_to_expire(one: Handful, item: Item, today: date) -> Iterator[_Part]:
    """What the books take for a handful whose lot nobody read."""
    lying = Balance.objects.filter(place=one.place, lot__item=item, quantity__gt=0).select_related("lot__item")
    left = one.quantity
    for balance in sorted(lying, key=lambda row: (row.lot.use_by or date.max, row.pk)):
        pieces = min(balance.quantity, left)
        if pieces > 0 and is_good(balance.lot, today):
            left -= pieces
            yield _Part(balance.lot, one.place, pieces, is_named=item.lot_tracked is False)
    if left:
        message = f"{bare(one.quantity)} {item} asked for at {one.place}, {bare(one.quantity - left)} good ones there."
        raise Refusal("not-enough", message, {"place": str(one.place), "stock_code": item.stock_code})


def _lot_at(item: Item, number: str, place: Place) -> Lot:
    lots = lots_by_number(item=item, number=number)
    there = Balance.objects.filter(place=place, lot__in=lots, quantity__gt=0).order_by("lot__use_by", "pk").first()
    return next((lot for lot in lots if there and lot.pk == there.lot_id), lots[0])


def _ask_about_promises(parts: Sequence[_Part], confirmed: Collection[str]) -> None:
    """Pieces that planned jobs count on are taken only knowingly."""
    taken = Counter[tuple[int, int]]()
    for part in parts:
        taken[part.place.pk, part.lot.pk] += part.quantity
    places, lots = {place for place, _ in taken}, {lot for _, lot in taken}
    promised: dict[tuple[int, int], Counter[str]] = defaultdict(Counter)
    open_promises = Promise.objects.filter(released_at=None, place__in=places, lot__in=lots).order_by("job__job")
    for place, lot, job, pieces in open_promises.values_list("place", "lot", "job__job", "quantity"):
        promised[place, lot][job] += pieces
    there = {(one.place_id, one.lot_id): one.quantity for one in Balance.objects.filter(place__in=places, lot__in=lots)}
    named = {part.lot.pk: part.lot for part in parts}
    doubts = Doubts(confirmed)
    for line, (key, pieces) in enumerate(sorted(taken.items()), 1):
        lacking = sum(promised[key].values()) + pieces - there.get(key, 0)
        if promised[key] and lacking > 0:
            jobs = ", ".join(promised[key])
            question = (
                f"{bare(min(lacking, pieces))} of {named[key[1]]} are promised to {jobs}: take them all the same?"
            )
            doubts.ask("promised-to-others", line, question)
    doubts.settle()


def _lines(bag: Bag, parts: Sequence[_Part]) -> dict[int, BagLine]:
    """One line a stock code, by the item's number."""
    sums: dict[Item, int] = defaultdict(int)
    for part in parts:
        sums[part.lot.item] += part.quantity
    made = [
        BagLine(
            bag=bag,
            line=f"{bag.job.job}/{bag.structure}/storm/{item.stock_code}",
            position=position,
            item=item,
            quantity=quantity,
            facts={"structure": bag.structure, "kind": item.kind, "reason": bag.job.title, "phases": ""},
        )
        for position, (item, quantity) in enumerate(sums.items(), 1)
    ]
    BagLine.objects.bulk_create(made)
    return {line.item_id: line for line in made if line.item_id}


def _read_lot(one: LotToFinish, lot: str, carton: str, today: date) -> str:
    if not carton:
        return lot_number(lot)
    read = read_carton(carton, today=today)
    item = carton_to_use(read)
    if item.pk != one.lot.item_id:
        raise Refusal("wrong-item", f"That carton is {item}; line {one.pk} is {one.lot.item}.", {"read": str(item)})
    return lot_number(read.lot)


def _swap(action: Action, one: LotToFinish, bag: Bag) -> None:
    """The lot that the books took goes back on paper, and the one that was read goes out instead."""
    assert one.named is not None  # noqa: S101 - set by the caller
    inside = next(stand.inside for stand in contents_of([bag])[bag.pk].lines if stand.line.pk == one.line_id)
    if inside[one.lot_id] < one.quantity:
        message = f"{one.lot} of {bag} is accounted for already: take that back first."
        raise Refusal("not-enough", message, {"lot": one.lot.number})
    carry(
        action,
        [
            Carry(lot=one.lot, quantity=one.quantity, source=bag.place, target=one.place),
            Carry(lot=one.named, quantity=one.quantity, source=one.place, target=bag.place),
        ],
        f"lot named in storm {one.storm.code}",
        _OUT_ALREADY,
    )
    BagEntry.objects.bulk_create(
        BagEntry(action=action, line=one.line, lot=lot, deed=deed, quantity=one.quantity)
        for lot, deed in ((one.lot, HANDED_BACK), (one.lot, PUT_BACK), (one.named, PICKED), (one.named, GONE))
    )
