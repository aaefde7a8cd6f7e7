"""Papers filled from the records: trace of a lot, transfer, hold and count."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, time, tzinfo
from decimal import Decimal

from django.db.models import Min, Q, QuerySet
from django.utils import timezone

from inventory.models import (
    INSTALLED,
    OPENING,
    Item,
    LotHold,
    Movement,
    Place,
    Transfer,
)
from inventory.selectors.finding import lots_by_number
from inventory.selectors.trace import history, trace
from jobs.models import Job
from kitting.calculation.quantities import as_decimal
from kitting.documents.count_sheet import CountLine, CountSheet
from kitting.documents.hold_tag import HoldTag
from kitting.documents.lot_trace import (
    ANY_DAY,
    COULD_BE,
    FAILED,
    HIT,
    HOLDS,
    NEEDED,
    RECEIVED,
    TOLD,
    WHERE,
    Days,
    LotTrace,
    TraceLine,
)
from kitting.documents.lot_trace import INSTALLED as AT_ENDS
from kitting.documents.record_papers import moment_text
from kitting.documents.transfer_slip import TransferLine, TransferSlip
from kitting.models import BagEntry, CountList, Event, LotToFinish, Person, Promise, Retired
from kitting.models.bags import FITTED, PICKED
from kitting.models.bags import INSTALLED as PUT_IN
from kitting.selectors.bag_contents import label_code
from kitting.selectors.clock import books_now, day_at
from kitting.selectors.counting import BlindLine, blinded, lines_of
from kitting.selectors.failures import failures_of_lot
from kitting.selectors.job_states import energised_at
from kitting.selectors.notice_kinds import SEEN
from kitting.selectors.promises import staged_days
from kitting.selectors.replacement_need import replacement_need


def lot_trace_of(
    *,
    item: Item,
    lot: str,
    why: str = "",
    as_of: datetime | None = None,
    zone: tzinfo | None = None,
    days: Days = ANY_DAY,
) -> LotTrace:
    """The trace of a lot number as the books have it.

    Args:
        item: the stock code.
        lot: number; '' for pieces whose lot nobody knows.
        why: reason of the trace.
        as_of: a past moment; now, if absent.
        zone: in which moments are written.
        days: when and from where pieces of an unknown lot were taken that are named by end. Without, those since the
            first piece of the lot came; of the lot that nobody knows none, as they would be all.

    Raises:
        Refusal: there is no such lot, or nothing was booked before that moment.
    """
    found = trace(item=item, number=lot, as_of=as_of)
    lots = lots_by_number(item=item, number=lot)
    moves = history(lots=lots)
    lines = [
        *_received(moves, as_of, zone),
        *(TraceLine(WHERE, f"{at} ({at.kind})", as_decimal(count), at.job, depot=at.depot.depot)
          for at, count in found.places.items()),
        *(TraceLine(WHERE, ending, as_decimal(count)) for ending, count in found.endings.items()),
        *(_ends(item, lot, as_of, zone) if lot else _of_days(item, as_of, zone, days, AT_ENDS)),
        *_failed(item, lot, as_of, zone),
        *_hit(item, lot, as_of),
        *_needed(item, lot, found.holds, as_of),
        *(_could_be(item, min(one.action.at for one in moves), as_of, zone, days) if lot and moves else ()),
        *(_unread(item, lot, as_of, zone) if lot else ()),
        *(TraceLine(HOLDS, f"hold {one.pk}", None, "", _local(one.placed_at, zone), one.reason, one.placed_by)
          for one in found.holds),
        *_told(found.holds, as_of, zone),
    ]  # fmt: skip
    return LotTrace(
        stock_code=item.stock_code,
        part=item.called,
        lot=lot,
        dates=", ".join(sorted({one.date_words for one in lots})),
        unit=item.stock_unit,
        why=why,
        received=as_decimal(found.received),
        lines=tuple(lines),
    )


def _local(moment: datetime, zone: tzinfo | None) -> str:
    return moment_text(moment.astimezone(zone or timezone.get_current_timezone()))


def _received(moves: Iterable[Movement], as_of: datetime | None, zone: tzinfo | None) -> Iterator[TraceLine]:
    """Each booking that brought pieces from outside, and each reversal of one as a negative line."""
    for move in moves:
        if as_of is not None and move.action.at > as_of:
            continue
        inwards = move.from_place is None and move.reverses is None
        outwards = move.to_place is None and move.reverses is not None
        if inwards or outwards:
            quantity = as_decimal(move.quantity if inwards else -move.quantity)
            origin = move.origin if inwards else f"reversed: {move.ending}"
            paper = move.action.paper or ("" if move.origin == OPENING else "no paper")
            place = move.to_place or move.from_place
            what = " · ".join(filter(None, (origin, paper, f"at {place}")))
            depot = place.depot.depot if place else ""
            yield TraceLine(RECEIVED, what, quantity, "", _local(move.action.at, zone), "", move.action.by, depot)


def _ends(
    item: Item,
    lot: str,
    as_of: datetime | None,
    zone: tzinfo | None,
    *,
    part: str = AT_ENDS,
    since: datetime | None = None,
    until: datetime | None = None,
    place: str = "",
) -> Iterator[TraceLine]:
    entries = _put_in(item, lot, as_of, since)
    entries = entries.filter(action__at__lte=until) if until is not None else entries
    taken = _taken_from(entries) if not lot else {}
    retired = Retired.objects.filter(entry__in=entries).select_related("action").order_by("pk")
    gone: dict[int, list[str]] = defaultdict(list)
    for one in retired.filter(action__at__lte=as_of) if as_of else retired:
        gone[one.entry_id].append(f"{as_decimal(one.quantity)} retired {_local(one.action.at, zone)}: {one.why}")
    energised = energised_at(Job.objects.filter(pk__in=entries.values("line__bag__job")), as_of)
    for entry in entries.select_related("line__bag__job", "action"):
        facts, places = entry.line.facts, taken.get((entry.line_id, entry.lot_id), ())
        if place and place not in places:
            continue
        position = str(facts.get("position") or entry.facts.get("position") or "")
        end = "-".join(filter(None, (entry.line.bag.structure, position)))
        phase = f"phase {entry.phase}" if entry.phase else ""
        source = f"from {', '.join(places)}" if places else ""
        what = " · ".join(filter(None, (end or "whole job", phase, source, *gone[entry.pk])))
        bag, back = entry.line.bag, energised.get(entry.line.bag.job_id)
        when = f"energised {_local(back, zone)}" if back else f"fitted {_local(entry.action.at, zone)}"
        yield TraceLine(part, what, as_decimal(entry.quantity), bag.job.job, when, bag.crew, entry.action.by)


def _taken_from(entries: QuerySet[BagEntry]) -> dict[tuple[int, int], tuple[str, ...]]:
    """By line and lot of installed pieces, from which places such pieces were picked into the bag; one query."""
    picked = BagEntry.objects.filter(deed=PICKED, line__in=entries.values("line"), lot__in=entries.values("lot"))
    found: dict[tuple[int, int], dict[str, None]] = defaultdict(dict)
    for line, lot, facts in picked.order_by("pk").values_list("line", "lot", "facts"):
        if facts.get("from"):
            found[line, lot][str(facts["from"])] = None
    return {key: tuple(places) for key, places in found.items()}


def _put_in(item: Item, lot: str, as_of: datetime | None, since: datetime | None = None) -> QuerySet[BagEntry]:
    """What was installed of a lot number in a time, ends included."""
    found = BagEntry.objects.filter(lot__item=item, lot__number=lot).order_by("pk")
    if as_of is None:
        found = found.filter(FITTED)
    else:
        stood = Q(undone_by=None) | Q(undone_by__action__at__gt=as_of)
        found = found.filter(stood, deed=PUT_IN, action__at__lte=as_of)
    return found.filter(action__at__gte=since) if since is not None else found


def _failed(item: Item, lot: str, as_of: datetime | None, zone: tzinfo | None) -> Iterator[TraceLine]:
    """Failures of the lot, and those of an unknown lot where it was fitted."""
    of_it, could_be = failures_of_lot(item, lot, as_of)
    for found, told in ((of_it, ""), (could_be, "lot unknown: could be of this one")):
        for one in found:
            what = f"{one} · {one.place} · {one.what}"
            yield TraceLine(FAILED, what, None, "", _local(one.failed_at, zone), told, one.action.by, one.depot)


def _hit(item: Item, lot: str, as_of: datetime | None) -> Iterator[TraceLine]:
    """Open promises of the lot, one line a job and place."""
    then = (
        Q(released_at__isnull=True)
        if as_of is None
        else Q(made_at__lte=as_of) & (Q(released_at__isnull=True) | Q(released_at__gt=as_of))
    )
    sums: Counter[tuple[str, str, str, str]] = Counter()
    rows = Promise.objects.filter(then, item=item, lot__number=lot).order_by("job__job", "pk")
    for job, cutover, depot, place, quantity in rows.values_list(
        "job__job", "job__cutover", "place__depot__depot", "place__code", "quantity"
    ):
        sums[(job, cutover, depot, place)] += quantity
    for (job, cutover, depot, place), quantity in sums.items():
        what = f"promised at {depot}/{place}"
        yield TraceLine(HIT, what, as_decimal(quantity), job, f"cutover {cutover}", depot=depot)
    if as_of is None:
        yield from _bags(item, lot)


def _bags(item: Item, lot: str) -> Iterator[TraceLine]:
    """Bags that hold pieces of the lot now."""
    places = Place.objects.filter(
        bag__isnull=False, balances__lot__item=item, balances__lot__number=lot, balances__quantity__gt=0
    )
    for place in places.select_related("bag__job", "bag__depot").order_by("bag__code").distinct():
        bag = place.bag
        yield TraceLine(
            HIT,
            f"bag {label_code(bag)}: {bag.state}",
            None,
            bag.job.job,
            f"cutover {bag.job.cutover}",
            bag.crew,
            depot=bag.depot.depot,
        )


def _needed(item: Item, lot: str, holds: Iterable[LotHold], as_of: datetime | None) -> Iterator[TraceLine]:
    """What is to be found again because the lot is stopped."""
    today = day_at(as_of or books_now())
    for one in replacement_need(item=item, number=lot, holds=holds, today=today, as_of=as_of):
        when = f"cutover {one.cutover}" if one.job else ""
        yield TraceLine(NEEDED, one.what, as_decimal(one.quantity), one.job, when, depot=one.depot)


def _could_be(
    item: Item, came: datetime, as_of: datetime | None, zone: tzinfo | None, days: Days
) -> Iterator[TraceLine]:
    """Pieces of the item whose lot nobody knows, by place, and by end in the days that are asked about.

    What was installed before the first piece of the lot came is none of it: it is only counted in words.
    """
    if not item.lots.filter(number="").exists():
        return
    unknown = trace(item=item, number="", as_of=as_of)
    for place, quantity in unknown.places.items():
        yield TraceLine(
            COULD_BE,
            f"{place} ({place.kind})",
            as_decimal(quantity),
            place.job,
            "",
            "lot unknown",
            depot=place.depot.depot,
        )
    endings = dict(unknown.endings)
    if INSTALLED in endings:  # the rest is on no end that the books know
        endings[INSTALLED] -= sum(one.quantity for one in _put_in(item, "", as_of))
    yield from _of_days(item, as_of, zone, days, COULD_BE, came)
    for ending, quantity in endings.items():
        if quantity:
            yield TraceLine(COULD_BE, ending, as_decimal(quantity), "", "", "lot unknown")


def _unread(item: Item, lot: str, as_of: datetime | None, zone: tzinfo | None) -> Iterator[TraceLine]:
    """Pieces that went out in a storm, of which nobody has read the lot yet, and the books took another."""
    unread = Q(named=None) if as_of is None else Q(named=None) | Q(named_at__gt=as_of)
    found = LotToFinish.objects.filter(unread, lot__item=item).exclude(lot__number=lot)
    taken = found.annotate(at=Min("line__entries__action__at")).order_by("pk")
    taken = taken.filter(at__lte=as_of) if as_of is not None else taken
    for one in taken.select_related("line__bag__job", "line__bag__depot", "lot", "place__depot"):
        bag = one.line.bag
        took = f"lot not read yet; the books took lot {one.lot.number or 'unknown'} from {one.place}"
        yield TraceLine(
            COULD_BE,
            f"bag {label_code(bag)}, {bag.crew}",
            as_decimal(one.quantity),
            bag.job.job,
            _local(one.at, zone),
            took,
            depot=bag.depot.depot,
        )


def _of_days(
    item: Item, as_of: datetime | None, zone: tzinfo | None, days: Days, part: str, came: datetime | None = None
) -> Iterator[TraceLine]:
    """Pieces of an unknown lot at ends: those of the days asked about, not before ``came``; the others in words."""
    local = zone or timezone.get_current_timezone()
    first = datetime.combine(days.first, time.min, local) if days.first else None
    until = datetime.combine(days.last, time.max, local) if days.last else None
    ever = sum(one.quantity for one in _put_in(item, "", as_of))
    if came is None and not days.are_given:
        if ever:
            yield TraceLine(part, f"{as_decimal(ever)} at ends: say from which day to which, and they are named")
        return
    since = max(filter(None, (first, came)), default=None)
    named = [*_ends(item, "", as_of, zone, part=part, since=since, until=until, place=days.place)]
    yield from (replace(line, who=" · ".join(filter(None, ("lot unknown", line.who)))) for line in named)
    rest = as_decimal(ever) - sum(line.quantity or Decimal() for line in named)
    if rest and came is not None and not (days.are_given or days.place):
        yield TraceLine(part, f"{rest} more, installed before {_local(came, zone)}, when none of it had come")
    elif rest:
        yield TraceLine(part, f"{rest} more, installed on other days or taken from other places")


def _told(holds: Iterable[LotHold], as_of: datetime | None, zone: tzinfo | None) -> Iterator[TraceLine]:
    """Events about the open holds that are addressed to somebody."""
    names = [str(one) for one in holds]
    events = Event.objects.filter(subject__in=names).exclude(addressed_to="").order_by("number")
    if as_of is not None:
        events = events.filter(at__lte=as_of)
    for event in events:
        yield TraceLine(TOLD, event.addressed_to, None, "", _local(event.at, zone), event.name, event.by)
    if events:
        yield from _seen(events[0].number, {event.addressed_to for event in events}, as_of, zone)


def _seen(number: int, roles: set[str], as_of: datetime | None, zone: tzinfo | None) -> Iterator[TraceLine]:
    """Who of these roles has said that they have seen an event, and when first."""
    people = {one.name for one in Person.objects.all() if roles & set(one.roles)}
    found = Event.objects.filter(name=SEEN, number__gt=number, subject__in=people).order_by("number")
    for event in found.filter(at__lte=as_of) if as_of else found:
        if event.data["up_to"] >= number and event.subject in people:
            people.remove(event.subject)
            yield TraceLine(TOLD, "seen", None, "", _local(event.at, zone), "", event.subject)


def transfer_slip_of(transfer: Transfer, zone: tzinfo | None = None) -> TransferSlip:
    """The slip of a transfer, before or after it is counted out, with the jobs that wait for its pieces."""
    counted = {one.lot_id: as_decimal(one.counted) for one in transfer.differences.all()}
    moves = transfer.sent.movements.select_related("lot__item").order_by("line")
    sums: Counter[int] = Counter()
    lots = {}
    for move in moves:
        sums[move.lot_id] += move.quantity
        lots[move.lot_id] = move.lot
    done = transfer.received
    lines = []
    for number, quantity in sums.items():
        lot, sent = lots[number], as_decimal(quantity)
        lines.append(_load(lot.item, lot.number, sent, counted.get(number, sent) if done else None))
    unsent = transfer.differences.exclude(lot__in=sums).select_related("lot__item").order_by("pk")
    lines += [_load(one.lot.item, one.lot.number, Decimal(), as_decimal(one.counted)) for one in unsent]
    return TransferSlip(
        number=transfer.number,
        from_depot=transfer.from_depot.name or transfer.from_depot.depot,
        to_depot=transfer.to_depot.name or transfer.to_depot.depot,
        van_date=_local(transfer.sent.at, zone),
        arrive_by=tuple(_waiting(transfer, lots)),
        packed_by=transfer.sent.by,
        received_by=done.by if done else "",
        lines=tuple(lines),
    )


def _load(item: Item, lot: str, sent: Decimal, counted: Decimal | None) -> TransferLine:
    return TransferLine(item.stock_code, item.called, lot, sent, item.stock_unit, counted)


def _waiting(transfer: Transfer, lots: Iterable[int]) -> Iterator[str]:
    """Jobs with bags at the receiving depot to which lots of the van are promised, by the day they must be ready."""
    here = transfer.to_depot.depot
    promised = Promise.objects.filter(lot__in=[*lots], released_at__isnull=True, depot=here)
    jobs = Job.objects.filter(pk__in=promised.values("job"))
    days = {job: day.isoformat() for job, day in staged_days().at(here).items()}
    for job in sorted(jobs, key=lambda one: (days.get(one.job) or one.cutover, one.job)):
        day = days.get(job.job)
        yield f"{job.job}, staged by {day}" if day else f"{job.job}, cutover {job.cutover or 'without a date'}"


def hold_tag_of(hold: LotHold, *, where: str = "", depot: str = "", zone: tzinfo | None = None) -> HoldTag:
    """The tag of a hold."""
    return HoldTag(
        number=str(hold.pk),
        stock_code=hold.item.stock_code,
        part=hold.item.called,
        lot=hold.lot_number,
        placed_at=_local(hold.placed_at, zone),
        placed_by=hold.placed_by,
        reason=hold.reason,
        where=where,
        depot=depot,
    )


def count_sheet_of(counted: CountList, *, counter: str = "", zone: tzinfo | None = None) -> CountSheet:
    """The blind sheet of a list, with all its lines."""
    return CountSheet(
        number=str(counted.number),
        depot=counted.depot.name or counted.depot.depot,
        day=f"listed {_local(counted.listed.at, zone)} by {counted.listed.by}",
        counter=counter,
        lines=tuple(_count_line(line) for line in blinded(lines_of(counted))),
    )


def _count_line(line: BlindLine) -> CountLine:
    if line.bag:
        return CountLine(line.place, line.bag, "bag: 1 if it stands here, else 0", "–", "bag")
    return CountLine(line.place, line.stock_code, line.part, line.lot, line.unit, line.pack)
