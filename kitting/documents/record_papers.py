"""What papers made from the records share: who printed them and when, the frame of a page, and the bytes of a file."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

import pandas as pd

from kitting.calculation.short_codes import make_code
from kitting.documents.cautions import brief_cautions
from kitting.documents.layout import Area, Cell, Column, Flow, Frame, sheet_area
from kitting.documents.lettering import open_canvas
from kitting.documents.wording import Words
from kitting.spreadsheets.writing import SheetContent, write_people_csv, write_workbook

BLANK_LINE = "_" * 24


@dataclass(frozen=True, slots=True)
class Printed:
    """What a paper says about its own printing.

    Args:
        stock_as_of: day or moment of the books it was filled from, as text with its zone.
        at: moment of printing, in the depot's zone; None where no clock is set.
        by: person who prints.
        reprint: 0 for the first print of a revision, n for REPRINT n.
        revision: of what is printed; '' where it has none.
        paper: ``Letter`` or ``A4``.
        wording: ``splice`` or ``joint``.
        demo: print DEMO across each page.
    """

    stock_as_of: str
    at: datetime | None
    by: str
    reprint: int = 0
    revision: str = ""
    paper: str = "Letter"
    wording: str = "splice"
    demo: bool = False

    @property
    def words(self) -> Words:
        """The owner's wording."""
        return Words(self.wording)

    @property
    def reprint_text(self) -> str:
        """``REPRINT 2``, or '' on the first print."""
        return f"REPRINT {self.reprint}" if self.reprint else ""

    @property
    def text(self) -> str:
        """Revision, day of the stock, moment and person of the printing."""
        revision = f"REV {self.revision} · " if self.revision else ""
        return f"{revision}stock as of {self.stock_as_of} · printed at {self.moment} by {self.person}"

    @property
    def moment(self) -> str:
        """When, in words."""
        return moment_text(self.at) if self.at else "time unknown"

    @property
    def person(self) -> str:
        """Who, in words."""
        return self.by or "unknown"


def moment_text(moment: datetime) -> str:
    """A moment to the minute, with its zone where it has one."""
    return f"{moment:%Y-%m-%d %H:%M %Z}".strip()


def content_revision(facts: object) -> str:
    """Six characters that change when the facts of a paper change, for papers that have no revision of their own."""
    return hashlib.sha256(repr(facts).encode()).hexdigest()[:6].upper()


def record_flow(
    printed: Printed,
    *,
    title: str,
    subject: str,
    facts: Sequence[str],
    number: tuple[str, ...],
    landscape: bool = False,
    area: Area | None = None,
) -> Flow:
    """A flow whose pages carry what all papers carry.

    Args:
        printed: who prints, when, the how many-th time.
        title: kind of document.
        subject: what it is about, in large letters.
        facts: lines below the subject.
        number: parts of the readable number; its check characters are added.
        landscape: turn the sheet.
        area: another page than a whole sheet.
    """
    code = make_code(*number)
    words = printed.words
    frame = Frame(
        title=" · ".join(filter(None, (words(title), printed.reprint_text))),
        subject=subject,
        facts=(*filter(None, facts), printed.text),
        number=code,
        code=f"{code} REV {printed.revision}" if printed.revision else code,
        cautions=brief_cautions(words),
        demo=printed.demo,
    )
    return Flow(area or sheet_area(printed.paper, landscape=landscape), frame)


def table_or_words(flow: Flow, columns: Sequence[Column], rows: Sequence[Sequence[Cell]], empty: str) -> None:
    """The table, or the sentence that says that there is none."""
    if rows:
        flow.table(columns, rows)
    else:
        flow.text(empty)


def signatures(flow: Flow, *roles: str) -> None:
    """Lines to sign on, kept together."""
    flow.gap(4)
    for role in roles:
        flow.gap(4)
        flow.text(f"{role}: {BLANK_LINE}   signature: {BLANK_LINE}   date, time: {'_' * 16}", keep_mm=2)


def pdf_bytes(flows: Sequence[Flow], title: str) -> bytes:
    """The flows one after the other as one PDF; the same flows give the same bytes."""
    file = BytesIO()
    canvas = open_canvas(file, title)
    for flow in flows:
        flow.paint(canvas)
    canvas.save()
    return file.getvalue()


def table_frame(headers: Sequence[str], rows: Sequence[Sequence[object]]) -> pd.DataFrame:
    """Rows as a table; codes are text, quantities decimals."""
    return pd.DataFrame([tuple(row) for row in rows], columns=list(headers), dtype=object)


def csv_bytes(frame: pd.DataFrame) -> bytes:
    """The table as CSV that a person opens."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "table.csv"
        write_people_csv(frame, path)
        return path.read_bytes()


def workbook_bytes(frames: Mapping[str, pd.DataFrame]) -> bytes:
    """The tables as sheets of a workbook."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "tables.xlsx"
        write_workbook(path, {name: SheetContent(frame) for name, frame in frames.items()})
        return path.read_bytes()
