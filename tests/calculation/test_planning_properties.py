"""What must hold of every plan, over books made from the demo's clean sheets by random changes."""

import re
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pandas as pd
from changed_books import books
from desk import AS_OF, Desk
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from plain_sheets import Row, everything, in_words, labels, plain_rows, shuffled, tables, working_days_on

from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.raw import RawBook, raw_book

OPEN_ANSWERS = {"can't tell", "no rule", "conflict"}
WORST_FIRST = ("conflict", "no rule", "can't tell", "short", "ready if", "ready")
# No shrinking: a whole book takes minutes to shrink.
EXAMPLES = settings(max_examples=8, phases=(Phase.explicit, Phase.reuse, Phase.generate))
NONE = Decimal(0)
UNKNOWN_LOTS = {"?", "N/A", "unknown"}


def rows(frame: pd.DataFrame) -> Iterator[Any]:
    return frame.itertuples(index=False)


def sums(frame: pd.DataFrame, by: str, what: str) -> dict[str, Decimal]:
    found: dict[str, Decimal] = defaultdict(Decimal)
    for key, pieces in zip(frame[by], frame[what], strict=True):
        found[key] += pieces
    return found


def every_piece_of_a_chosen_line_is_promised_or_short_and_never_both(plan: Plan, _: RawBook) -> None:
    """Promised plus short is the line's quantity; every other line carries an open answer, or no code serves."""
    promised, short = sums(plan.promises, "line", "quantity"), sums(plan.shortages, "line", "short")
    assert plan.requirements["line"].is_unique
    assert plan.shortages["line"].is_unique
    assert {*promised, *short} <= set(plan.requirements["line"])
    undated = {job.job for job in plan.jobs if job.staged_by is None}
    away = set(plan.promises.loc[plan.promises["source"] != "shelf", "line"])
    for line in rows(plan.requirements):
        have, lacking = promised.get(line.line, NONE), short.get(line.line, NONE)
        if line.answer in OPEN_ANSWERS:
            assert have == lacking == 0
            assert not line.stock_code or line.job in undated
        elif line.stock_code:
            assert have + lacking == line.quantity > 0
            waiting = "ready if" if line.line in away else "ready"
            assert line.answer == ("short" if lacking else waiting)
        else:
            assert line.answer == "short"
            assert have == 0 < lacking == line.quantity
    for row in rows(plan.shortages):
        assert row.need == row.have + row.short
        assert row.have == promised.get(row.line, NONE)


def a_job_answers_as_its_worst_line_and_a_spare_never_decides(plan: Plan, _: RawBook) -> None:
    """The first line with the worst answer decides, of short ones the hardest to cure; spares are not counted."""
    hard = {
        row.line: (row.order_by != "", row.too_late != "yes", row.order_by != "can't tell", row.order_by)
        for row in rows(plan.shortages)
    }
    lines = plan.requirements[(plan.requirements["spare"] == "no").to_numpy()]
    for job in plan.jobs:
        own = lines[(lines["job"] == job.job).to_numpy()]
        if own.empty:
            assert job.answer == "can't tell"
            continue
        answers = list(own["answer"])
        assert job.answer == min(answers, key=WORST_FIRST.index)
        worst = [line for line, answer in zip(own["line"], answers, strict=True) if answer == job.answer]
        assert job.deciding_line == (min(worst, key=hard.__getitem__) if job.answer == "short" else worst[0])
        assert job.counts == {answer: answers.count(answer) for answer in WORST_FIRST if answer in answers}


class Calendar:
    """Dates of jobs, transfers and orders by plain walks over the calendar, from the text of the sheets."""

    def __init__(self, raw: RawBook) -> None:
        self.depots = {row["depot"]: row for row in plain_rows(raw, "depots")}
        self.jobs = {row["job"]: row for row in plain_rows(raw, "jobs")}
        self.days = {(row["from"], row["to"]): int(row["days"]) for row in plain_rows(raw, "transfers")}
        self.policies = {row["policy"]: row["value"] for row in plain_rows(raw, "policies")}

    def on(self, day: date, count: int, depot: str) -> date:
        return working_days_on(day, count, set(in_words(self.depots[depot]["closed days"])))

    def staged_by(self, job: str) -> date:
        row = self.jobs[job]
        own = row["staging days"] or self.depots[row["depot"]]["staging days"] or self.policies["staging days"]
        return self.on(date.fromisoformat(row["cutover"][:10]), -int(own), row["depot"])

    def good_through(self, job: str) -> date:
        last = self.jobs[job]["cutover end"] or self.jobs[job]["cutover"]
        return date.fromisoformat(last[:10]) + timedelta(days=int(self.policies["expiry margin days"]))

    def transfer(self, start: date, depot: str, destination: str) -> date | None:
        """The day at the other depot; None where no way leads there."""
        if depot == destination:
            return start
        days = self.days.get((depot, destination))
        return None if days is None else self.on(start, days, destination)

    def order(self, promised: str, depot: str, destination: str) -> date | None:
        received = self.on(date.fromisoformat(promised), int(self.depots[depot]["receiving days"] or 0), depot)
        return self.transfer(received, depot, destination)

    def van(self, depot: str) -> date:
        """A van comes as a transfer does: the longest way to its depot, one day where none is given."""
        ways = [days for (_, to), days in self.days.items() if to == depot]
        return self.on(AS_OF, max(ways, default=1), depot)


def may_serve(stock: Row, promise: Any, calendar: Calendar, dated: set[str]) -> bool:
    """Whether a row of stock is free for the promise's job, good through its outage, and there in time."""
    job, kind = calendar.jobs[promise.job], stock["place kind"] or "bin"
    undated = "" if promise.stock_code in dated else "9999-12-31"
    if (stock["use by"] or undated) < calendar.good_through(promise.job).isoformat():
        return False
    here = stock["depot"] == job["depot"]
    if kind == "bin" and not here:
        day = calendar.transfer(AS_OF, stock["depot"], job["depot"])
        return promise.source == "transfer" and day is not None and comes(promise, day, calendar)
    if kind == "van":
        return here and promise.source == "transfer" and comes(promise, calendar.van(job["depot"]), calendar)
    if kind in {"staging", "bag"} and stock["job"] != promise.job:
        return False
    on_shelf = promise.source == "shelf" and promise.ready_on == AS_OF.isoformat()
    return kind in {"bin", "supplier-owned", "staging", "bag"} and here and on_shelf


def comes(promise: Any, day: date, calendar: Calendar) -> bool:
    return promise.ready_on == day.isoformat() and day <= calendar.staged_by(promise.job)


def no_piece_is_promised_twice_or_out_of_place_or_date(plan: Plan, raw: RawBook) -> None:
    """Each row of stock and orders gives at most what it holds, to jobs it may serve, in time, good through."""
    calendar = Calendar(raw)
    items = plain_rows(raw, "items")
    dated = {row["stock code"] for row in items if row["shelf months"]}
    new_codes = {old: row["stock code"] for row in items for old in in_words(row["old codes"])}
    stock: dict[tuple[str, ...], list[Row]] = defaultdict(list)
    for row in plain_rows(raw, "stock"):
        lot = row["lot"] if row["lot"] not in UNKNOWN_LOTS else ""
        stock[("", new_codes.get(row["stock code"], row["stock code"]), row["depot"], row["place"], lot)].append(row)
    for row in plain_rows(raw, "orders"):
        stock[(row["order"], row["stock code"], row["depot"], "", "")].append(row)
    taken: dict[tuple[str, ...], Decimal] = defaultdict(Decimal)
    for promise in rows(plan.promises):
        key = (promise.order, promise.stock_code, promise.depot, promise.place, promise.lot)
        assert promise.quantity > 0
        assert (promise.source == "order") == bool(promise.order)
        if promise.order:
            depot = calendar.jobs[promise.job]["depot"]
            due = [row["promised"] for row in stock[key] if row["promised"] >= AS_OF.isoformat()]
            ready = [calendar.order(day, promise.depot, depot) for day in due]
            assert any(day is not None and comes(promise, day, calendar) for day in ready)
        else:
            assert any(may_serve(row, promise, calendar, dated) for row in stock[key])
        taken[key] += promise.quantity
    for key, pieces in taken.items():
        assert pieces <= sum(Decimal(row["quantity"]) for row in stock[key])


def what_is_owned_adds_up_in_the_words_of_a_shortage(plan: Plan, _: RawBook) -> None:
    """Each stock code's pieces by place, and who has them, add up to all that the stock sheet holds of it."""
    stock = plan.book.frames["stock"]
    owned = sums(stock.assign(pieces=stock["quantity"].map(Decimal)), "stock_code", "pieces")
    told = 0
    for row in rows(plan.shortages[(plan.shortages["stock_code"] != "").to_numpy()]):
        for clause in re.split("; (?!refused)", row.why):
            code, _, words = clause.rpartition(" serves too: ")
            if words == "none owned":
                assert owned[code or row.stock_code] == 0
            elif " owned: " in words:
                total, _, parts = words.partition(" owned: ")
                pieces = [Decimal(number) for number in re.findall(r"(?:^|, )(\d+(?:\.\d+)?) ", parts)]
                assert sum(pieces) == Decimal(total) == owned[code or row.stock_code] / 1000
            else:
                continue
            told += 1
    assert told >= (plan.shortages["stock_code"] != "").sum()


def is_enough(pieces: Decimal, net: Decimal, item: Row) -> bool:
    """Whether so many pieces meet the net need, the minimum and the multiple."""
    multiple = Decimal(item["order multiple"] or 0)
    return pieces >= max(net, Decimal(item["minimum order"] or 0)) and (not multiple or pieces % multiple == 0)


def an_order_is_the_least_that_meets_need_pack_minimum_and_multiple(plan: Plan, raw: RawBook) -> None:
    """No smaller whole number of purchase units would do, and every short piece is on one row."""
    items = {row["stock code"]: row for row in plain_rows(raw, "items")}
    assert not plan.reorder.duplicated(["supplier", "stock_code", "depot"]).any()
    for row in rows(plan.reorder):
        item = items[row.stock_code]
        per = Decimal(item["per purchase unit"] or 1)
        enough = [units for units in range(1, int(row.order_quantity) + 2) if is_enough(units * per, row.net, item)]
        assert enough[0] == row.order_quantity
        assert row.net > 0
        assert row.per_purchase_unit == per
        assert row.resulting_quantity == row.order_quantity * per == row.net + row.over_by
    bought = plan.shortages[(plan.shortages["stock_code"] != "").to_numpy()]
    assert {depot: need for depot, need in sums(plan.reorder, "depot", "need").items() if need} == sums(
        bought, "depot", "short"
    )


OF_EVERY_PLAN = (
    every_piece_of_a_chosen_line_is_promised_or_short_and_never_both,
    a_job_answers_as_its_worst_line_and_a_spare_never_decides,
    no_piece_is_promised_twice_or_out_of_place_or_date,
    what_is_owned_adds_up_in_the_words_of_a_shortage,
    an_order_is_the_least_that_meets_need_pack_minimum_and_multiple,
)


@settings(EXAMPLES, max_examples=16)  # twice as many for each as where a book serves one of them alone
@given(books())
def test_what_holds_of_every_plan(raw: RawBook) -> None:
    plan = Desk(raw).plan()
    for holds in OF_EVERY_PLAN:
        holds(plan, raw)


@settings(EXAMPLES, max_examples=5)
@given(books(), st.integers(0, 2**16))
def test_the_order_of_sheets_rows_and_columns_does_not_matter(raw: RawBook, seed: int) -> None:
    """The same facts give the same bytes, questions included; rows with other numbers, the same but for the numbers."""
    expected, renumbered = Desk(raw).plan(), Desk(shuffled(raw, seed, renumber=True)).plan()
    assert everything(Desk(shuffled(raw, seed)).plan()) == everything(expected)
    assert without_row_numbers(renumbered) == without_row_numbers(expected)


def without_row_numbers(plan: Plan) -> str:
    return re.sub(r"\brow \d+", "row", tables(plan))


@EXAMPLES
@given(books(), st.data())
def test_a_wider_range_never_fits_less(raw: RawBook, data: st.DataObject) -> None:
    """Widening the ranges of one item never leaves a line without a stock code that had one."""
    items = raw.sheets["items"]
    places = {label: at for at, label in enumerate(labels(items))}
    ranges = [places[name] for name in ("DOI low", "DOI high", "jacket low", "jacket high")]
    row = data.draw(st.sampled_from([row for row, *cells in items.cells[ranges].itertuples() if any(cells)]))
    step = Decimal(data.draw(st.integers(1, 110))) / 1000  # 20 mm would be asked
    cells = items.cells.copy()
    for at, sign in zip(ranges, (-1, 1, -1, 1), strict=True):
        number, _, unit = cells.loc[row, at].partition(" ")
        if number:
            cells.loc[row, at] = f"{Decimal(number) + sign * step * (10 if unit else 1)} {unit}".strip()
    wider = raw_book({**raw.sheets, "items": replace(items, cells=cells)}.values())
    assert chosen(Desk(raw).plan()) <= chosen(Desk(wider).plan())


def chosen(plan: Plan) -> set[str]:
    """Lines that have a stock code; spares apart, which follow the codes that other lines choose."""
    lines = plan.requirements
    return set(lines.loc[((lines["spare"] == "no") & (lines["stock_code"] != "")).to_numpy(), "line"])
