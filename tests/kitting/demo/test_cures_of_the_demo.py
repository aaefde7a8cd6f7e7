"""What would complete the demo's short kits, as a planner would put it, and why a kit is refused, in one sentence."""

from datetime import date

from desk import Desk, Reading

from kitting.calculation.cure_table import cure_sentences
from kitting.calculation.plan_result import Plan
from kitting.calculation.plan_tables import refusal_sentences


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
    assert told["J11"] == [
        "buy 3 EA15-15.3 by 2026-04-06",
        "borrow 3 EA15-15.3 from J02 at M by 2026-04-16 (then short: J02 3 EA15-15.3)",
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
