"""The lot trace report: what was received of a lot, where every piece is, and a total that must be the same."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

import pandas as pd

from kitting.documents.job_papers import amount
from kitting.documents.layout import SECTION, Column, Flow
from kitting.documents.record_papers import (
    Printed,
    csv_bytes,
    pdf_bytes,
    record_flow,
    signatures,
    table_frame,
    table_or_words,
    workbook_bytes,
)

RECEIVED, WHERE, INSTALLED, FAILED, HIT, NEEDED, COULD_BE, HOLDS, TOLD = (
    "received", "where each piece is", "installed", "failures", "bags and jobs hit", "to be replaced",
    "could be of this lot", "holds", "told",
)  # fmt: skip
PARTS = (RECEIVED, WHERE, INSTALLED, FAILED, HIT, NEEDED, COULD_BE, HOLDS, TOLD)
NONE_OF = {
    RECEIVED: "Nothing was received.",
    WHERE: "No piece is anywhere.",
    INSTALLED: "No end is recorded.",
    FAILED: "No failure is reported.",
    HIT: "No bag and no job waits for it.",
    NEEDED: "Nothing: no hold stops it, or nobody counts on a piece of it.",
    COULD_BE: "No piece of a lot that is unknown or was not read.",
    HOLDS: "No hold is placed.",
    TOLD: "Nobody was told.",
}
_ROWS_A_PAGE = 36  # about
COLUMNS = (
    Column("What, where", 62, bold=True),
    Column("Job", 30),
    Column("Date", 36),
    Column("Who, why", 36),
    Column("Quantity", 26, align="right", bold=True),
)
HEADERS = (
    "stock code",
    "lot",
    "part of the report",
    "what or where",
    "job",
    "date",
    "who or why",
    "quantity",
    "unit",
    "stock as of",
    "why traced",
)


@dataclass(frozen=True, slots=True)
class TraceLine:
    """One line of a part of the report.

    Args:
        part: one of ``PARTS``.
        what: paper, place, ending, end (structure, end, phase), bag, hold number or role, as people call it.
        quantity: stock units; None where the line counts nothing.
        job: that it belongs to, '' for none.
        when: day or moment as text: of the paper, the cutover, when it was energised (or fitted, where nobody noted
            that), placed or told.
        who: crew or reason.
        person: the name of who booked, installed or placed it.
        depot: of the place, '' where it is none.
    """

    part: str
    what: str
    quantity: Decimal | None = None
    job: str = ""
    when: str = ""
    who: str = ""
    person: str = ""
    depot: str = ""

    @property
    def whose(self) -> str:
        """Person, crew and reason, as far as they are known."""
        return " · ".join(filter(None, (self.who, self.person)))


@dataclass(frozen=True, slots=True)
class Sight:
    """What a person sees of a trace; all numbers still add up.

    Args:
        names: whether names of people are shown; else they are numbered in the order in which they come.
        depots: places of these only, the others as one sum; None for all.
        ends_of: ends that this person installed only, the others as one sum; '' for all.
    """

    names: bool = True
    depots: frozenset[str] | None = None
    ends_of: str = ""


@dataclass(frozen=True, slots=True)
class Days:
    """Which pieces of an unknown lot are asked about: fitted from a day to a day, ends included, from a place.

    Args:
        first, last: None where there is no such end.
        place: from which they were picked, such as ``N/N-02-2``; '' for any.
    """

    first: date | None = None
    last: date | None = None
    place: str = ""

    @property
    def are_given(self) -> bool:
        """Whether the days have a beginning or an end."""
        return self.first is not None or self.last is not None


ANY_DAY = Days()


@dataclass(frozen=True, slots=True)
class LotTrace:
    """A traced lot.

    ``dates`` is until when it is good, in words; ``received`` what the papers of receipt bring, in stock units; ``why``
    the reason to trace.
    """

    stock_code: str
    part: str
    lot: str
    dates: str
    unit: str
    why: str
    received: Decimal
    lines: tuple[TraceLine, ...]

    @property
    def pages(self) -> int:
        """About how many pages the report has; each part and the head take the room of some rows."""
        return 1 + len(self.lines) // _ROWS_A_PAGE

    @property
    def found(self) -> Decimal:
        """Pieces that the books know the whereabouts of."""
        return sum((line.quantity or Decimal() for line in self.lines if line.part == WHERE), Decimal())

    @property
    def total_text(self) -> str:
        """``TOTAL 40 of 40 ea received: adds up``, or by how much it does not."""
        total = f"TOTAL {amount(self.found, '')} of {amount(self.received, self.unit)} received"
        gap = self.received - self.found
        return f"{total}: DOES NOT ADD UP, {amount(gap, self.unit)} not accounted for" if gap else f"{total}: adds up"

    def seen(self, sight: Sight) -> "LotTrace":
        """As a person sees it: what they don't is one line a part, so that the sums stay."""
        lines: list[TraceLine] = []
        for part in PARTS:
            own = [line for line in self.lines if line.part == part and _is_seen(line, sight)]
            rest = [line for line in self.lines if line.part == part and not _is_seen(line, sight)]
            lines += own
            if rest:
                sums = [line.quantity for line in rest if line.quantity is not None]
                what = f"elsewhere ({len(rest)} more)"
                lines.append(TraceLine(part, what, sum(sums, Decimal()) if sums else None))
        numbers: dict[str, str] = {}
        if not sight.names:
            for line in lines:
                if line.person:
                    numbers.setdefault(line.person, f"person {len(numbers) + 1}")
        return replace(self, lines=tuple(replace(one, person=numbers.get(one.person, one.person)) for one in lines))


def _is_seen(line: TraceLine, sight: Sight) -> bool:
    if sight.depots is not None and line.depot and line.depot not in sight.depots:
        return False
    return line.part not in (INSTALLED, FAILED, COULD_BE) or not sight.ends_of or line.person in ("", sight.ends_of)


def lot_trace_report(trace: LotTrace, printed: Printed) -> bytes:
    """The report as PDF."""
    lot = printed.words("lot")
    flow = record_flow(
        printed,
        title="LOT TRACE REPORT",
        subject=f"{trace.stock_code} {lot} {trace.lot or 'unknown'}",
        facts=(
            f"{printed.words(trace.part)} · {trace.dates}",
            f"Why: {trace.why or 'no reason given'}",
            trace.total_text,
        ),
        number=("L", trace.stock_code, trace.lot or "UNKNOWN"),
    )
    for part in PARTS:
        _part(flow, trace, part, printed)
    signatures(flow, "Checked by")
    return pdf_bytes([flow], f"Lot trace {trace.stock_code} {trace.lot}")


def _part(flow: Flow, trace: LotTrace, part: str, printed: Printed) -> None:
    flow.gap(3)
    flow.text(printed.words(part).upper(), SECTION, keep_mm=18)
    rows = [
        (
            line.what,
            line.job,
            line.when,
            line.whose,
            "" if line.quantity is None else amount(line.quantity, trace.unit),
        )
        for line in trace.lines
        if line.part == part
    ]
    table_or_words(flow, COLUMNS, rows, printed.words(NONE_OF[part]))
    if part == WHERE:
        flow.boxed(trace.total_text)


def _rows(trace: LotTrace, part: str) -> Iterator[tuple[object, ...]]:
    for line in trace.lines:
        if line.part == part:
            unit = "" if line.quantity is None else trace.unit
            yield (trace.stock_code, trace.lot, part, line.what, line.job, line.when, line.whose, line.quantity, unit)
    if part == WHERE:
        yield (trace.stock_code, trace.lot, part, trace.total_text, "", "", "", None, "")


def _frame(trace: LotTrace, printed: Printed, *parts: str) -> pd.DataFrame:
    known = (printed.stock_as_of, trace.why)
    return table_frame(HEADERS, [(*row, *known) for part in parts for row in _rows(trace, part)])


def lot_trace_csv(trace: LotTrace, printed: Printed) -> bytes:
    """The report as CSV, part by part."""
    return csv_bytes(_frame(trace, printed, *PARTS))


def lot_trace_workbook(trace: LotTrace, printed: Printed) -> bytes:
    """The report as a workbook, one sheet a part."""
    return workbook_bytes({part: _frame(trace, printed, part) for part in PARTS})
