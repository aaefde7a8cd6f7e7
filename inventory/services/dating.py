"""Move the date of a lot that an inspection has found good, where its kind of stock allows that."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from inventory.errors import Refusal
from inventory.models import DATE_MAY_BE_EXTENDED, Action, Depot, Lot
from inventory.selectors.finding import items_by_code, local_day, lots_by_number
from inventory.selectors.locking import lock_balances_of


@dataclass(frozen=True, slots=True)
class Extended:
    """What became of a lot's date."""

    stock_code: str
    lot: str
    before: date
    after: date


def extend_date(action: Action, *, stock_code: str, lot: str, use_by: date, certificate: str) -> Extended:
    """Give a lot, ours and the supplier's pieces alike, the date that a certificate names, in the action's transaction.

    Raises:
        Refusal: as ``extendable_lots``.
    """
    lots = extendable_lots(stock_code=stock_code, lot=lot, use_by=use_by, certificate=certificate)
    lock_balances_of(lots)
    before = max(one.use_by for one in lots if one.use_by)
    if use_by <= _latest_day(lots, action.at):
        raise Refusal("date-past", f"{use_by} has passed already; the certificate must name a later day.", {})
    Lot.objects.filter(pk__in=[one.pk for one in lots]).update(use_by=use_by)
    return Extended(stock_code, lot, before, use_by)


def _latest_day(lots: Iterable[Lot], at: datetime) -> date:
    """The day it is at the depots that have these lots on their books; the later one where they are far apart."""
    depots = Depot.objects.filter(places__balances__lot__in=lots).distinct()
    return max((local_day(depot, at) for depot in depots), default=at.date())


def extendable_lots(*, stock_code: str, lot: str, use_by: date, certificate: str) -> list[Lot]:
    """The lots of a number, if a certificate may give them this later date.

    Raises:
        Refusal: ``no-certificate``; ``unknown-lot``; ``date-is-final``: nobody has said that the item's date may be
            extended; ``no-date``: the lot has none; ``not-later``: the new date is not after the old one.
    """
    if not certificate.strip():
        raise Refusal("no-certificate", "A date is extended by a certificate: give its number.", {"lot": lot})
    item = items_by_code([stock_code])[stock_code]
    if not lot.strip():
        raise Refusal("unknown-lot", "Pieces of an unknown lot can't be certified.", {"stock_code": stock_code})
    lots = lots_by_number(item=item, number=lot)
    if item.dated_kind != DATE_MAY_BE_EXTENDED:
        message = f"The date of {item} is final (kind {item.dated_kind or 'not said'}): only kind II may be extended."
        raise Refusal("date-is-final", message, {"stock_code": stock_code, "dated_kind": item.dated_kind})
    dates = [one.use_by for one in lots if one.use_by]
    if not dates:
        raise Refusal("no-date", f"{item} lot {lot} has no date to extend: receive it with one.", {"lot": lot})
    if use_by <= max(dates):
        raise Refusal("not-later", f"{use_by} is not later than {max(dates)}, the date on the books.", {"lot": lot})
    return lots
