"""Many hands reach for the last piece at once: one gets it, all others are told who."""

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from threading import Barrier, BrokenBarrierError

from django.db import connection

from inventory.errors import Refusal
from inventory.models import BAG, Balance, Depot, Item, Lot, Place
from inventory.services.actions import Stamp
from inventory.services.moving import Carry, move
from inventory.services.receiving import Arrival, receive

_ONE = 1000  # thousandths
_PATIENCE_S = 120
Take = Callable[[Carry, str, str], None]


@dataclass(frozen=True, slots=True)
class Round:
    """One last piece: who got it, and whom each of the others was told to have it."""

    winners: tuple[str, ...]
    told: tuple[str, ...]
    left: int

    def fault(self, hands: int) -> str:
        """What went wrong, '' if nothing did."""
        if len(self.winners) != 1:
            return f"{len(self.winners)} got the one piece"
        if self.told != self.winners * (hands - 1):
            return f"{self.winners[0]} got it, the others were told {sorted(set(self.told))}"
        return f"{self.left} thousandths left" if self.left else ""


def take_by_the_book(carry: Carry, by: str, action: str) -> None:
    """As people do it."""
    move(carries=[carry], by=by, at=datetime.now(UTC), action=action)


def last_piece_rounds(*, rounds: int, hands: int, take: Take = take_by_the_book) -> list[Round]:
    """Let that many threads reach for one piece, round after round.

    Args:
        rounds: how many last pieces there are.
        hands: threads, each with its own connection and its own bag.
        take: carries the piece or raises a refusal.
    """
    depot = Depot.objects.create(depot="RACE")
    item = Item.objects.create(stock_code="LAST-1", kind="bushing insert")
    shelf = Place.objects.create(depot=depot, code="shelf")
    bags = [Place.objects.create(depot=depot, code=f"bag {hand}", kind=BAG) for hand in range(hands)]
    line = Barrier(hands + 1, timeout=_PATIENCE_S)
    told: list[dict[str, str | None]] = [{} for _ in range(rounds)]

    def reach(hand: int) -> None:
        finished = False
        try:
            for number in range(rounds):
                line.wait()
                carry = Carry(lot=Lot.objects.get(item=item), quantity=_ONE, source=shelf, target=bags[hand])
                told[number][f"hand {hand}"] = _told(take, carry, f"hand {hand}", f"round {number} hand {hand}")
                line.wait()
            finished = True
        finally:
            if not finished:
                line.abort()  # nobody waits for a hand that is gone
            connection.close()

    found = []
    with ThreadPoolExecutor(hands) as pool:
        reaching = [pool.submit(reach, hand) for hand in range(hands)]
        try:
            for number in range(rounds):
                arrival = Arrival(stock_code=item.stock_code, place=shelf, count=_ONE, lot="L-1")
                stamp: Stamp = {"by": "stores", "at": datetime.now(UTC), "action": f"last piece {number}"}
                receive(depot=depot, arrivals=[arrival], **stamp)
                line.wait()
                line.wait()
                found.append(_round(told[number], Balance.objects.get(place=shelf).quantity))
        except BrokenBarrierError:
            for one in reaching:
                one.result()  # raises what the hand that is gone met
            raise
    return found


def _told(take: Take, carry: Carry, by: str, action: str) -> str | None:
    """Who the refusal says has the piece; None where there was no refusal."""
    try:
        take(carry, by, action)
    except Refusal as refusal:
        missing = refusal.data.get("missing")
        return str(missing[0]["taken_by"]) if isinstance(missing, list) else refusal.message
    return None


def _round(told: Mapping[str, str | None], left: int) -> Round:
    winners = tuple(sorted(hand for hand, holder in told.items() if holder is None))
    return Round(winners, tuple(holder for holder in told.values() if holder is not None), left)
