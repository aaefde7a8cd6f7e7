"""Which pieces may go where: what every use case that moves them must keep."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from inventory.errors import Refusal
from inventory.models import (
    BAG,
    BIN,
    HOLD,
    INSTALLED,
    LENT,
    RESERVE,
    STAGING,
    SUPPLIER_OWNED,
    TRUCK,
    VAN,
    Lot,
    LotHold,
    Place,
    Transfer,
)
from inventory.selectors.finding import open_holds
from inventory.services.booking import Move

ON_ITS_WAY_TO_A_JOB = {STAGING, BAG, TRUCK, VAN}
_OURS_ONLY = {BIN, RESERVE}


def check(moves: Sequence[Move], why: str, made_at: datetime | None = None) -> None:
    """Look at every move before anything is written.

    Args:
        moves: what goes where.
        why: the reason in words.
        made_at: moment at which the pieces were really moved, where the books hear of it later: a hold that was placed
            after it did not stop them. None: now.

    Raises:
        Refusal: ``on-hold``: a held piece would go towards a job or a neighbour; names the hold. ``set-aside``: so
            would a piece that lies at a hold place. ``needs-reason``: pieces leave a hold place or the reserve.
            ``owner``: the supplier's pieces would lie among ours, or ours among his.
    """
    holds = {
        key: hold
        for key, hold in open_holds(move.lot for move in moves).items()
        if made_at is None or hold.placed_at <= made_at
    }
    for move in moves:
        to_kind = move.target.kind if move.target is not None else ""
        towards_a_job = move.ending == INSTALLED or to_kind in (*ON_ITS_WAY_TO_A_JOB, LENT)
        hold = holds.get((move.lot.item_id, move.lot.number))
        if towards_a_job:
            _refuse_stopped(move, hold)
        if move.source is not None and move.source.kind in (HOLD, RESERVE) and not why.strip():
            raise Refusal(
                "needs-reason",
                f"Pieces leave {move.source} ({move.source.kind}) only with a reason.",
                {"place": str(move.source)},
            )
        if move.target is not None:
            _refuse_other_owner(move.lot, move.target)


def _refuse_stopped(move: Move, hold: LotHold | None) -> None:
    if hold is not None:
        raise Refusal(
            "on-hold",
            f"{move.lot} is stopped by hold {hold.pk} since {hold.placed_at:%Y-%m-%d}: {hold.reason}.",
            {"hold": hold.pk, "stock_code": move.lot.item.stock_code, "lot": move.lot.number},
        )
    if move.source is not None and move.source.kind == HOLD:
        raise Refusal(
            "set-aside",
            f"Pieces of {move.lot} at {move.source} are set aside: put them back to a bin with a reason first.",
            {"place": str(move.source), "lot": move.lot.number},
        )


def _refuse_other_owner(lot: Lot, target: Place) -> None:
    if lot.supplier_owned and target.kind in _OURS_ONLY:
        raise Refusal("owner", f"{lot} belongs to the supplier: it can't lie at {target} ({target.kind}).", {})
    if not lot.supplier_owned and target.kind == SUPPLIER_OWNED:
        raise Refusal("owner", f"{lot} is ours: it can't lie at {target} ({target.kind}).", {})


def one_depot(places: Sequence[Place]) -> None:
    """All places belong to one depot.

    Raises:
        Refusal: ``other-depot``: between depots pieces go by a transfer.
    """
    depots = {place.depot_id: place.depot.depot for place in places}
    if len(depots) > 1:
        names = ", ".join(sorted(depots.values()))
        raise Refusal("other-depot", f"These places are of several depots ({names}): make a transfer.", {})


def refuse_the_road(places: Iterable[Place]) -> None:
    """Nothing is put to, taken from or counted at the place of a transfer but by its own use cases.

    Raises:
        Refusal: ``on-the-road``: names the transfer.
    """
    vans = {place.pk for place in places if place.kind == VAN}
    transfer = Transfer.objects.filter(place__in=vans).order_by("pk").first() if vans else None
    if transfer is not None:
        raise Refusal("on-the-road", f"Transfer {transfer} is on the road: receive it.", {"transfer": transfer.number})
