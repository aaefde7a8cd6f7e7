"""What is worth counting at a depot, with the reasons, in the order of a walk through it."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import TypeVar

from django.db.models import Max, Q, QuerySet

from inventory.models import BAG, BIN, LENT, OPENING, TRUCK, Balance, Depot, Lot, Movement, Place
from inventory.selectors.finding import local_day
from inventory.selectors.words import near
from kitting.calculation.bag_states import IN_STORE, STAGED
from kitting.calculation.natural_order import natural_key
from kitting.errors import Refusal
from kitting.models import POSTED, Bag, CountLine, Event, Promise
from kitting.selectors.promises import staged_days

SPOT, HANGING, EXACT, RISK, VALUE, SPEED = "spot", "hanging", "exact", "risk", "value", "speed"
REASONS = (SPOT, HANGING, EXACT, RISK, VALUE, SPEED)  # the most urgent first
SPOT_EVENT = "spot count wanted"
# Owner's defaults: what is risky is looked at every month, what is dear or fast every quarter.
RISKY_DAYS, OTHER_DAYS = 30, 90
_NAMED = 3
LEADING_PERCENT = 80  # common practice of stores: the few items that make up four fifths are counted more often

Key = tuple[int, int]  # place, lot
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class ToCount:
    """A lot at a place, a bag, or a place that should be empty (both without a lot), and why it is worth a count.

    ``shown`` is where one walks: the rack place of a bag, else the place.
    """

    place: Place
    lot: Lot | None
    reasons: tuple[str, ...]
    shown: str

    @property
    def walk(self) -> tuple[object, ...]:
        """Sort key of the walk: places in natural order, there stock codes, there lots."""
        code = self.lot.item.stock_code if self.lot else ""
        return (
            natural_key(self.shown),
            self.place.kind,
            natural_key(code),
            self.lot.number if self.lot else "",
            self.place.pk,
        )


@dataclass(slots=True)
class _Why:
    """Reasons of each lot at a place, and of each bag, by rank; the words are kept once."""

    of_pieces: dict[Key, dict[int, str]] = field(default_factory=lambda: defaultdict(dict))

    def add(self, key: Key, reason: str, words: str) -> None:
        self.of_pieces[key].setdefault(REASONS.index(reason), f"{reason}: {words}")


def propose(*, depot: Depot, today: date, days: int = 1, most: int | None = None) -> list[ToCount]:
    """What to count, in walk order; nothing that is on an open list or was counted today; eleven queries at most.

    Args:
        depot: where.
        today: the local day.
        days: how many days ahead bags are looked at that hang on pieces.
        most: so many lines at most, the most urgent ones.
    """
    balances = {(one.place_id, one.lot_id): one for one in _countable(depot)}
    staged_by = _due_jobs(depot, today + timedelta(days))
    why = _Why()
    _spots(why, depot, balances)
    _hanging(why, balances, staged_by)
    due = {key: one for key, one in balances.items() if one.quantity}
    _risks(why, depot, {key: one for key, one in due.items() if _is_due(one, today, RISKY_DAYS)})
    rest = {key: one for key, one in due.items() if _is_due(one, today, OTHER_DAYS)}
    _exact(why, depot, due, rest)
    _dear(why, due, rest)
    _fast(why, depot, due, rest, today)
    open_ones = _on_open_lists(depot)
    found = [
        (min(told), ToCount(balances[key].place, balances[key].lot, _words(told), balances[key].place.code))
        for key, told in why.of_pieces.items()
        if key not in open_ones and (balances[key].counted_on != today or REASONS.index(SPOT) in told)
    ]
    found += [
        (REASONS.index(HANGING), one) for one in _bags(depot, staged_by, today) if (one.place.pk, None) not in open_ones
    ]
    found.sort(key=lambda ranked: (ranked[0], ranked[1].walk))
    return sorted((one for _, one in found[:most]), key=lambda one: one.walk)


def at_places(*, depot: Depot, codes: Collection[str]) -> list[ToCount]:
    """All that the books have at these places, lots of which nothing is left too, and bags on these rack places.

    A bag is one line; so is a place at which the books have nothing, which should be empty.

    Raises:
        Refusal: ``unknown-place``: a code is none of the depot's, so its places are to be looked through first.
    """
    wanted = set(codes)
    there = Place.objects.filter(depot=depot, code__in=wanted, transfer__isnull=True, bag__isnull=True)
    places = [*there.select_related("depot")]
    bags = [one for one in _bags_in_store(depot) if one.whereabouts in wanted or one.place.code in wanted]
    named = {place.code for place in places} | {bag.whereabouts for bag in bags} | {bag.place.code for bag in bags}
    for code in sorted(wanted - named):
        close = near(code, Place.objects.filter(depot=depot).values_list("code", flat=True))
        message = f"{depot} has no place {code}{close or '.'} Walk its places and set the list of them right first."
        raise Refusal("unknown-place", message, {"depot": depot.depot, "place": code})
    lying = (
        Balance.objects.filter(place__in=places).exclude(place__kind=BAG).select_related("lot__item", "place__depot")
    )
    found = [ToCount(one.place, one.lot, (), one.place.code) for one in lying]
    stocked = {one.place.pk for one in found}
    found += [ToCount(place, None, (), place.code) for place in places if place.pk not in stocked]
    found += [_bag(bag, ()) for bag in bags]
    return sorted(found, key=lambda one: one.walk)


def leading(amounts: Mapping[T, Fraction]) -> list[T]:
    """The fewest that together make up ``LEADING_PERCENT`` of the whole, the greatest first.

    >>> leading({"a": Fraction(70), "b": Fraction(20), "c": Fraction(10)})
    ['a', 'b']
    """
    whole, sum_of_them, found = sum(amounts.values()), Fraction(), []
    for name, amount in sorted(amounts.items(), key=lambda pair: -pair[1]):
        if not amount or sum_of_them * 100 >= whole * LEADING_PERCENT:
            break
        sum_of_them += amount
        found.append(name)
    return found


def _countable(depot: Depot) -> Iterable[Balance]:
    """Lots at places of a depot; what is in bags is counted by the bag, what is on the road or lent when it comes."""
    found = Balance.objects.filter(place__depot=depot, place__transfer__isnull=True)
    found = found.exclude(place__kind__in=(BAG, LENT))
    return found.select_related("lot__item", "place__depot").order_by("pk")


def _is_due(balance: Balance, today: date, days: int) -> bool:
    return balance.counted_on is None or (today - balance.counted_on).days > days


def _words(told: Mapping[int, str]) -> tuple[str, ...]:
    return tuple(told[rank] for rank in sorted(told))


def _on_open_lists(depot: Depot) -> set[tuple[int, int | None]]:
    return {*CountLine.objects.filter(place__depot=depot).exclude(state=POSTED).values_list("place", "lot")}


def _due_jobs(depot: Depot, last: date) -> dict[str, str]:
    """Staged-by day at a depot of each job of the applied plan that must be ready by a day."""
    return {job: day.isoformat() for job, day in staged_days().at(depot.depot).items() if day <= last}


def _spots(why: _Why, depot: Depot, balances: Mapping[Key, Balance]) -> None:
    """Places at which somebody said that pieces are gone, until they are counted after that."""
    said = {
        event.subject: event for event in Event.objects.filter(name=SPOT_EVENT, depot=depot.depot).order_by("number")
    }
    last = dict(_last_counts(CountLine.objects.filter(place__depot=depot, counted_at__isnull=False)))
    for key, balance in balances.items():
        event = said.get(str(balance.place))
        if event is None:
            continue
        day = local_day(depot, event.at)
        later_day = balance.counted_on is not None and balance.counted_on > day
        if not later_day and (key not in last or last[key] < event.at):
            why.add(key, SPOT, f"{event.by} missed pieces on {day}")


def _last_counts(counted: QuerySet[CountLine]) -> Iterator[tuple[tuple[int, int | None], datetime]]:
    """When each place and lot was counted last."""
    for place, lot, moment in counted.order_by().values_list("place", "lot").annotate(last=Max("counted_at")):
        yield (place, lot), moment


def _hanging(why: _Why, balances: Mapping[Key, Balance], staged_by: Mapping[str, str]) -> None:
    """Pieces promised to bags of the next days, each with the first job that needs them."""
    promised = Promise.objects.filter(released_at=None, place__isnull=False, job__job__in=staged_by, job__ended="")
    rows = {(place, lot, job) for place, lot, job in promised.values_list("place", "lot", "job__job")}
    for place, lot, job in sorted(rows, key=lambda row: (staged_by[row[2]], row[2])):
        if (place, lot) in balances:
            why.add((place, lot), HANGING, f"{job}, staged by {staged_by[job]}")


def _exact(why: _Why, depot: Depot, lying: Mapping[Key, Balance], due: Mapping[Key, Balance]) -> None:
    """Pieces of which jobs are promised the very last of all bins, at bins that nobody has counted for long."""
    rows = Promise.objects.filter(released_at=None, place__depot=depot, place__kind=BIN, job__ended="")
    wanted: Counter[int] = Counter()
    jobs: dict[Key, set[str]] = defaultdict(set)
    for item, place, lot, job, quantity in rows.values_list("item", "place", "lot", "job__job", "quantity"):
        wanted[item] += quantity
        jobs[place or 0, lot or 0].add(job)
    there: Counter[int] = Counter()
    for one in lying.values():
        if one.place.kind == BIN:
            there[one.lot.item_id] += one.quantity
    for key, one in due.items():
        item = one.lot.item_id
        if jobs.get(key) and wanted[item] == there[item]:
            named = ", ".join(sorted(jobs[key], key=natural_key)[:_NAMED])
            why.add(key, EXACT, f"{named}: promised the last piece; {_since(one)}")


def _since(balance: Balance) -> str:
    return f"not counted since {balance.counted_on}" if balance.counted_on else "never counted"


def _risks(why: _Why, depot: Depot, due: Mapping[Key, Balance]) -> None:
    """Trucks, lots that nobody knows, and what was wrong when it was counted last."""
    counted = CountLine.objects.filter(place__depot=depot, lot__isnull=False, state=POSTED)
    last = counted.order_by().values("place", "lot").annotate(last=Max("pk")).values("last")
    wrong = {(line.place_id, line.lot_id): line.difference != 0 for line in CountLine.objects.filter(pk__in=last)}
    for key, balance in due.items():
        if wrong.get(key):
            why.add(key, RISK, "wrong when it was counted last")
        elif balance.place.kind == TRUCK:
            why.add(key, RISK, "on a truck")
        elif not balance.lot.number and balance.lot.item.lot_tracked:
            why.add(key, RISK, "lot unknown")


def _dear(why: _Why, lying: Mapping[Key, Balance], due: Mapping[Key, Balance]) -> None:
    """Our own pieces that make up most of what lies there; pieces without a price have no value here."""
    worth = {
        key: Fraction(one.lot.item.price) * one.quantity / (one.lot.item.per_purchase_unit or 1000)
        for key, one in lying.items()
        if one.lot.item.price and not one.lot.supplier_owned
    }
    for key in leading(worth):
        if key in due:
            why.add(key, VALUE, f"among the dearest, which make up {LEADING_PERCENT} % of the depot's stock")


def _fast(why: _Why, depot: Depot, lying: Mapping[Key, Balance], due: Mapping[Key, Balance], today: date) -> None:
    """What most movements of the last quarter came to or went from; opening balances are none."""
    recent = Movement.objects.filter(
        Q(from_place__depot=depot) | Q(to_place__depot=depot), action__at__date__gt=today - timedelta(OTHER_DAYS)
    ).exclude(origin=OPENING)
    moves: Counter[Key] = Counter()
    for source, target, lot in recent.order_by("pk").values_list("from_place", "to_place", "lot"):
        moves.update((place, lot) for place in (source, target) if place is not None)
    for key in leading({key: Fraction(moves[key]) for key in lying}):
        if key in due:
            why.add(key, SPEED, f"movements within {OTHER_DAYS} days: {moves[key]}")


def _bags_in_store(depot: Depot) -> Iterable[Bag]:
    in_store = Q(state__in=IN_STORE) | Q(state_before_hold__in=IN_STORE)
    found = Bag.objects.filter(in_store, depot=depot, transfer=None)  # none of those still on the road
    return found.select_related("job", "place__depot").order_by("pk")


def _bags(depot: Depot, staged_by: Mapping[str, str], today: date) -> list[ToCount]:
    """Staged bags of the next days that nobody has looked for today."""
    looked_for = CountLine.objects.filter(place__bag__depot=depot, lot=None, counted_at__isnull=False)
    seen = {line.place_id for line in looked_for if line.counted_at and local_day(depot, line.counted_at) == today}
    return [
        _bag(bag, (f"{HANGING}: {bag.job.job}, staged by {staged_by[bag.job.job]}",))
        for bag in _bags_in_store(depot)
        if bag.job.job in staged_by and bag.state == STAGED and bag.place_id not in seen
    ]


def _bag(bag: Bag, reasons: tuple[str, ...]) -> ToCount:
    return ToCount(bag.place, None, reasons, bag.whereabouts or bag.place.code)
