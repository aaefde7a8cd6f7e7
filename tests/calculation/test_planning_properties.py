"""What must hold of every plan, over books made from the demo's clean sheets by random changes."""

import os
import subprocess
import sys
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
from desk import AS_OF, Desk
from hypothesis import given, settings
from hypothesis import strategies as st

from kitting.calculation.lengths import NM_PER_MM
from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book
from kitting.spreadsheets.reading import read_raw_book

CLEAN = Path(__file__).parents[2] / "fixtures_demo" / "clean"
TABLES = ("requirements", "promises", "shortages", "reorder", "refusals", "totals")
OPEN_ANSWERS = {"can't tell", "no rule", "conflict"}


@cache
def _clean() -> RawBook:
    return read_raw_book(CLEAN)


def _place(sheet: RawSheet, column: str) -> int:
    return [header.partition(" (")[0] for header in sheet.headers].index(column)


def _replaced(raw: RawBook, sheet: RawSheet) -> RawBook:
    return raw_book({**raw.sheets, sheet.name: sheet}.values())


def _with_cells(raw: RawBook, name: str, cells: pd.DataFrame) -> RawBook:
    sheet = raw.sheets[name]
    return _replaced(raw, RawSheet(name, sheet.headers, cells))


@st.composite
def books(draw: st.DrawFn) -> RawBook:
    """The clean book with other quantities, places, dates of lots, orders and jobs."""
    raw = _clean()
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    stock = raw.sheets["stock"]
    stock = RawSheet(
        "stock",
        (*stock.headers, "job"),
        stock.cells.assign(job="").set_axis(range(len(stock.headers) + 1), axis=1),
    )
    cells = stock.cells.copy()
    at = {name: _place(stock, name) for name in ("quantity", "place kind", "use by", "job")}
    for row in cells.index:
        if random.random() < 0.4:
            cells.loc[row, at["quantity"]] = str(random.integers(0, 12))
        if random.random() < 0.15:
            kind = random.choice(["reserve", "truck", "hold", "van", "supplier-owned", "staging"])
            cells.loc[row, at["place kind"]] = kind
            cells.loc[row, at["job"]] = f"J{random.integers(1, 13):02}" if kind == "staging" else ""
        if cells.loc[row, at["use by"]] and random.random() < 0.4:
            cells.loc[row, at["use by"]] = (AS_OF + timedelta(days=int(random.integers(1, 80)))).isoformat()
    raw = _replaced(raw, RawSheet("stock", stock.headers, cells))
    jobs = raw.sheets["jobs"]
    cells = jobs.cells.copy()
    for row in cells.index:
        if random.random() < 0.3:
            day = AS_OF + timedelta(days=int(random.integers(3, 60)))
            cells.loc[row, _place(jobs, "cutover")] = f"{day.isoformat()} 08:00"
            cells.loc[row, _place(jobs, "cutover end")] = ""
    raw = _with_cells(raw, "jobs", cells)
    orders = raw.sheets["orders"]
    cells = orders.cells.copy()
    for row in cells.index:
        cells.loc[row, _place(orders, "promised")] = (AS_OF + timedelta(days=int(random.integers(0, 60)))).isoformat()
    return _with_cells(raw, "orders", cells)


def _sum(frame: pd.DataFrame, by: list[str], what: str) -> dict[tuple[str, ...], Decimal]:
    sums: dict[tuple[str, ...], Decimal] = {}
    for *key, pieces in frame[[*by, what]].itertuples(index=False, name=None):
        sums[tuple(key)] = sums.get(tuple(key), Decimal(0)) + pieces
    return sums


@settings(max_examples=12)
@given(books())
def test_every_piece_of_a_chosen_line_is_promised_or_short_and_never_both(raw: RawBook) -> None:
    """Promised plus short is the line's quantity; every other line carries an open answer, or no code serves."""
    plan = Desk(raw).plan()
    promised = _sum(plan.promises, ["line"], "quantity")
    short = _sum(plan.shortages, ["line"], "short")
    for line in plan.requirements.itertuples(index=False):
        key = (line.line,)
        if line.answer in OPEN_ANSWERS:
            assert key not in promised
            assert key not in short
        elif line.stock_code:
            assert promised.get(key, Decimal(0)) + short.get(key, Decimal(0)) == line.quantity
            assert (line.answer == "short") == (short.get(key, Decimal(0)) > 0)
        else:
            assert line.answer == "short"
            assert short[key] == line.quantity
    assert (plan.shortages["need"] == plan.shortages["have"] + plan.shortages["short"]).all()


@settings(max_examples=12)
@given(books())
def test_no_piece_is_promised_twice_or_out_of_place_or_date(raw: RawBook) -> None:
    """Each row of stock and orders gives at most what it holds, to jobs it may serve, good through their outage."""
    plan = Desk(raw).plan()
    frames = plan.book.frames
    stock = {
        (row.stock_code, row.depot, row.place, row.lot or ""): row for row in frames["stock"].itertuples(index=False)
    }
    held = {key: Decimal(0) for key in stock}
    for row in frames["stock"].itertuples(index=False):
        held[(row.stock_code, row.depot, row.place, row.lot or "")] += Decimal(row.quantity) / 1000
    ordered = _sum(frames["orders"].assign(q=frames["orders"]["quantity"]), ["stock_code", "order"], "q")
    jobs = {row.job: row for row in frames["jobs"].itertuples(index=False)}
    answers = {answer.job: answer for answer in plan.jobs}
    taken: dict[tuple[str, ...], Decimal] = {}
    for promise in plan.promises.itertuples(index=False):
        job, answer = jobs[promise.job], answers[promise.job]
        if promise.source == "order":
            key: tuple[str, ...] = (promise.stock_code, promise.order)
            assert date.fromisoformat(promise.ready_on) <= answer.staged_by
        else:
            key = (promise.stock_code, promise.depot, promise.place, promise.lot)
            row = stock[key]
            assert row.place_kind not in {"reserve", "hold", "truck"}
            assert row.place_kind not in {"staging", "bag"} or row.job == promise.job
            assert row.place_kind != "supplier-owned" or row.depot == job.depot
            assert promise.source == "shelf" or date.fromisoformat(promise.ready_on) <= answer.staged_by
            if row.use_by is not None:
                assert row.use_by >= (job.cutover_end or job.cutover).date()
        taken[key] = taken.get(key, Decimal(0)) + promise.quantity
    for key, pieces in taken.items():
        assert pieces <= (ordered[key] / 1000 if len(key) == 2 else held[key])


@settings(max_examples=12)
@given(books())
def test_what_is_promised_serves_its_line(raw: RawBook) -> None:
    """Class, interface, diameter and MCOV by plain comparisons, apart from the matcher."""
    plan = Desk(raw).plan()
    items = {row.stock_code: row for row in plan.book.frames["items"].itertuples(index=False)}
    lines = {row.line: row for row in plan.requirements.itertuples(index=False)}
    for promise in plan.promises.itertuples(index=False):
        item, line = items[promise.stock_code], lines[promise.line]
        assert item.kind == line.kind
        assert not line.class_kv or not item.classes_kv or line.class_kv in item.classes_kv
        assert not line.interface or not item.interface or line.interface == item.interface
        if line.mcov_kv:
            assert item.mcov_kv >= Decimal(line.mcov_kv) - Decimal("0.005")
        if line.doi_low_mm and item.doi_low_nm is not None and item.doi_low_2_nm is None:
            lows = [Decimal(text) * NM_PER_MM for text in line.doi_low_mm.split("; ")]
            highs = [Decimal(text) * NM_PER_MM for text in line.doi_high_mm.split("; ")]
            assert item.doi_low_nm <= min(lows)
            assert max(highs) <= item.doi_high_nm


@settings(max_examples=12)
@given(books())
def test_an_order_is_the_least_that_meets_need_pack_minimum_and_multiple(raw: RawBook) -> None:
    """No smaller whole number of purchase units would do."""
    plan = Desk(raw).plan()
    items = {row.stock_code: row for row in plan.book.frames["items"].itertuples(index=False)}
    for row in plan.reorder.itertuples(index=False):
        item = items[row.stock_code]
        minimum = Decimal(item.minimum_order or 0) / 1000
        multiple = Decimal(item.order_multiple or 0) / 1000

        def enough(units: Decimal, row=row, minimum=minimum, multiple=multiple) -> bool:  # noqa: ANN001
            pieces = units * row.per_purchase_unit
            return pieces >= row.net and pieces >= minimum and (not multiple or pieces % multiple == 0)

        assert enough(row.order_quantity)
        assert not any(enough(Decimal(units)) for units in range(int(row.order_quantity)))
        assert row.resulting_quantity - row.net == row.over_by


def _shuffled(raw: RawBook, seed: int) -> RawBook:
    """Rows of every sheet in another order, under other numbers: the order of rules is their meaning, so they stay."""
    random = np.random.default_rng(seed)
    sheets = []
    for sheet in raw.sheets.values():
        if sheet.name.startswith("rules "):
            sheets.append(sheet)
            continue
        cells = sheet.cells.iloc[random.permutation(len(sheet.cells))]
        cells.index = pd.RangeIndex(2, len(cells) + 2)
        sheets.append(RawSheet(sheet.name, sheet.headers, cells))
    order = random.permutation(len(sheets))
    return raw_book([sheets[at] for at in order])


def _text(plan: Plan) -> str:
    return "\n".join(getattr(plan, table).to_csv(index=False) for table in TABLES)


@settings(max_examples=6)
@given(books(), st.integers(0, 2**16))
def test_the_order_of_rows_and_sheets_does_not_matter(raw: RawBook, seed: int) -> None:
    """The same facts give the same bytes."""
    assert _text(Desk(raw).plan()) == _text(Desk(_shuffled(raw, seed)).plan())


def test_another_process_with_another_hash_seed_gives_the_same_bytes() -> None:
    """Nothing depends on how Python hashes texts."""
    code = (
        "import hashlib, sys; from pathlib import Path; from datetime import date\n"
        "from kitting.calculation.planning import plan\n"
        "from kitting.calculation.sheets.book import read_book\n"
        "from kitting.spreadsheets.reading import read_raw_book\n"
        f"p = plan(read_book(read_raw_book(Path({str(CLEAN)!r}))), as_of=date(2026, 3, 2))\n"
        f"text = ''.join(getattr(p, t).to_csv(index=False) for t in {TABLES!r})\n"
        "print(hashlib.sha256(text.encode()).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            check=True,
            capture_output=True,
            text=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
            cwd=CLEAN.parents[1],
        ).stdout
        for seed in ("1", "2")
    }
    assert len(digests) == 1


@settings(max_examples=6)
@given(st.sampled_from(["EL15-1", "EL15-2", "CS15-2", "CA-4", "JS-1", "CS25-2", "EL25-1"]), st.integers(1, 150))
def test_a_wider_range_never_fits_less(code: str, thousandths_of_an_inch: int) -> None:
    """Widening one item's ranges never leaves a line without a stock code that had one."""
    raw = _clean()
    items = raw.sheets["items"]
    cells = items.cells.copy()
    row = cells.index[cells[_place(items, "stock code")] == code][0]
    for low, high in (("DOI low", "DOI high"), ("jacket low", "jacket high")):
        for column, sign in ((low, -1), (high, 1)):
            at = _place(items, column)
            if cells.loc[row, at]:
                text, _, unit = cells.loc[row, at].partition(" ")
                wider = max(Decimal(text) + sign * Decimal(thousandths_of_an_inch) / 1000, Decimal("0.31"))
                cells.loc[row, at] = f"{wider} {unit}".strip()
    before, after = _codes(Desk(raw).plan()), _codes(Desk(_with_cells(raw, "items", cells)).plan())
    assert set(before) <= set(after)


def _codes(plan: Plan) -> dict[str, str]:
    """Line -> stock code of the lines that have one; spares follow the codes that other lines choose."""
    lines = plan.requirements[
        ((plan.requirements["spare"] == "no") & (plan.requirements["stock_code"] != "")).to_numpy()
    ]
    return dict(zip(lines["line"], lines["stock_code"], strict=True))


def test_inches_and_millimetres_give_the_same_plan() -> None:
    """Every inch column of the demo in exact millimetres changes no byte of the tables."""
    raw = _clean()
    for name in ("cable types", "items", "reels"):
        sheet = raw.sheets[name]
        cells, headers = sheet.cells.copy(), list(sheet.headers)
        for at, header in enumerate(headers):
            if header.endswith("(in)"):
                headers[at] = header.replace("(in)", "(mm)")
                cells[at] = cells[at].map(_in_mm)
        raw = _replaced(raw, RawSheet(name, tuple(headers), cells))
    assert raw.digest != _clean().digest
    assert _text(Desk(raw).plan()) == _text(Desk(_clean()).plan())


def _in_mm(text: str) -> str:
    return f"{Decimal(text) * Decimal('25.4'):f}" if text and " " not in text else text
