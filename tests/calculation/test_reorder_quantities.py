"""What purchasing must order: purchase units, minimum, multiple, order-by, refill. Figures are the invented demo's."""

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.job_dates import JobDates
from kitting.calculation.questions import Missing, Question
from kitting.calculation.reorder_quantities import order_quantity, refill, reorder_table
from kitting.calculation.shortages import Buying, ShortLine

AS_OF = date(2026, 3, 2)
CUTOVER = datetime(2026, 4, 18, 6, 0)
ITEM: Mapping[str, Any] = {
    "row": 7,
    "supplier": "Penhallow Jointing",
    "supplier_code": "PJ-1",
    "description": "Splice body",
    "stock_unit": "ea",
    "purchase_unit": None,
    "per_purchase_unit": None,
    "minimum_order": None,
    "order_multiple": None,
}
AMOUNTS = st.integers(0, 60).map(lambda pieces: pieces * 1000)
PACKS = st.integers(1, 12).map(lambda pieces: pieces * 1000)


def job(name: str, depot: str, staged: date) -> JobDates:
    return JobDates(name, name, depot, CUTOVER, staged, staged, 1, "", "")


JOBS = {
    "J09": job("J09", "N", date(2026, 4, 1)),
    "J11": job("J11", "M", date(2026, 4, 16)),
    "J12": job("J12", "H", date(2026, 4, 23)),
}


def short(job: str, code: str, pieces: int, *, others: tuple[str, ...] = ()) -> ShortLine:
    return ShortLine(job, f"{job}/x", "splice", code, pieces * 1000, pieces * 1000, (), others)


def reorder(
    *lines: ShortLine,
    items: Mapping[str, Mapping[str, Any]],
    leads: Mapping[str, int | None] | None = None,
    levels: tuple[dict[str, Any], ...] = (),
    **stock: dict[tuple[str, str], int],
) -> tuple[pd.DataFrame, list[Question]]:
    full = {code: {**ITEM, "stock_code": code, **facts} for code, facts in items.items()}
    buying = Buying(
        lead_days=dict.fromkeys(full, 14) | dict(leads or {}),
        receiving=dict.fromkeys("NHM", 0),
        closed=dict.fromkeys("NHM", frozenset({date(2026, 4, 3)})),
        as_of=AS_OF,
    )
    places: dict[str, Any] = {"left": {}, "on_order": {}, "reserve": {}} | stock
    return reorder_table(lines, items=full, jobs=JOBS, buying=buying, levels=levels, **places)


def level(code: str, depot: str, minimum: int | None, maximum: int | None, floor: int | None = None) -> dict[str, Any]:
    amounts = {"minimum": minimum, "maximum": maximum, "reserve_floor": floor}
    return {"stock_code": code, "depot": depot} | {
        name: pieces if pieces is None else pieces * 1000 for name, pieces in amounts.items()
    }


@pytest.mark.parametrize(
    ("net", "pack", "minimum", "multiple", "ordered"),
    [
        (3, 3, 6, 3, 6),
        (3, 1, 6, 3, 6),
        (1, 3, 0, 0, 3),
        (6, 3, 0, 0, 6),
        (7, 3, 0, 0, 9),
        (1, 4, 0, 6, 12),
        (0, 3, 6, 3, 0),
    ],
    ids=[
        "trap T43, by the pack",
        "trap T43, by the piece",
        "T47 at N",
        "T47 at H",
        "T47 together",
        "pack and multiple",
        "nothing",
    ],
)
def test_the_order_is_the_fewest_whole_units_that_meet_need_minimum_and_multiple(
    net: int, pack: int, minimum: int, multiple: int, ordered: int
) -> None:
    found = order_quantity(net * 1000, per_purchase_unit=pack * 1000, minimum=minimum * 1000, multiple=multiple * 1000)
    assert found == ordered * 1000


@given(net=AMOUNTS, pack=PACKS, minimum=AMOUNTS, multiple=st.one_of(st.just(0), PACKS))
def test_no_smaller_order_would_do(net: int, pack: int, minimum: int, multiple: int) -> None:
    ordered = order_quantity(net, per_purchase_unit=pack, minimum=minimum, multiple=multiple)
    candidates = range(pack, 200_000 * 12, pack)
    enough = (units for units in candidates if units >= max(net, minimum) and (not multiple or units % multiple == 0))
    assert ordered == (next(enough) if net else 0)


def test_kits_of_three_are_rounded_at_each_depot() -> None:
    """Trap T47: 1 short at N and 6 at H, bought in kits of 3: one kit to N, two to H, two pieces over."""
    kit = {"purchase_unit": "kit", "per_purchase_unit": 3000}
    table, questions = reorder(
        short("J09", "CS25-2", 1), short("J12", "CS25-2", 3), short("J12", "CS25-2", 3), items={"CS25-2": kit}
    )
    assert table[
        ["depot", "need", "order_quantity", "resulting_quantity", "over_by", "order_by", "jobs"]
    ].to_numpy().tolist() == [
        ["H", 6, 2, 6, 0, "2026-04-09", "J12"],
        ["N", 1, 1, 3, 2, "2026-03-18", "J09"],
    ]
    assert set(table["purchase_unit"]) == {"kit"}
    assert questions == []


def test_pieces_over_a_minimum_are_shown() -> None:
    """Trap T43."""
    arrester = {"minimum_order": 6000, "order_multiple": 3000}
    table, _ = reorder(short("J11", "EA15-15.3", 3), items={"EA15-15.3": arrester}, leads={"EA15-15.3": 10})
    row = table.iloc[0]
    assert (row["net"], row["order_quantity"], row["over_by"], row["order_by"], row["too_late"]) == (
        3, 6, 3, "2026-04-06", "no",
    )  # fmt: skip


def test_an_item_without_its_conversion_is_asked_and_not_ordered() -> None:
    for per in (None, Missing("per purchase unit", "in doubt", "items", "per purchase unit")):
        spool = {"purchase_unit": "spool", "per_purchase_unit": per, "stock_unit": "ft"}
        table, questions = reorder(short("J09", "DW-14", 12), items={"DW-14": spool})
        assert table.empty
        ((question),) = questions
        assert (question.sheet, question.row, question.column) == ("items", 7, "per purchase unit")
        assert "how many ft a spool holds" in question.problem


def test_a_blank_lead_can_t_tell_the_order_by_and_a_long_one_is_too_late() -> None:
    """Trap T42 for the long lead."""
    table, _ = reorder(short("J11", "A", 1), short("J11", "B", 1), items={"A": {}, "B": {}}, leads={"A": None, "B": 98})
    assert table[["order_by", "too_late"]].to_numpy().tolist() == [["can't tell", ""], ["2026-01-08", "yes"]]


def test_the_code_that_can_still_be_bought_in_time_is_bought() -> None:
    items: dict[str, dict[str, Any]] = {"A": {}, "B": {}}
    late_first = reorder(short("J11", "A", 2, others=("B",)), items=items, leads={"A": 98, "B": 10})[0]
    assert late_first["stock_code"].tolist() == ["B"]
    both_late = reorder(short("J11", "A", 2, others=("B",)), items=items, leads={"A": 98, "B": 98})[0]
    assert both_late["stock_code"].tolist() == ["A"]


def test_the_first_date_of_several_jobs_decides() -> None:
    jobs = {"J12": JOBS["J12"], "J13": job("J13", "H", date(2026, 4, 10))}
    buying = Buying({"A": 7}, {"H": 0}, {"H": frozenset()}, AS_OF)
    table, _ = reorder_table(
        [short("J12", "A", 1), short("J13", "A", 2), short("J12", "A", 4)],
        items={"A": {**ITEM, "stock_code": "A"}},
        jobs=jobs,
        buying=buying,
        levels=(),
        left={},
        on_order={},
        reserve={},
    )
    row = table.iloc[0]
    assert (row["need"], row["needed_by"], row["order_by"], row["jobs"]) == (7, "2026-04-10", "2026-04-03", "J12; J13")


def test_open_orders_are_shown_and_never_deducted() -> None:
    table, _ = reorder(short("J09", "A", 2), items={"A": {}}, on_order={("A", "N"): 5000})
    assert table[["need", "on_order", "net", "order_quantity"]].iloc[0].tolist() == [2, 5, 2, 2]


@pytest.mark.parametrize(
    ("left", "on_order", "reserve", "limits", "pieces"),
    [
        (1, 0, 0, (2, 10, None), 9),
        (2, 0, 0, (2, 10, None), 0),
        (1, 4, 0, (2, 10, None), 0),
        (1, 0, 0, (2, None, None), 1),
        (0, 0, 1, (None, None, 3), 2),
        (0, 0, 4, (None, 10, 3), 0),
        (0, 0, 1, (2, 5, 3), 7),
    ],
    ids=["below", "at the minimum", "an order fills it", "no maximum", "reserve", "reserve full, no minimum", "both"],
)
def test_a_shelf_below_its_minimum_is_filled_to_its_maximum_and_the_reserve_to_its_floor(
    left: int, on_order: int, reserve: int, limits: tuple[int | None, int | None, int | None], pieces: int
) -> None:
    minimum, maximum, floor = (None if limit is None else limit * 1000 for limit in limits)
    found = refill(
        left=left * 1000,
        on_order=on_order * 1000,
        reserve=reserve * 1000,
        minimum=minimum,
        maximum=maximum,
        floor=floor,
    )
    assert found == pieces * 1000


def test_a_refill_adds_to_the_need_and_has_no_day_of_its_own() -> None:
    levels = (level("A", "N", None, None, 3), level("B", "N", 2, 6))
    table, _ = reorder(short("J09", "A", 2), items={"A": {}, "B": {}}, levels=levels, reserve={("A", "N"): 1000})
    rows = table.set_index("stock_code")
    assert rows.loc["A", ["need", "net", "needed_by"]].tolist() == [2, 4, "2026-04-01"]
    assert rows.loc["B", ["need", "net", "needed_by", "order_by", "too_late", "jobs"]].tolist() == [
        0,
        6,
        "",
        "",
        "",
        "",
    ]


def test_rows_stand_by_supplier_and_code_in_natural_order_and_numbers_are_exact() -> None:
    items = {"A-10": {}, "A-2": {}, "B-1": {"supplier": "Aldous Supply"}}
    table, _ = reorder(*(short("J09", code, 1) for code in items), items=items)
    assert table["stock_code"].tolist() == ["B-1", "A-2", "A-10"]
    assert all(isinstance(pieces, Decimal) for pieces in table["order_quantity"])


def test_what_crews_bring_back_lowers_a_refill_and_no_need_of_a_job() -> None:
    """By hand: shelf 1 of at least 6, at most 10; 3 due back: 10 - 1 - 3 = 6 and the job's 2; else 9 and 2."""
    levels = (level("A", "N", 6, 10),)
    books = {"items": {"A": {}}, "levels": levels, "left": {("A", "N"): 1000}}
    due = {("A", "N"): 3000}
    with_returns = reorder(short("J09", "A", 2), **books, due_back=due)[0].iloc[0]
    without = reorder(short("J09", "A", 2), **books)[0].iloc[0]
    job_alone = reorder(short("J09", "A", 2), items={"A": {}}, due_back=due)[0].iloc[0]
    assert with_returns[["need", "due_back", "net", "order_quantity"]].tolist() == [2, 3, 8, 8]
    assert without[["need", "due_back", "net", "order_quantity"]].tolist() == [2, 0, 11, 11]
    assert job_alone[["need", "due_back", "net"]].tolist() == [2, 3, 2]
    assert reorder(items={"A": {}}, levels=(level("A", "N", 4, 10),), left={("A", "N"): 1000}, due_back=due)[0].empty
