"""What if? Received sheets with one thing changed, and what the change does to every line. Nothing is stored."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal

import pandas as pd

from kitting.calculation.plan_result import Plan
from kitting.calculation.questions import NOTE
from kitting.calculation.sheets.all_sheets import RULES, SHEETS
from kitting.calculation.sheets.book import Book, read_book
from kitting.calculation.sheets.headers import place_columns
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet, trimmed
from kitting.errors import Refusal


@dataclass(frozen=True, slots=True)
class LineChange:
    """A line whose answer, choice or short pieces differ; '' where the line is not there."""

    line: str
    job: str
    answer_before: str
    answer_after: str
    stock_code_before: str
    stock_code_after: str
    short_before: str
    short_after: str


def move_cutover(raw: RawBook, *, job: str, cutover: str, cutover_end: str | None = None) -> RawBook:
    """The job's outage at another local moment, ``2026-03-31 22:00``; without another end it is as long as it was.

    Raises:
        Refusal: ``no-such-row``.
    """
    where = {"job": job}
    if cutover_end is None:
        sheet, match = _matched(raw, "jobs", where)
        placed = place_columns(SHEETS["jobs"], sheet)[0]
        row = sheet.cells.loc[match].iloc[0]
        start, end = (str(row[placed[name].at]) if name in placed else "" for name in ("cutover", "cutover_end"))
        cutover_end = _end_of_as_long(start, end, cutover)
    return _changed(raw, "jobs", where, {"cutover": cutover, "cutover_end": cutover_end})


def _end_of_as_long(start: str, end: str, moved: str) -> str:
    """When an outage ends by the clock on the wall that begins at another time; blank where that can't be told."""
    try:
        before, after, now = map(datetime.fromisoformat, (start, end, moved))
    except ValueError:
        return ""
    return f"{now + (after - before):%Y-%m-%d %H:%M}"


def delay_order(raw: RawBook, *, order: str, days: int, line: str = "") -> RawBook:
    """Every line of an order promised ``days`` later, or only this line or part of one.

    Raises:
        Refusal: ``no-such-row``; ``negative-days``.
    """
    if days < 0:
        raise Refusal("negative-days", f"An order can't be {days} days late.", {"days": days})

    def later(text: str) -> str:
        return (date.fromisoformat(text) + timedelta(days=days)).isoformat() if text else text

    where = {"order": order, "line": line} if line else {"order": order}
    return _changed(raw, "orders", where, {"promised": later})


def promise_order(raw: RawBook, *, order: str, line: str, promised: str) -> RawBook:
    """One line of an order promised on another day, sooner or later.

    Raises:
        Refusal: ``no-such-row``.
    """
    return _changed(raw, "orders", {"order": order, "line": line}, {"promised": promised})


def split_order(raw: RawBook, *, order: str, line: str, part: str, quantity: str, promised: str) -> RawBook:
    """So many pieces of what is to come of an order line promised on another day, as the part of this name.

    Raises:
        Refusal: ``no-such-row``.
    """
    where = {"order": order, "line": line}
    sheet = _matched(raw, "orders", where)[0]
    placed = place_columns(SHEETS["orders"], sheet)[0]
    row = sheet.cells.loc[_matched(raw, "orders", where)[1]].iloc[0]
    cells = {field: row[one.at] for field, one in placed.items()}
    less = cut_order(raw, order=order, line=line, quantity=quantity)
    return _with_row(less, "orders", {**cells, "line": part, "quantity": quantity, "promised": promised})


def cut_order(raw: RawBook, *, order: str, line: str, quantity: str) -> RawBook:
    """So many pieces of what is to come of an order line don't come at all.

    Raises:
        Refusal: ``no-such-row``.
    """

    def less(text: str) -> str:
        return f"{Decimal(text) - Decimal(quantity):f}"

    return _changed(raw, "orders", {"order": order, "line": line}, {"quantity": less})


def lose_lot(raw: RawBook, *, stock_code: str, lot: str) -> RawBook:
    """Every piece of a lot on hold, wherever it lies.

    Raises:
        Refusal: ``no-such-row``.
    """
    return _changed(raw, "stock", {"stock_code": stock_code, "lot": lot}, {"place_kind": "hold"})


def take_pieces(raw: RawBook, *, stock_code: str, depot: str, place: str, lot: str, quantity: str) -> RawBook:
    """So many pieces of a lot gone from a place, all of them where it has no more.

    Raises:
        Refusal: ``no-such-row``.
    """

    def left(text: str) -> str:
        return f"{max(Decimal(text) - Decimal(quantity), Decimal()):f}"

    where = {"stock_code": stock_code, "depot": depot, "place": place, "lot": lot}
    return _changed(raw, "stock", where, {"quantity": left})


def add_stock(raw: RawBook, *, stock_code: str, depot: str, quantity: str, use_by: str = "") -> RawBook:
    """So many more pieces in a bin of a depot; ``use_by`` is the last day on which they are good.

    Raises:
        Refusal: ``needs-date``: the item has a shelf life, and pieces without a date are promised to nobody.
    """
    if not use_by and _has_shelf_life(raw, stock_code):
        message = f"{stock_code} has a shelf life: say until which day these pieces would be good."
        raise Refusal("needs-date", message, {"stock_code": stock_code})
    cells = {
        "stock_code": stock_code, "depot": depot, "place": "what-if", "place_kind": "bin", "lot": "what-if",
        "use_by": use_by, "quantity": quantity,
    }  # fmt: skip
    return _with_row(raw, "stock", cells)


def approve_stand_in(raw: RawBook, *, wanted: str, allowed: str) -> RawBook:
    """A stand-in, approved without limits."""
    return _with_row(raw, "stand ins", {"wanted": wanted, "allowed": allowed, "approved_by": "what-if"})


def pin_pieces(raw: RawBook, *, job: str, line: str, stock_code: str, quantity: str, lot: str, depot: str) -> RawBook:
    """A line takes this stock code, and these pieces of it."""
    cells = {
        "job": job, "line": line, "stock_code": stock_code, "lot": lot, "depot": depot, "quantity": quantity,
        "reason": "what-if", "by": "what-if",
    }  # fmt: skip
    return _with_row(raw, "pins", cells)


@dataclass(frozen=True, slots=True)
class HeldPieces:
    """Pieces that a job holds by promise, by pin or in its bag; ``lot`` and ``depot`` blank where they don't matter."""

    holder: str
    stock_code: str
    quantity: str
    lot: str = ""
    depot: str = ""
    in_bag: bool = False


def lines_for(
    job: str, pieces: Sequence[HeldPieces], short: Iterable[Mapping[str, str]]
) -> tuple[tuple[str, HeldPieces], ...]:
    """Which line of a job would get which of these pieces: lines short of their stock code, else any short one.

    Args:
        job: who gets them.
        pieces: which, and from whom.
        short: the job's rows of a plan's table of what is short.

    Raises:
        Refusal: ``nothing-short``: the job lacks nothing that they could be.
    """
    rows = list(short)
    lacks = {row["line"]: Decimal(row["short"]) for row in rows}
    found = []
    for one in pieces:
        left = Decimal(one.quantity)
        for row in [row for row in rows if row["stock_code"] == one.stock_code] or rows:
            given = min(left, lacks[row["line"]])
            if given > 0:
                left -= given
                lacks[row["line"]] -= given
                found.append((row["line"], replace(one, quantity=f"{given:f}")))
        if left:
            message = f"{job} is not short of {one.quantity} {one.stock_code} any more: plan again."
            raise Refusal("nothing-short", message, {"job": job, "stock_code": one.stock_code})
    return tuple(found)


def swap_pieces(raw: RawBook, *, job: str, lines: Sequence[tuple[str, HeldPieces]]) -> RawBook:
    """Pieces that other jobs hold, pinned to these lines of a job."""
    for _, one in lines:
        raw = _unpinned(raw, one)
        raw = _out_of_bag(raw, one) if one.in_bag else raw
    for line, one in lines:
        raw = pin_pieces(
            raw, job=job, line=line, stock_code=one.stock_code, quantity=one.quantity, lot=one.lot, depot=one.depot
        )
    return raw


def _unpinned(raw: RawBook, pieces: HeldPieces) -> RawBook:
    """Pins of a job without so many of these pieces, those that name the lot first; one that is used up is gone."""
    sheet = raw.sheets.get("pins")
    placed = {} if sheet is None else place_columns(SHEETS["pins"], sheet)[0]
    if sheet is None or not {"job", "stock_code", "quantity"} <= set(placed):
        return raw
    cells, quantity = sheet.cells.copy(), Decimal(pieces.quantity)

    def said(row: int, field: str) -> str:
        return trimmed(str(cells.at[row, placed[field].at])) if field in placed else ""

    found = [
        row
        for row in cells.index
        if (said(row, "job"), said(row, "stock_code")) == (pieces.holder, pieces.stock_code)
        and said(row, "lot") in ("", pieces.lot)
        and said(row, "depot") in ("", pieces.depot)
    ]
    for row in sorted(found, key=lambda row: (not said(row, "lot"), not said(row, "depot"))):
        quantity, cells = _less(cells, row, placed["quantity"].at, quantity)
    return _with(raw, RawSheet("pins", sheet.headers, cells, sheet.notes))


def _out_of_bag(raw: RawBook, pieces: HeldPieces) -> RawBook:
    """These pieces of a bag in a bin and nobody's.

    Raises:
        Refusal: ``no-such-row``: they lie there no more.
    """
    where = {"stock_code": pieces.stock_code, "lot": pieces.lot, "depot": pieces.depot}
    sheet, match = _matched(raw, "stock", {"job": pieces.holder, **where})
    placed = place_columns(SHEETS["stock"], sheet)[0]
    cells, quantity = sheet.cells.copy(), Decimal(pieces.quantity)
    rows = []
    for row in cells.index[match]:
        before = quantity
        taken = {field: str(cells.at[row, one.at]) for field, one in placed.items()}
        quantity, cells = _less(cells, row, placed["quantity"].at, quantity)
        if before > quantity:
            rows.append({**taken, **_IN_A_BIN, "quantity": f"{before - quantity:f}"})
    raw = _with(raw, RawSheet("stock", sheet.headers, cells, sheet.notes))
    for one in rows:
        raw = _with_row(raw, "stock", one)
    return raw


_IN_A_BIN = {"place": "what-if", "place_kind": "bin", "job": "", "structure": ""}


def _less(cells: pd.DataFrame, row: int, at: int, quantity: Decimal) -> tuple[Decimal, pd.DataFrame]:
    """What is left of a quantity when a row has given what it has of it, and the cells without that."""
    has = Decimal(trimmed(str(cells.at[row, at])))
    taken = min(has, quantity)
    if taken == has:
        return quantity - taken, cells.drop(index=row)
    cells.at[row, at] = f"{has - taken:f}"
    return quantity - taken, cells


def rule_tables(raw: RawBook, tables: Mapping[str, pd.DataFrame]) -> RawBook:
    """These decision tables, as text frames, in the place of those of the same name."""
    sheets = [
        raw_sheet(f"{RULES}{name}", map(str, frame.columns), frame.itertuples(index=False, name=None))
        for name, frame in tables.items()
    ]
    return raw_book({**raw.sheets, **{sheet.name: sheet for sheet in sheets}}.values(), raw.notes)


def refuse_past(start: str, today: date) -> None:
    """Refuse an outage that would start on a day which is past.

    Raises:
        Refusal: ``past-date``.
    """
    try:
        is_past = date.fromisoformat(start[:10]) < today
    except ValueError:  # no date, or none of this form: reading says what is wrong with it
        return
    if is_past:
        raise Refusal("past-date", f"{start[:10]} is past; today is {today}.", {"today": today.isoformat()})


def read_both(before: RawBook, after: RawBook) -> tuple[Book, Book]:
    """The sheets as they are and as they would be.

    Raises:
        Refusal: ``change-in-doubt``: the change says what can't be read, or names what is not there.
    """
    was, would_be = read_book(before), read_book(after)
    known = set(was.questions)
    new = [one for one in would_be.questions if one.severity != NOTE and one not in known]
    if new:
        told = "; ".join(f"{one.column} {one.read or 'blank'}: {one.problem}" for one in new)
        raise Refusal("change-in-doubt", f"That can't be tried. {told}.", {"questions": new})
    return was, would_be


def _has_shelf_life(raw: RawBook, stock_code: str) -> bool:
    try:
        sheet, match = _matched(raw, "items", {"stock_code": stock_code})
    except Refusal:  # reading what would be says what is wrong with it
        return False
    placed = place_columns(SHEETS["items"], sheet)[0].get("shelf_months")
    return placed is not None and bool(sheet.cells.loc[match, placed.at].map(trimmed).iloc[0])


Cell = str | Callable[[str], str]


def _changed(raw: RawBook, name: str, where: Mapping[str, str], changes: Mapping[str, Cell]) -> RawBook:
    sheet, match = _matched(raw, name, where)
    placed = place_columns(SHEETS[name], sheet)[0]
    headers, cells = list(sheet.headers), sheet.cells.copy()
    for field, change in changes.items():
        if field not in placed:
            headers.append(SHEETS[name].by_field[field].header)
            cells[len(headers) - 1] = ""
        at = placed[field].at if field in placed else len(headers) - 1
        old = cells.loc[match, at]
        cells.loc[match, at] = old.map(change) if callable(change) else change
    return _with(raw, RawSheet(name, tuple(headers), cells, sheet.notes))


def _matched(raw: RawBook, name: str, where: Mapping[str, str]) -> tuple[RawSheet, "pd.Series[bool]"]:
    """A sheet, and which of its rows read so."""
    sheet = raw.sheets.get(name)
    placed = {} if sheet is None else place_columns(SHEETS[name], sheet)[0]
    if sheet is None or not set(where) <= set(placed):
        raise _no_row(name, where)
    match = pd.Series(data=True, index=sheet.cells.index)
    for field, wanted in where.items():
        match &= sheet.cells[placed[field].at].map(trimmed) == wanted
    if not match.any():
        raise _no_row(name, where)
    return sheet, match


def _with_row(raw: RawBook, name: str, cells: Mapping[str, str]) -> RawBook:
    declared = SHEETS[name]
    sheet = raw.sheets.get(name)
    if sheet is None or not sheet.headers:
        headers = [declared.by_field[field].header for field in cells]
        return _with(raw, raw_sheet(name, headers, [tuple(cells.values())]))
    placed = place_columns(declared, sheet)[0]
    headers, grown = list(sheet.headers), sheet.cells.copy()
    for field in cells:
        if field not in placed:
            headers.append(declared.by_field[field].header)
            grown[len(headers) - 1] = ""
    row = [""] * len(headers)
    for field, text in cells.items():
        at = placed[field].at if field in placed else headers.index(declared.by_field[field].header)
        row[at] = text
    grown.loc[(int(max(grown.index)) if len(grown) else 1) + 1] = row
    return _with(raw, RawSheet(name, tuple(headers), grown, sheet.notes))


def _with(raw: RawBook, sheet: RawSheet) -> RawBook:
    return raw_book({**raw.sheets, sheet.name: sheet}.values(), raw.notes)


def _no_row(name: str, where: Mapping[str, str]) -> Refusal:
    words = " and ".join(f"{field.replace('_', ' ')} {value}" for field, value in where.items())
    return Refusal("no-such-row", f"The sheet {name} has no row with {words}.", {"sheet": name, **where})


def differences(before: Plan, after: Plan) -> tuple[LineChange, ...]:
    """Lines that a change makes different, in line order: first those of ``before``, then the new ones."""
    old, new = _lines(before), _lines(after)
    names = [*old, *(name for name in new if name not in old)]
    changes = []
    for name in names:
        was, now = old.get(name, _ABSENT), new.get(name, _ABSENT)
        if was[1:] != now[1:]:
            job = was[0] or now[0]
            changes.append(LineChange(name, job, was[1], now[1], was[2], now[2], was[3], now[3]))
    return tuple(changes)


_Line = tuple[str, str, str, str]
_ABSENT: _Line = ("", "", "", "")


def _lines(plan: Plan) -> dict[str, _Line]:
    short = dict(zip(plan.shortages["line"], map(str, plan.shortages["short"]), strict=True))
    frame = plan.requirements
    columns = (frame[name].astype(str) for name in ("line", "job", "answer", "stock_code"))
    return {line: (job, answer, code, short.get(line, "")) for line, job, answer, code in zip(*columns, strict=True)}
