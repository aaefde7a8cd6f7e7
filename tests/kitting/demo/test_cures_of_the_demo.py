"""What would complete the demo's short kits, as a planner would put it, and why a kit is refused, in one sentence."""

from dataclasses import replace
from datetime import date
from typing import Any

import pandas as pd
import pytest
from desk import Desk, Reading

from kitting.calculation.answers import READY, READY_IF
from kitting.calculation.cure_table import cure_sentences
from kitting.calculation.plan_result import Plan
from kitting.calculation.plan_tables import refusal_sentences
from kitting.calculation.promising.moves import BORROW, SWAP
from kitting.calculation.sheets.raw import raw_book
from kitting.calculation.what_if import HeldPieces, lines_for, pin_pieces, swap_pieces
from kitting.errors import Refusal


def test_each_short_job_is_told_its_cures_with_the_least_effort_first(clean: Plan) -> None:
    """Traps T42 and T47; three arresters of J11 come by buying, or from J02, which then lacks them."""
    told = cure_sentences(clean.cures)
    assert list(told) == ["J09", "J08", "J11", "J12"]
    assert told["J08"] == [
        "release 1 BI35L from reserve at N by 2026-04-16 (duty supervisor; adds a refill line)",
        "buy 1 BI35L to be there by 2026-04-16, sooner than the lead time",
        "move the cutover to 2026-06-10 and buy 1 BI35L by 2026-03-02",
    ]
    assert told["J09"] == [
        "buy 1 CS25-2 by 2026-03-18",
        "let standards approve 1 CS35-2 at M as a stand-in by 2026-04-01 (then short: J08 1 CS35-2)",
    ]
    arrester, day = "EA15-15.3", "by 2026-04-16"
    assert told["J11"] == [
        f"buy 3 {arrester} by 2026-04-06",
        (
            f"let J02 give 2 {arrester} of lot L-2511-385 at M {day} and "
            f"let J02 give 1 {arrester} of lot L-2511-383 at N {day} (then short: J02 3 {arrester})"
        ),
    ]
    assert told["J12"][0] == "buy 6 CS25-2 by 2026-04-09"
    line = clean.shortages[clean.shortages["stock_code"] == "BI35L"].iloc[0]
    assert line["cure"] == "; or ".join(told["J08"])


def test_a_cure_of_the_demo_holds_in_the_sheets_too(desk: Desk, clean: Plan, read: type[Reading]) -> None:
    """The cutover of J08 where the cure says: it can be bought in time then, and the day before it can't."""
    row = clean.cures[(clean.cures["job"] == "J08") & (clean.cures["move"] == "slip the cutover")].iloc[0]
    moved = desk.change("jobs", {"job": "J08"}, cutover=f"{row['by_day']} 22:00", cutover_end=f"{row['by_day']} 23:00")
    found = moved.plan()
    assert "J08" not in set(found.refusals["job"])
    assert read(found).short(job="J08", stock_code="BI35L") == 1
    day = date.fromisoformat(row["by_day"]).replace(day=date.fromisoformat(row["by_day"]).day - 1).isoformat()
    before = desk.change("jobs", {"job": "J08"}, cutover=f"{day} 22:00", cutover_end=f"{day} 23:00")
    assert "J08" in set(before.plan().refusals["job"])


def test_a_kit_that_takes_its_pieces_back_shows_who_loses_them(desk: Desk) -> None:
    """Trap T57: two more inserts complete J06, which then has its six in turn: the three that J10 had are gone."""
    late = desk.drop("stock", {"stock code": "0457-BI"}).change("items", {"stock code": "BI15"}, lead_days="21")
    plan = late.plan()
    assert refusal_sentences(plan.refusals)["J06"] == (
        "BI15 holds 12 in time; earlier kit J01 holds 6; this kit needs 8, too late to buy; "
        "no later date is known to fit"
    )
    told = cure_sentences(plan.cures)["J06"]
    assert told[0].startswith("take 2 BI15 from a truck at N by 2026-03-19 (a person must release them)")
    assert told[1].startswith("release 2 BI15 from reserve at H by 2026-03-19")
    assert all(sentence.endswith("(then short: J10 3 BI15)") for sentence in told)


def test_a_lot_that_is_pinned_to_an_early_job_is_swapped_for_one_that_it_could_use_as_well(
    desk: Desk, read: type[Reading]
) -> None:
    """Trap T05: the fresh lot is pinned to J06 in March, and what is left goes out of date before J10 in April."""
    pinned = desk.change("items", {"stock code": "CS15-2"}, lead_days="90")
    for line in read(pinned.plan()).lines(job="J06", stock_code="CS15-2")["line"]:
        pinned = _pin(pinned, "J06", line, "CS15-2", "1", lot="L-2508A", depot="H")
    before = pinned.plan()
    assert read(before).short(job="J10", stock_code="CS15-2") == 3
    cures = before.cures[(before.cures["job"] == "J10") & (before.cures["move"] == SWAP)]
    row = cures.iloc[0]
    assert (row["cure"], row["holder"], row["lot"], row["quantity"], row["breaks"]) == (1, "J06", "L-2508A", 3, "")
    assert cure_sentences(before.cures)["J10"][0] == (
        "let J06 give 3 CS15-2 of lot L-2508A at H by 2026-04-09 (instead: J06 3 CS15-2 lot L-2303B at H)"
    )
    after = _swapped(pinned, before, "J10", row)
    assert read(after).short(stock_code="CS15-2") == 0
    assert read(after).promised(job="J06", stock_code="CS15-2") == {("H", "L-2303B", "transfer"): 3}
    assert set(read(after).lines(job="J10", stock_code="CS15-2")["answer"]) == {READY}


def test_pieces_that_a_later_job_has_pinned_come_back_to_the_job_before_it_which_is_told_what_that_costs(
    desk: Desk, read: type[Reading]
) -> None:
    """Trap T11: three of the six arresters are pinned to J11."""
    (line,) = read(desk.plan()).lines(job="J11", stock_code="EA15-15.3")["line"]
    pinned = _pin(desk, "J11", line, "EA15-15.3", "3")
    before = pinned.plan()
    assert read(before).short(job="J02", stock_code="EA15-15.3") == 3
    cures = before.cures[(before.cures["job"] == "J02") & (before.cures["move"] == SWAP)]
    assert set(cures["breaks"]) == {"J11 3 EA15-15.3"}
    after = _swapped(pinned, before, "J02", *[row for _, row in cures.iterrows()])
    assert (read(after).short(job="J02"), read(after).short(job="J11", stock_code="EA15-15.3")) == (0, 3)
    assert read(after).job("J02").answer == READY_IF
    with pytest.raises(Refusal, match="J02 is not short of 2 EA15-15"):
        _swapped(pinned, after, "J02", cures.iloc[0])


def test_pieces_in_the_bag_of_a_later_job_are_offered_only_as_a_bag_that_needs_reopening(
    desk: Desk, read: type[Reading]
) -> None:
    there = desk.change("stock", {"lot": "L-2511-383"}, depot="M", place="M-S1", place_kind="staging")
    stock = there.raw.sheets["stock"]
    kept_for = stock.cells.assign(job=["J11" if "M-S1" in row else "" for row in stock.cells.values.tolist()])
    kept_for.columns = pd.RangeIndex(len(kept_for.columns))
    sheet = replace(stock, headers=(*stock.headers, "job"), cells=kept_for)
    staged = Desk(raw_book({**there.raw.sheets, "stock": sheet}.values()))
    before = staged.plan()
    cures = before.cures[before.cures["job"] == "J02"]
    assert SWAP not in set(cures["move"])
    (row,) = [row for _, row in cures[cures["move"] == BORROW].iterrows()]
    assert cure_sentences(before.cures)["J02"][-1] == (
        "borrow 4 EA15-15.3 of lot L-2511-383 from the bag of J11 at M by 2026-03-05 (it needs reopening) "
        "(then short: J11 3 EA15-15.3)"
    )
    after = _swapped(staged, before, "J02", row)
    assert (read(after).short(job="J02"), read(after).short(job="J11", stock_code="EA15-15.3")) == (0, 3)


def _pin(desk: Desk, job: str, line: str, code: str, quantity: str, lot: str = "", depot: str = "") -> Desk:
    return Desk(pin_pieces(desk.raw, job=job, line=line, stock_code=code, quantity=quantity, lot=lot, depot=depot))


def _swapped(desk: Desk, before: Plan, job: str, *rows: "pd.Series[Any]") -> Plan:
    """The plan once these moves of a cure are made on the sheets."""
    pieces = [
        HeldPieces(
            row["holder"], row["stock_code"], f"{row['quantity']:f}", row["lot"], row["from"], row["move"] == BORROW
        )
        for row in rows
    ]
    short = before.shortages[(before.shortages["job"] == job).to_numpy()].to_dict("records")
    return Desk(swap_pieces(desk.raw, job=job, lines=lines_for(job, pieces, short))).plan()
