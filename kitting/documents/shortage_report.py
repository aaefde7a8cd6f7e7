"""The shortage report: what is short and why, what would cure it, what nobody can tell yet, totals of each item."""

from collections import defaultdict
from collections.abc import Iterator, Set
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pandas as pd

from kitting.calculation.answers import CANT_TELL, CONFLICT, NO_RULE
from kitting.calculation.bags import YES
from kitting.calculation.cure_table import cure_sentences, is_of_kit
from kitting.calculation.expansion.lines import SPARE_ENDING
from kitting.calculation.natural_order import natural_key
from kitting.calculation.plan_tables import refusal_sentences
from kitting.calculation.short_codes import make_code
from kitting.documents.cautions import cautions
from kitting.documents.job_papers import number_text
from kitting.documents.layout import SECTION, Cell, Column, Flow, Frame, sheet_area
from kitting.documents.pick_list import answer_mark
from kitting.documents.plan_papers import PlanPapers, Row, records
from kitting.documents.wording import Words
from kitting.spreadsheets.writing import SheetContent, write_people_csv, write_workbook

MOST_ROWS = 2000  # a longer list is read in the workbook; the print says so
MOST_PLACES = 6
OPEN_ANSWERS = (CANT_TELL, NO_RULE, CONFLICT)
WITH_KIT = "with the whole kit, see below"
OWNER = "owner"  # a column of what is told from the records
SHORT_COLUMNS = (
    Column("Staged by", 21, bold=True),
    Column("Job", 13, bold=True),
    Column("Item", 36),
    Column("Need", 12, align="right"),
    Column("Have", 12, align="right"),
    Column("Short", 13, align="right", bold=True),
    Column("Why", 44),
    Column("Other depots", 24),
    Column("On order", 21),
    Column("Order by", 21, bold=True),
    Column("Cure", 42),
)
# From the records: the columns that can spare it make room for who sees to a line, and for how long it is short.
_NARROWER = {"Item": 32, "Why": 40, "Other depots": 20, "On order": 20, "Cure": 33}
OWNED_COLUMNS = (
    *(replace(one, width_mm=_NARROWER.get(one.heading, one.width_mm)) for one in SHORT_COLUMNS),
    Column("Owner, age", 22),
)
CURE_COLUMNS = (
    Column("Staged by", 21, bold=True),
    Column("Job", 13, bold=True),
    Column("Why the kit was refused", 95),
    Column("Any one of these would complete it, tried by planning again", 130),
)
OPEN_COLUMNS = (
    Column("Staged by", 21, bold=True),
    Column("Job", 13, bold=True),
    Column("State", 27),
    Column("Where", 60),
    Column("What is missing", 138),
)
TOTAL_COLUMNS = (
    Column("Item", 100),
    Column("Short", 20, align="right", bold=True),
    Column("First staged by", 34),
    Column("Jobs", 105),
)


def short_rows(papers: PlanPapers) -> list[Row]:
    """Shortage rows, earliest staged-by first, then by job; rows without a day last."""
    rows = records(papers.plan.shortages)
    return sorted(rows, key=lambda row: (not row["staged_by"], str(row["staged_by"]), natural_key(str(row["job"]))))


def open_rows(papers: PlanPapers) -> list[Row]:
    """Lines that can't tell, have no rule or conflict, earliest staged-by first."""
    requirements = papers.plan.requirements
    rows = records(requirements[requirements["answer"].isin(OPEN_ANSWERS)])
    return sorted(rows, key=lambda row: _job_day(papers, str(row["job"])))


def _job_day(papers: PlanPapers, job: str) -> tuple[bool, str, object]:
    day = _staged_by(papers, job)
    return not day, day, natural_key(job)


def _staged_by(papers: PlanPapers, job: str) -> str:
    answer = papers.answers.get(job)
    return answer.staged_by.isoformat() if answer and answer.staged_by else ""


def cure_rows(papers: PlanPapers) -> list[tuple[str, str, str, str]]:
    """For each short kit, earliest staged-by first: staged-by, job, why it was refused, its cures by number."""
    cures, refused = papers.plan.cures, refusal_sentences(papers.plan.refusals)
    told = cure_sentences(cures)
    rows = []
    for job, move in dict(zip(cures["job"], cures["move"], strict=True)).items():
        numbered = "; ".join(f"{number}. {sentence}" for number, sentence in enumerate(told.get(job, ()), start=1))
        rows.append((_staged_by(papers, job), job, refused.get(job, ""), numbered or str(move)))
    return sorted(rows, key=lambda row: (not row[0], row[0], natural_key(row[1])))


def total_rows(papers: PlanPapers) -> list[tuple[str, str, Decimal, str, str]]:
    """For each item: stock code, kind, pieces short, first staged-by, jobs."""
    pieces: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    jobs: dict[tuple[str, str], dict[str, None]] = defaultdict(dict)
    first: dict[tuple[str, str], str] = {}
    for row in short_rows(papers):
        item = (str(row["stock_code"]), str(row["kind"]))
        pieces[item] += Decimal(str(row["short"]))
        jobs[item][str(row["job"])] = None
        first.setdefault(item, str(row["staged_by"]))
    items = sorted(pieces, key=lambda item: (natural_key(item[0]), item[1]))
    return [(*item, pieces[item], first[item], ", ".join(jobs[item])) for item in items]


def shortage_flow(papers: PlanPapers, words: Words) -> Flow:
    """The report as pages."""
    policies, number = papers.plan.book.policies, make_code("S", papers.plan.book.digest[:6])
    shorts, opens = short_rows(papers), open_rows(papers)
    frame = Frame(
        title=papers.titled("SHORTAGE REPORT"),
        subject=f"{len(shorts)} short, {len(opens)} open questions" if shorts or opens else "Nothing is short",
        facts=(
            f"Report {number} · stock as of {papers.plan.as_of.isoformat()} · {papers.print_text}",
            "Earliest staged-by first",
        ),
        number=number,
        code=number,
        cautions=cautions(words)[:1],
        demo=policies.demo,
    )
    flow = Flow(sheet_area(policies.paper, landscape=True), frame)
    columns = OWNED_COLUMNS if OWNER in papers.plan.shortages.columns else SHORT_COLUMNS
    whole = _cured_whole(papers)
    cells = [_short_cells(papers, row, words, whole) for row in shorts]
    _part(flow, "Short", columns, cells, "Nothing is short.")
    cures: list[list[Cell]] = [
        [staged or "no day", job, words(why) or "served in turn: buying in time counts", words(told)]
        for staged, job, why, told in cure_rows(papers)
    ]
    _part(flow, "What would complete each short kit", CURE_COLUMNS, cures, "No kit is short.")
    grouped = list(_grouped(papers, opens, words))
    _part(flow, "Can't tell, no rule, conflict", OPEN_COLUMNS, grouped, "Every line has its rule and its facts.")
    totals = [_total_cells(papers, row, words) for row in total_rows(papers)]
    _part(flow, "Totals by item", TOTAL_COLUMNS, totals, "No totals.")
    return flow


def _part(flow: Flow, title: str, columns: tuple[Column, ...], rows: list[list[Cell]], nothing: str) -> None:
    flow.text(title, SECTION, keep_mm=20)
    if not rows:
        flow.text(nothing)
    if len(rows) > MOST_ROWS:
        flow.text(f"The first {MOST_ROWS} of {len(rows)} rows; the workbook beside this print holds them all.")
    if rows:
        flow.table(columns, rows[:MOST_ROWS])
    flow.gap(5)


def _cured_whole(papers: PlanPapers) -> set[str]:
    """Refused kits that a cure would complete."""
    return {*refusal_sentences(papers.plan.refusals)} & {*cure_sentences(papers.plan.cures)}


def _short_cells(papers: PlanPapers, row: Row, words: Words, whole: Set[str]) -> list[Cell]:
    """A short line; what would complete its whole kit stands once, in the part below."""
    order_by, code = str(row["order_by"]), str(row["stock_code"])
    spare = "SPARE: " if str(row["line"]).endswith(SPARE_ENDING) else ""
    return [
        str(row["staged_by"]) or "no day",
        str(row["job"]),
        spare + _item_text(papers, row, words),
        *(number_text(Decimal(str(row[name]))) for name in ("need", "have", "short")),
        words(str(row["why"])),
        str(row["other_depots"]) or "none",
        str(row["on_order"]) or "none",
        f"{order_by} TOO LATE" if row["too_late"] == YES else order_by or "–",
        WITH_KIT if str(row["job"]) in whole and is_of_kit(str(row["line"]), code) else words(str(row["cure"])),
        *([f"{row[OWNER]}, {_age(row['age_days'])}"] if OWNER in row else ()),
    ]


def _age(days: object) -> str:
    return f"{days} day{'' if days == 1 else 's'}" if days else "new"


def _item_text(papers: PlanPapers, row: Row, words: Words) -> str:
    code, kind = str(row["stock_code"]), words(str(row["kind"]))
    return f"{code} · {papers.noun(code, kind)}" if code else f"{kind} (no stock code serves)"


def _grouped(papers: PlanPapers, rows: list[Row], words: Words) -> Iterator[list[Cell]]:
    """One row for each job, answer and missing fact, with the places it stops."""
    places: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for row in rows:
        places[str(row["job"]), str(row["answer"]), str(row["reason"])].append(_place(row, words))
    for (job, answer, reason), found in places.items():
        more = f" and {len(found) - MOST_PLACES} more" if len(found) > MOST_PLACES else ""
        where = ", ".join(found[:MOST_PLACES]) + more
        yield [_staged_by(papers, job) or "no day", job, answer_mark(answer), where, words(reason)]


def _place(row: Row, words: Words) -> str:
    line = str(row["line"]).removeprefix(f"{row['job']}/")
    head, _, last = line.rpartition("/")
    return f"{head}/{words(last)}" if head else last


def _total_cells(papers: PlanPapers, row: tuple[str, str, Decimal, str, str], words: Words) -> list[Cell]:
    code, kind, short, first, jobs = row
    return [_item_text(papers, {"stock_code": code, "kind": kind}, words), number_text(short), first or "no day", jobs]


def _short_frame(papers: PlanPapers) -> pd.DataFrame:
    shorts = pd.DataFrame(short_rows(papers), columns=list(papers.plan.shortages.columns), dtype=object)
    lead = ["staged_by", "job", "kind", "stock_code"]
    return shorts[[*lead, *(name for name in shorts.columns if name not in lead)]]


def write_shortage_csv(path: Path, papers: PlanPapers) -> Path:
    """What is short as CSV that a person opens, every line on a row of its own, the earliest staged-by first."""
    write_people_csv(_short_frame(papers), path)
    return path


def write_shortage_workbook(path: Path, papers: PlanPapers) -> Path:
    """The report as a workbook with a sheet for each part, every line on a row of its own."""
    opens = pd.DataFrame(
        [
            (_staged_by(papers, str(row["job"])), *(row[name] for name in ("job", "answer", "line", "reason")))
            for row in open_rows(papers)
        ],
        columns=["staged_by", "job", "answer", "line", "missing fact"],
        dtype=object,
    )
    totals = pd.DataFrame(
        total_rows(papers), columns=["stock_code", "kind", "short", "first staged by", "jobs"], dtype=object
    )
    cures = pd.DataFrame(cure_rows(papers), columns=["staged_by", "job", "refused", "cure"], dtype=object)
    sheets = {
        "short": SheetContent(_short_frame(papers), wrapped=("why", "cure")),
        "cures": SheetContent(cures, wrapped=("refused", "cure")),
        "can't tell": SheetContent(opens, wrapped=("missing fact",)),
        "totals": SheetContent(totals),
    }
    write_workbook(path, sheets)
    return path
