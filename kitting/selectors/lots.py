"""Lots beside the jobs: who is promised what of a lot, and which jobs could still use one whose date comes near."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Q

from inventory.selectors.balances import Ageing, look_ahead
from kitting.models import Promise


@dataclass(frozen=True, slots=True)
class Claim:
    """Thousandths of a lot promised to a line, and where they lie."""

    job: str
    line: str
    place: str
    quantity: int


def claims(*, stock_code: str, lot: str, as_of: datetime | None = None) -> list[Claim]:
    """Promises of a lot number that are open, or were at a past moment, by line."""
    then = (
        Q(released_at__isnull=True)
        if as_of is None
        else Q(made_at__lte=as_of) & (Q(released_at__isnull=True) | Q(released_at__gt=as_of))
    )
    found = Promise.objects.filter(then, item__stock_code=stock_code, lot__number=lot).order_by("line", "pk")
    rows = found.values_list("job__job", "line", "place__depot__depot", "place__code", "quantity")
    return [Claim(job, line, f"{depot}/{place}", quantity) for job, line, depot, place, quantity in rows]


@dataclass(frozen=True, slots=True)
class Use:
    """Pieces whose date comes near, the jobs they are promised to, and others that could use them in time."""

    ageing: Ageing
    promised_to: tuple[str, ...]
    could_use: tuple[str, ...]


def uses_ahead(*, today: date) -> list[Use]:
    """Pieces that expire within 90 days, the first to expire first, with the jobs for which they are good.

    A job could use them where it is promised other pieces of the same stock code and its outage ends by their date.
    """
    open_promises = Promise.objects.filter(released_at__isnull=True, job__ended="")
    rows = open_promises.values_list(
        "item__stock_code", "lot__number", "place__depot__depot", "place__code", "job__job", "job__cutover",
        "job__cutover_end",
    )  # fmt: skip
    by_code: dict[str, dict[str, str]] = defaultdict(dict)
    by_place: dict[tuple[str, ...], set[str]] = defaultdict(set)
    for code, lot, depot, place, job, cutover, cutover_end in rows:
        by_code[code][job] = (cutover_end or cutover)[:10]
        by_place[(code, lot or "", depot or "", place or "")].add(job)
    return [_use(one, by_place, by_code) for one in look_ahead(today=today)]


def _use(
    ageing: Ageing, by_place: Mapping[tuple[str, ...], Iterable[str]], by_code: Mapping[str, Mapping[str, str]]
) -> Use:
    one = ageing.lying
    promised = sorted(by_place.get((one.stock_code, one.lot, one.depot, one.place), ()))
    last = one.use_by.isoformat() if one.use_by else ""
    others = (job for job, needed in by_code.get(one.stock_code, {}).items() if needed <= last and job not in promised)
    return Use(ageing, tuple(promised), tuple(sorted(others)))
