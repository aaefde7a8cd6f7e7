"""Open the balances that a stock sheet gives; what the books already hold is compared, never overwritten."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import pandas as pd

from inventory.models import Depot, Item, Place
from inventory.services.actions import begin
from inventory.services.opening import Opening, open_balances
from kitting.calculation.quantities import as_decimal
from kitting.calculation.questions import REFUSE, Question
from kitting.selectors.record_sheets import RECORDS
from kitting.selectors.stock_on_books import Spot, StockOnBooks, lot_name, orders_under_way
from kitting.services.upsert_rows import SheetChanges, stored_rows

_BATCH = 2_000


@dataclass(frozen=True, slots=True)
class _Given:
    """What the sheet says of one spot, all its rows together; ``row`` is the first of them."""

    row: int
    pieces: int
    counted_on: date | None


def stock_questions(frame: pd.DataFrame, books: StockOnBooks) -> list[Question]:
    """Where the sheet contradicts itself or the books: other pieces at a spot, or another date of a lot."""
    given = _given(frame, books)
    return [*_other_pieces(given, books), *_other_dates(given, books)]


def order_questions(orders: pd.DataFrame) -> list[Question]:
    """Order lines that say another quantity than what is still to come, once pieces have come or it was changed."""
    known = orders_under_way()
    found = []
    for row, order, line, quantity in zip(
        *(orders[name] for name in ("row", "order", "line", "quantity")), strict=True
    ):
        kept = known.get((order, line))
        if kept is not None and quantity != (left := kept.quantity - kept.received):
            came, ordered = _shown(kept.received), _shown(kept.quantity)
            why = f"{came} of {ordered} have come" if kept.received else "it was split, reduced or cancelled"
            problem, suggestion = f"{why}, so {_shown(left)} are still to come", f"{_shown(left)}, or no row"
            found.append(Question("orders", row, "quantity", _shown(quantity), problem, suggestion, REFUSE))
    return found


def open_stock(frame: pd.DataFrame, books: StockOnBooks, *, file_digest: str, by: str, at: datetime) -> SheetChanges:
    """Book the spots that the books don't know, as one action; the others are there already."""
    given = _given(frame, books)
    new = {spot: one for spot, one in given.items() if spot not in books.pieces}
    if new:
        action, _ = begin(
            "opening balances",
            {"file": file_digest, "rows": len(new)},
            {"by": by, "at": at, "action": f"opening {file_digest}"},
            "opening balances of the sheets",
        )
        open_balances(action, _openings(new))
    staying = tuple(_line(spot) for spot in books.pieces if spot not in given)
    return SheetChanges(
        "stock",
        new=tuple(map(_line, new)),
        same=len(given) - len(new),
        staying=staying,
        depots=frozenset(spot[1] for spot in new),
    )


def _given(frame: pd.DataFrame, books: StockOnBooks) -> dict[Spot, _Given]:
    found: dict[Spot, _Given] = {}
    for row, (code, depot, place, kind, lot, use_by, pieces, counted_on, job, structure) in zip(
        frame["row"], stored_rows(RECORDS["stock"], frame), strict=True
    ):
        spot = books.spot((code, depot, place, kind, lot, use_by, job, structure))
        before = found.get(spot, _Given(row, 0, None))
        latest = max(filter(None, (before.counted_on, counted_on)), default=None)
        found[spot] = _Given(before.row, before.pieces + pieces, latest)
    return found


def _other_pieces(given: Mapping[Spot, _Given], books: StockOnBooks) -> Iterator[Question]:
    for spot, one in given.items():
        held = books.pieces.get(spot, one.pieces)
        if held != one.pieces:
            problem = f"the books hold {_shown(held)} of {spot[0]} there"
            yield Question(
                "stock",
                one.row,
                "quantity",
                _shown(one.pieces),
                problem,
                f"count; if it is {_shown(held)}, write that",
                REFUSE,
            )


def _other_dates(given: Mapping[Spot, _Given], books: StockOnBooks) -> Iterator[Question]:
    dates = dict(books.use_by)
    for spot, one in given.items():
        name, use_by = lot_name(spot), spot[5]
        if name and dates.setdefault(name, use_by) != use_by:
            problem = f"lot {name[1]} of {name[0]} is good through {_word(dates[name]) or 'no known day'} elsewhere"
            yield Question("stock", one.row, "use by", _word(use_by), problem, "a lot has one date", REFUSE)


def _openings(new: Mapping[Spot, _Given]) -> list[Opening]:
    items, depots = (
        {item.stock_code: item for item in Item.objects.all()},
        dict(Depot.objects.values_list("depot", "pk")),
    )
    wanted = {(depots[spot[1]], *spot[2:4], *spot[6:]) for spot in new}
    places = _places()
    missing = sorted(wanted - places.keys())
    Place.objects.bulk_create(
        (
            Place(depot_id=depot, code=code, kind=kind, job=job, structure=where)
            for depot, code, kind, job, where in missing
        ),
        batch_size=_BATCH,
    )
    places = _places() if missing else places
    return [
        Opening(
            item=items[spot[0]],
            place=places[(depots[spot[1]], *spot[2:4], *spot[6:])],
            quantity=one.pieces,
            lot=spot[4],
            use_by=spot[5],
            counted_on=one.counted_on,
        )
        for spot, one in new.items()
    ]


def _places() -> dict[tuple[Any, ...], Place]:
    return {(one.depot_id, one.code, one.kind, one.job, one.structure): one for one in Place.objects.all()}


def _line(spot: Spot) -> str:
    return ", ".join(filter(None, map(_word, spot)))


def _shown(pieces: int) -> str:
    return format(as_decimal(pieces), "f")


def _word(part: object) -> str:
    return "" if part is None else str(part)
