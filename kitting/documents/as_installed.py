"""The as-installed record: which part of which lot is on which cable end, who fitted it, and how well it fits."""

from dataclasses import dataclass

from kitting.documents.layout import STRONG, Column
from kitting.documents.record_papers import Printed, csv_bytes, pdf_bytes, record_flow, table_frame, table_or_words

COLUMNS = (
    Column("Structure, end, phase", 38, bold=True),
    Column("Part, lot", 48, bold=True),
    Column("Cable type, reel, gauge reading", 48),
    Column("Fit margin, rule", 42),
    Column("By, at", 48),
    Column("Photos", 35),
)
HEADERS = (
    "job", "structure", "end", "phase", "slot", "stock code", "part", "lot", "cable type", "reel",
    "gauge reading (mm and in)", "fit margin (mm and in)", "rule", "stand-in or override", "by",
    "at (device)", "at (reached the books)", "photos", "signed", "from paper by",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class InstalledEnd:
    """What one phase of one end holds in one slot. Lengths are texts with both units; moments texts with their zone.

    ``on_paper`` is whose initials stand on the night card that it was typed from; ``at_device`` is the moment there.
    """

    structure: str
    end: str
    phase: str
    slot: str
    stock_code: str
    part: str
    lot: str
    cable_type: str
    reel: str
    gauge_reading: str
    fit_margin: str
    rule: str
    override: str
    by: str
    at_device: str
    at_books: str
    photos: tuple[str, ...] = ()
    signed: str = ""
    on_paper: str = ""


@dataclass(frozen=True, slots=True)
class AsInstalled:
    """All ends of a job.

    Args:
        job, title, cutover, depot: whose.
        ends: what each phase of each end holds.
        open_ends: names the phases that are still missing.
        signed: each end in words: who signed for it, or that nobody has.
    """

    job: str
    title: str
    cutover: str
    depot: str
    ends: tuple[InstalledEnd, ...]
    open_ends: tuple[str, ...] = ()
    signed: tuple[str, ...] = ()


def as_installed_record(record: AsInstalled, printed: Printed) -> bytes:
    """The record as PDF."""
    flow = record_flow(
        printed,
        title="AS-INSTALLED RECORD",
        subject=f"{record.job} · {record.title}",
        facts=(f"Cutover {record.cutover} · depot {record.depot}",),
        number=("N", record.job),
        landscape=True,
    )
    table_or_words(flow, COLUMNS, [_cells(end, printed) for end in record.ends], "Nothing is recorded as installed.")
    overridden = [end for end in record.ends if end.override]
    if overridden:
        flow.gap(3)
        flow.text("STAND-INS AND OVERRIDES", STRONG, keep_mm=12)
        for end in overridden:
            flow.boxed(f"{end.structure} {end.end} phase {end.phase} · {end.stock_code}: {end.override}")
    if record.open_ends:
        flow.gap(3)
        flow.text("RECORD STILL OPEN", STRONG, keep_mm=12)
        for told in record.open_ends:
            flow.boxed(told)
    if record.signed:
        flow.gap(3)
        flow.text("SIGNATURES", STRONG, keep_mm=12)
        for told in record.signed:
            flow.boxed(told)
    return pdf_bytes([flow], f"As-installed record {record.job}")


def _cells(end: InstalledEnd, printed: Printed) -> tuple[str, ...]:
    where = " · ".join(filter(None, (end.structure, end.end, f"phase {end.phase}" if end.phase else "", end.slot)))
    override = "SEE OVERRIDE BELOW" if end.override else ""
    return (
        where,
        f"{end.stock_code} · {printed.words(end.part)} · {printed.words('lot')} {end.lot or 'unknown'}",
        f"{end.cable_type or 'no cable'} · reel {end.reel or 'unknown'} · {end.gauge_reading or 'no gauge reading'}",
        " · ".join(filter(None, (end.fit_margin or "no margin", end.rule, override))),
        f"{end.by} · {end.at_device} ({_made_on(end)}) · {end.at_books or 'not yet'} (books)",
        ", ".join(end.photos) or "none",
    )


def _made_on(end: InstalledEnd) -> str:
    return f"on paper, by {end.on_paper}" if end.on_paper else "device"


def as_installed_csv(record: AsInstalled) -> bytes:
    """The record as CSV, one row an end, phase and slot."""
    rows = [
        (record.job, end.structure, end.end, end.phase, end.slot, end.stock_code, end.part, end.lot, end.cable_type,
         end.reel, end.gauge_reading, end.fit_margin, end.rule, end.override, end.by, end.at_device, end.at_books,
         "; ".join(end.photos), end.signed, end.on_paper)
        for end in record.ends
    ]  # fmt: skip
    return csv_bytes(table_frame(HEADERS, rows))
