"""Published netting records and first-to-expire, met by the promises and the order quantities together.

Each row of the netting table is one period: what is on hand and due in meets the gross need, the rest is the net need,
and the order is rounded to the lot rule. Each issue of the first-to-expire table is one job.
"""

import csv
from datetime import date
from pathlib import Path

import pytest

from kitting.calculation.promising import promise
from kitting.calculation.promising.model import NEVER, Cell, Kit, Lot, Problem
from kitting.calculation.reorder_quantities import order_quantity

PUBLISHED = Path(__file__).parent / "published_values"
DAY = date(2026, 3, 2).toordinal()


def rows_of(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def lot(pieces: int, walk: int, *, day: int = DAY, expiry: int = NEVER, is_order: bool = False) -> Lot:
    return Lot(
        item=0,
        depot=0,
        quantity=pieces * 1000,
        ready_day=day,
        expiry_day=expiry,
        arrival=(day,),
        only_kit=-1,
        own_depot_only=False,
        is_order=is_order,
        walk=walk,
        key=walk,
    )


def one_job(pieces: int, lots: list[Lot], day: int) -> Problem:
    kit = Kit("J", depot=0, staged_by_day=day, good_through_day=day, buyable=frozenset({0}))
    wanted = (Cell(0, (0,), (), pieces * 1000, spare=False),) if pieces else ()
    return Problem((kit,), wanted, tuple(each for each in lots if each.quantity), ("A",), ("N",), DAY)


NETTING = rows_of("netting")
ISSUES = rows_of("first_to_expire")


@pytest.mark.parametrize("row", NETTING, ids=[f"{row['example']}-{row['item']}-{row['period']}" for row in NETTING])
def test_net_need_and_order_are_those_of_the_published_record(row: dict[str, str]) -> None:
    gross, on_hand, due = int(row["gross"]), int(row["on_hand_before"]), int(row["scheduled_receipts"])
    promised = promise(one_job(gross, [lot(on_hand, 0), lot(due, 1, is_order=True)], DAY))
    net = sum(promised.short.values())
    ordered = order_quantity(net, per_purchase_unit=1000, minimum=0, multiple=int(row["order_multiple"]) * 1000)
    assert (net, ordered) == (int(row["expected"]) * 1000, int(row["order_quantity"]) * 1000)


@pytest.mark.parametrize("day", sorted({row["issued_on"] for row in ISSUES}))
def test_the_lot_that_expires_first_and_still_serves_is_issued_first(day: str) -> None:
    rows = [row for row in ISSUES if row["issued_on"] == day]
    issued = date.fromisoformat(day).toordinal()
    lots = [
        lot(int(row["on_hand"]), place, expiry=date.fromisoformat(row["use_by"]).toordinal())
        for place, row in enumerate(rows)
        if int(row["on_hand"])
    ]
    promised = promise(one_job(int(rows[0]["issued"]), lots, issued))
    taken: dict[int, int] = {}
    for allocation in promised.allocations:
        place = lots[allocation.lot].walk
        taken[place] = taken.get(place, 0) + allocation.quantity
    assert [taken.get(place, 0) for place in range(len(rows))] == [int(row["expected"]) * 1000 for row in rows]


@pytest.mark.parametrize("rows", [NETTING, ISSUES], ids=["netting", "first to expire"])
def test_every_row_names_its_source_and_whether_it_was_seen(rows: list[dict[str, str]]) -> None:
    assert rows
    assert all(row["source"] and row["confirmed"] in {"text", "memory"} for row in rows)
