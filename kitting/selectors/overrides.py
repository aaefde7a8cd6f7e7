"""Everything that somebody overrode: what, when, by whom and with whom, and why. Overrides are where risk hides."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import chain
from types import MappingProxyType

from inventory.models import HOLD, RESERVE, LotHold, Movement
from kitting.models import Borrow, Event, LotRequest, ReserveRelease
from kitting.selectors.reserve import ROTATION

# Event by name -> what it overrides. Whatever is recorded under one of these names has a reason.
OVERRIDING_EVENTS: Mapping[str, str] = MappingProxyType(
    {
        "pinned": "pin",
        "pin loaded": "pin",
        "stand-in approved": "stand-in",
        "stand-in extended": "stand-in extended",
        "stand-in loaded": "stand-in",
        "stand-in listed for duty": "stand-in listed for duty",
        "date extended": "date extended",
        "expired lot let go": "used past its date",
        "short issue approved": "short issue approved",
        "bag issued short": "short issue",
        "borrow approved": "borrow approved",
        "bag closed with exception": "closed unbalanced",
        "count approved": "count approved",
        "changed after the freeze": "changed after the freeze",
    }
)
REASON = "reason"
_PLACES = MappingProxyType({RESERVE: "reserve opened", HOLD: "set-aside pieces let go"})


@dataclass(frozen=True, slots=True)
class Override:
    """One override.

    Args:
        at: the moment.
        what: such as ``pin`` or ``reserve opened``.
        subject: what it was done to.
        by: who did it, or let it be done.
        asked_by: who asked for it or signed with them; '' where nobody did.
        reason: why.
        depot: where; '' where it concerns every depot.
    """

    at: datetime
    what: str
    subject: str
    by: str
    asked_by: str
    reason: str
    depot: str = ""


def overrides(*, since: datetime | None = None, until: datetime | None = None) -> list[Override]:
    """All overrides of a time, ends included, the first one first; six queries."""
    found = (_of_events(since, until), _of_holds(since, until), _of_places(since, until), _of_borrows(since, until))
    return sorted(
        chain.from_iterable(found),
        key=lambda one: (one.at, one.what, one.subject),
    )


def _within(field: str, since: datetime | None, until: datetime | None) -> dict[str, datetime]:
    found = {f"{field}__gte": since, f"{field}__lte": until}
    return {name: moment for name, moment in found.items() if moment is not None}


def _of_events(since: datetime | None, until: datetime | None) -> Iterator[Override]:
    for event in Event.objects.filter(name__in=OVERRIDING_EVENTS, **_within("at", since, until)):
        data = event.data
        what, by = OVERRIDING_EVENTS[event.name], data.get("approved_by", event.by)
        yield Override(event.at, what, event.subject, by, data.get("asked_by", ""), data[REASON], event.depot)


def _of_holds(since: datetime | None, until: datetime | None) -> Iterator[Override]:
    signed = dict(LotRequest.objects.filter(hold__isnull=False).values_list("hold", "asked_by"))
    found = LotHold.objects.filter(released_at__isnull=False, **_within("released_at", since, until))
    for hold in found.select_related("item"):
        if hold.released_at is not None:
            subject = f"{hold.item} lot {hold.lot_number}, held: {hold.reason}"
            first = signed.get(hold.pk, "")
            yield Override(hold.released_at, "hold released", subject, hold.released_by, first, hold.release_reason)


def _of_borrows(since: datetime | None, until: datetime | None) -> Iterator[Override]:
    found = Borrow.objects.filter(**_within("borrowed_at", since, until))
    for lent in found.select_related("bag__job", "bag__depot", "to_job", "lot__item"):
        yield Override(
            lent.borrowed_at, "staged bag broken", str(lent), lent.authorised_by, lent.asked_by, lent.why,
            lent.bag.depot.depot,
        )  # fmt: skip


def _of_places(since: datetime | None, until: datetime | None) -> Iterator[Override]:
    """Actions that took pieces out of the reserve or from a place of set-aside pieces, however they were carried.

    A rotation is none: as many fresh pieces went into the reserve.
    """
    asked = dict(ReserveRelease.objects.exclude(action="").values_list("action", "asked_by"))
    moves = Movement.objects.filter(
        from_place__kind__in=_PLACES,
        to_place__isnull=False,
        reverses__isnull=True,
        **_within("action__at", since, until),
    )
    rows = moves.exclude(action__use_case=ROTATION).values_list(
        "action__number", "from_place__kind", "to_place__kind", "action__at", "action__by", "action__why",
        "lot__item__stock_code", "from_place__depot__depot", "from_place__code",
    )  # fmt: skip
    told: dict[tuple[str, str], dict[str, None]] = defaultdict(dict)
    stamps = {}
    for number, kind, to_kind, at, by, why, code, depot, place in rows.order_by("pk"):
        if kind != to_kind:
            told[number, kind][f"{code} of {depot}/{place}"] = None
            stamps[number] = (at, by, why, depot)
    for (number, kind), subjects in told.items():
        at, by, why, depot = stamps[number]
        yield Override(at, _PLACES[kind], ", ".join(subjects), by, asked.get(number, ""), why, depot)
