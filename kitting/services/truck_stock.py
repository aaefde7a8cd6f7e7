"""Trucks: their lists, what is loaded from the depot's free shelf, and what is turned in from them.

Truck stock is never free for kits. What is used of it for a job goes into the job's bag, by ``pick`` or ``bring_in``.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Unpack

from inventory.models import BIN, TRUCK, Action, Balance, Place, TruckLevel
from inventory.selectors.finding import depot_named, items_by_code, local_day
from inventory.services.actions import begin, use_case
from inventory.services.doubts import Doubts
from inventory.services.moving import Carry, carry
from kitting.errors import Refusal
from kitting.roles import DO, STOREKEEPER, require
from kitting.selectors.bag_contents import bare, is_good
from kitting.selectors.trucks import truck_place
from kitting.services.free_pieces import refuse_promised
from kitting.services.record_events import Happening, record_events
from kitting.services.return_bags import INSPECT, STOCK, require_door, require_sound
from kitting.services.scans import Scan, plain_code, stamp_of

TRUCK_STOCK, WAREHOUSE = "truck stock", "warehouse"


@dataclass(frozen=True, slots=True)
class Load:
    """Thousandths of what lies in a bin, by the number of its balance."""

    balance: int
    quantity: int


@use_case
def keep_truck_line(
    *,
    depot: str,
    truck: str,
    stock_code: str,
    minimum: int,
    maximum: int,
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> Place:
    """Say how many thousandths of an item a truck carries at least and at most; a most of 0 takes it off the list.

    Raises:
        Doubt: ``new-truck``: the depot has no truck of this code yet.
        Refusal: ``not-allowed``; ``unknown-depot``; ``no-code``; ``unknown-stock-code``; ``least-above-most``.
    """
    require(scan["actor"], TRUCK_STOCK, DO, depot)
    found = depot_named(depot)
    code = plain_code(truck, "A truck")
    content = {"depot": depot, "truck": code, "code": stock_code, "least": minimum, "most": maximum}
    _, repeated = begin("keep truck line", content, stamp_of(scan))
    item = items_by_code([stock_code])[stock_code]
    place = Place.objects.filter(depot=found, code=code, kind=TRUCK).select_related("depot").first()
    if repeated and place:
        return place
    if not 0 <= minimum <= maximum:
        message = f"At least {bare(minimum)} and at most {bare(maximum)} {item}: the most is not below the least."
        raise Refusal("least-above-most", message, {"least": minimum, "most": maximum})
    if place is None:
        doubts = Doubts(confirmed)
        doubts.ask("new-truck", 1, f"Depot {found} has no truck {code}: is it a new one?")
        doubts.settle()
        place = Place.objects.create(depot=found, code=code, kind=TRUCK)
    kept = TruckLevel.objects.filter(truck=place, item=item)
    before = kept.values("minimum", "maximum").first()
    if maximum:
        TruckLevel.objects.update_or_create(truck=place, item=item, defaults={"minimum": minimum, "maximum": maximum})
    else:
        kept.delete()
    told = {"stock_code": item.stock_code, "before": before, "after": {"minimum": minimum, "maximum": maximum}}
    record_events([Happening("truck list kept", str(place), told, depot=depot)], by=scan["actor"].name, at=scan["at"])
    return place


@use_case
def load_truck(*, truck: int, loads: Sequence[Load], confirmed: Collection[str] = (), **scan: Unpack[Scan]) -> Action:
    """Put free pieces of the depot's bins on a truck; all of it or nothing.

    Raises:
        Doubt: ``beside-the-list``: the list doesn't name an item, or says fewer.
        Refusal: ``unknown-truck``; ``not-allowed``; ``moves-nothing``; ``not-on-shelf``; ``out-of-date``; ``promised``:
            says to whom, and how many are free; ``not-enough``; ``on-hold``.
    """
    place = truck_place(truck)
    require(scan["actor"], WAREHOUSE, DO, place.depot.depot)
    content = {"truck": truck, "loads": [[one.balance, one.quantity] for one in loads]}
    action, repeated = begin("load truck", content, stamp_of(scan))
    if repeated:
        return action
    if not loads:
        raise Refusal("moves-nothing", f"Nothing is to be loaded on {place}.", {"truck": truck})
    lying = _locked_on_shelf(loads, place)
    rows = [(lying[one.balance], one.quantity) for one in loads]
    for balance, _ in rows:
        if not is_good(balance.lot, local_day(place.depot, scan["at"])):
            date = f"use by {balance.lot.use_by}" if balance.lot.use_by else "without its date"
            raise Refusal("out-of-date", f"{balance.lot}, {date}, goes on no truck.", {"lot": balance.lot.number})
    refuse_promised(rows)
    _ask_beside_the_list(place, rows, confirmed)
    carries = [Carry(lot=one.lot, quantity=pieces, source=one.place, target=place) for one, pieces in rows]
    carry(action, carries, "")
    told = {
        "pieces": [f"{bare(pieces)} of {one.lot} from {one.place}" for one, pieces in rows],
        "action": action.number,
    }
    loaded = Happening("truck loaded", str(place), told, depot=place.depot.depot)
    record_events([loaded], by=scan["actor"].name, at=scan["at"])
    return action


def _locked_on_shelf(loads: Sequence[Load], truck: Place) -> dict[int, Balance]:
    wanted = {one.balance for one in loads}
    found = Balance.objects.select_for_update(of=("self",), no_key=True).filter(
        pk__in=wanted, place__kind=BIN, place__depot=truck.depot_id
    )
    lying = {one.pk: one for one in found.select_related("lot__item", "place__depot").order_by("pk")}
    if wanted - lying.keys() or len(wanted) < len(loads):
        message = f"A truck is loaded from the bins of depot {truck.depot}, each lot of a bin once."
        raise Refusal("not-on-shelf", message, {"truck": truck.pk})
    return lying


def _ask_beside_the_list(truck: Place, rows: Sequence[tuple[Balance, int]], confirmed: Collection[str]) -> None:
    most = dict(TruckLevel.objects.filter(truck=truck).values_list("item", "maximum"))
    there: dict[int, int] = {}
    for aboard, quantity in Balance.objects.filter(place=truck).values_list("lot__item", "quantity"):
        there[aboard] = there.get(aboard, 0) + quantity
    doubts = Doubts(confirmed)
    for number, (one, pieces) in enumerate(rows, 1):
        item = one.lot.item
        there[item.pk] = there.get(item.pk, 0) + pieces
        if there[item.pk] > most.get(item.pk, 0):
            listed = f"at most {bare(most[item.pk])} of it" if item.pk in most else "none of it"
            question = f"{truck} would carry {bare(there[item.pk])} {item}; its list says {listed}. Load it?"
            doubts.ask("beside-the-list", number, question)
    doubts.settle()


@use_case
def turn_in_from_truck(
    *, truck: int, balance: int, quantity: int, condition: str, to: Place, why: str = "", **scan: Unpack[Scan]
) -> Action:
    """Bring thousandths of a lot from a truck back: to a bin, or to a place of the kind hold to be inspected.

    Raises:
        Refusal: ``unknown-truck``; ``not-allowed``; ``not-there``; ``more-than-there``: the truck holds fewer, count
            it; ``wrong-door``: opened, held or undated pieces, or those without a readable lot, go to be inspected.
    """
    place = truck_place(truck)
    require(scan["actor"], TRUCK_STOCK, DO, place.depot.depot)
    content = {"truck": truck, "balance": balance, "quantity": quantity, "condition": condition, "to": to.pk}
    action, repeated = begin("turn in from truck", content, stamp_of(scan), why)
    if repeated:
        return action
    locked = Balance.objects.select_for_update(of=("self",), no_key=True).select_related("lot__item")
    found = locked.filter(pk=balance, place=place).first()
    if found is None:
        raise Refusal("not-there", f"The books have no such pieces on {place}: count it.", {"balance": balance})
    if quantity > found.quantity:
        message = f"MORE THAN THERE: the books have {bare(found.quantity)} of {found.lot} on {place}, not "
        raise Refusal(
            "more-than-there", f"{message}{bare(quantity)}. Count the truck first.", {"there": found.quantity}
        )
    lot, door = found.lot, STOCK if to.kind == BIN else INSPECT
    require_door(lot.item, condition=condition, door=door, place=to, why=why)
    if door == STOCK:
        require_sound(lot, local_day(place.depot, scan["at"]))
    carry(action, [Carry(lot=lot, quantity=quantity, source=place, target=to)], why)
    told = {"lot": str(lot), "quantity": bare(quantity), "to": str(to), "condition": condition, "why": why}
    back = Happening(
        "turned in from truck", str(place), told, STOREKEEPER if door == INSPECT else "", place.depot.depot
    )
    record_events([back], by=scan["actor"].name, at=scan["at"])
    return action
