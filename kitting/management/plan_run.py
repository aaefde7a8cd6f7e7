"""One run of the planner over files: read, plan, write aside, then take the place of the former output."""

import json
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import astuple, dataclass, field, fields
from datetime import date
from pathlib import Path
from time import perf_counter

import pandas as pd
from tqdm import tqdm

from kitting.calculation.most_kits import MostKits
from kitting.calculation.plan_result import Plan
from kitting.calculation.plan_tables import refusal_sentences
from kitting.calculation.planning import plan
from kitting.calculation.promising.tiers import STRICT
from kitting.calculation.questions import Question
from kitting.calculation.sheets.book import Book, read_book
from kitting.calculation.sheets.raw import RawBook
from kitting.documents import write_documents
from kitting.errors import Refusal
from kitting.management.books import recorded_sheets
from kitting.management.in_columns import in_columns
from kitting.selectors.expired_uses import past_dates
from kitting.selectors.promises import open_promises
from kitting.selectors.returns_due import due_back
from kitting.selectors.short_lines import cared_for
from kitting.services.apply_plan import ReviewedPlan
from kitting.spreadsheets.column_layout import adopt
from kitting.spreadsheets.questions_workbook import write_questions_workbook
from kitting.spreadsheets.reading import read_raw_book
from kitting.spreadsheets.writing import write_csv

TABLES = ("requirements", "promises", "shortages", "reorder", "refusals", "cures", "totals")
MOST_REFUSALS = 20  # told in the summary; the table holds all
SUMMARY = "plan.json"  # every output holds it: a folder without it is not ours to replace
TIMES = "timings.json"
QUESTIONS, QUESTIONS_BOOK = "questions.csv", "questions.xlsx"
DOCUMENTS = "documents"
MOVED, MOST_KITS = "moved.csv", "most_kits.csv"
OUTPUT = {SUMMARY, MOVED, MOST_KITS, TIMES, QUESTIONS, QUESTIONS_BOOK, DOCUMENTS, *(f"{name}.csv" for name in TABLES)}


@dataclass(frozen=True, slots=True)
class Order:
    """What is asked of a run.

    Args:
        source: a workbook, or a folder of CSV files; None for the records.
        as_of: the day on which the plan stands.
        out: folder to write; it must be absent, empty or a former output.
        jobs: jobs whose documents are wanted; empty means all. The plan always holds all jobs.
        earlier: output of an earlier plan, whose pieces stay with their lines where that costs nothing.
        keep_promised: what the records promise is that earlier plan.
        foreign: a column layout (TOML) and the foreign list (CSV, xlsx) that it adopts, to join the source.
        said: what is the same in all rows of that list, by our header.
        count_most: also tell the most kits that any plan could complete, and what that takes from the near jobs.
    """

    source: Path | None
    as_of: date
    out: Path
    jobs: tuple[str, ...] = ()
    foreign: tuple[Path, Path] | None = None
    earlier: Path | None = None
    keep_promised: bool = False
    count_most: bool = False
    said: Mapping[str, str] = field(default_factory=dict)


class Stages:
    """A bar on standard error that names each stage as it ends, on a terminal only, and the seconds each took."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._last = perf_counter()
        self._bar = tqdm(total=6, desc="planning", unit="stage", leave=False, disable=None)

    def done(self, stage: str) -> None:
        """Note the end of a stage."""
        now = perf_counter()
        self.seconds[stage] = round(now - self._last, 3)
        self._last = now
        self._bar.set_postfix_str(stage, refresh=False)
        self._bar.update()

    def read(self, sheet: str, rows: int, total: int) -> None:
        """Show how far the reading of a sheet has come."""
        self._bar.set_postfix_str(f"{sheet}: row {rows} of {total}")

    def close(self) -> None:
        """Take the bar away."""
        self._bar.close()


def run(order: Order) -> ReviewedPlan:
    """Read, plan and write; what was made, for whoever goes on with it.

    Raises:
        Refusal: the input can't be read, a wanted job is not in it, or the output is not ours to replace or to write.
    """
    check_replaceable(order.out)
    stages = Stages()
    try:
        raw = _read(order, stages)
        book = read_book(raw)
        check_jobs(order.jobs, book)
        stages.done("reading")
        planned = plan(
            book, as_of=order.as_of, earlier=_earlier(order), progress=stages.done, count_most=order.count_most,
            due_back=due_back(order.as_of) if order.source is None else {},
            past_dates=past_dates() if order.source is None else (),
        )  # fmt: skip
        told = cared_for(planned) if order.source is None else planned
        with _taking_the_place_of(order.out) as folder:
            write_tables(told, raw, folder)
            stages.done("writing tables")
            write_documents(told, folder / DOCUMENTS, jobs=order.jobs or None)
            stages.done("writing documents")
            _write_json(folder / TIMES, stages.seconds)
    finally:
        stages.close()
    return ReviewedPlan(raw, planned)


def check_replaceable(out: Path) -> None:
    """Refuse a folder that holds anything but a former output.

    Raises:
        Refusal: ``output-not-ours``.
    """
    if not out.exists():
        return
    if not out.is_dir():
        raise Refusal("output-not-ours", f"{out} is a file; name a folder for the plan.", {"out": str(out)})
    found = {entry.name for entry in out.iterdir()}
    strangers = sorted(found - OUTPUT) if SUMMARY in found else sorted(found)
    if strangers:
        message = f"{out} holds {', '.join(strangers[:3])}, which no plan wrote; name an empty or a new folder."
        raise Refusal("output-not-ours", message, {"out": str(out), "found": strangers})


def check_jobs(wanted: tuple[str, ...], book: Book) -> None:
    """Refuse job numbers that the jobs sheet does not hold.

    Raises:
        Refusal: ``unknown-job``.
    """
    known = set(book.frames["jobs"]["job"])
    unknown = [job for job in wanted if job not in known]
    if unknown:
        message = f"The jobs sheet has no job {', '.join(unknown)}; it has {', '.join(sorted(known))}."
        raise Refusal("unknown-job", message, {"jobs": unknown})


def write_tables(planned: Plan, raw: RawBook, folder: Path) -> None:
    """Write the output tables, the questions and the summary; the same plan gives the same bytes."""
    for name in TABLES:
        write_csv(getattr(planned, name), folder / f"{name}.csv")
    if planned.moved is not None:
        write_csv(planned.moved, folder / MOVED)
    _write_questions(planned.questions, raw, folder)
    if planned.most_kits is not None:
        write_csv(planned.most_kits.changed, folder / MOST_KITS)
    _write_json(folder / SUMMARY, planned.summary)


def summary_text(planned: Plan) -> str:
    """One line a job for a person: answer, staged-by, deciding line; then what else there is to look at."""
    rows = [("job", "answer", "staged by", "short", "deciding line")]
    for job in planned.jobs:
        staged = job.staged_by.isoformat() if job.staged_by else "no cutover"
        rows.append((job.job, job.answer, staged, job.short_pieces, job.deciding_line))
    lines = [in_columns(rows)]
    refusals = refusal_sentences(planned.refusals)
    lines += [f"{job} refused: {sentence}." for job, sentence in list(refusals.items())[:MOST_REFUSALS]]
    if len(refusals) > MOST_REFUSALS:
        lines.append(f"{len(refusals) - MOST_REFUSALS} more kits are refused; refusals.csv says why.")
    lines += [f"{job.job} {job.waits_for}." for job in planned.jobs if job.waits_for]
    ready = sum(job.answer == "ready" for job in planned.jobs)
    asked = sum(question.severity != "note" for question in planned.questions)
    lines.append(f"{ready} of {len(planned.jobs)} jobs ready; questions to settle: {asked}.")
    earlier = planned.summary.get("earlier")
    if isinstance(earlier, dict):
        lines.append(
            "{moved} of {pieces} pieces promised before are not promised from there any more.".format(**earlier)
        )
    promising = planned.summary["promising"]
    if isinstance(promising, dict) and promising["policy"] != STRICT:
        lines.append(f"Who gets the stock: {promising['policy']}; {promising['status']}.")
    if planned.most_kits is not None:
        lines += _most_kits_text(planned.most_kits)
    return "\n".join(lines)


def _most_kits_text(most: MostKits) -> list[str]:
    won = int((most.changed["completed_by_most_kits"] == "yes").sum())
    lost = len(most.changed) - won
    return [
        f"What if only their number counted: {most.most} kits, not {most.by_plan} ({most.policy}; {most.status}).",
        f"Of the jobs staged by {most.near_until} that would win {won} and lose {lost}; see {MOST_KITS}.",
    ]


def _earlier(order: Order) -> pd.DataFrame | None:
    """The promises of an earlier output, as text, or those of the records; None where there are none.

    Raises:
        Refusal: ``earlier-unreadable``.
    """
    if order.keep_promised:
        promises = open_promises()
        return None if promises.empty else promises
    folder = order.earlier
    if folder is None:
        return None
    try:
        return pd.read_csv(folder / "promises.csv", dtype=str, keep_default_na=False)
    except (OSError, ValueError) as error:
        message = f"{folder} holds no promises.csv that can be read, so it is no earlier plan: {error}"
        raise Refusal("earlier-unreadable", message, {"folder": str(folder)}) from None


def write_questions_aside(questions: Sequence[Question], raw: RawBook, out: Path) -> None:
    """Write the questions about sheets that were not taken; what the folder held of former questions is replaced.

    Raises:
        Refusal: ``output-not-ours``, ``output-not-written``.
    """
    if out.exists() and (not out.is_dir() or {entry.name for entry in out.iterdir()} - {QUESTIONS, QUESTIONS_BOOK}):
        message = f"{out} holds other things than questions; name an empty or a new folder."
        raise Refusal("output-not-ours", message, {"out": str(out)})
    with _taking_the_place_of(out) as folder:
        _write_questions(questions, raw, folder)


@contextmanager
def taking_a_new_place(path: Path) -> Iterator[Path]:
    """A path to write a file or a folder at; when all is written it is ``path``, and else nothing remains of it.

    Raises:
        Refusal: ``output-not-ours``: something is there already; ``output-not-written``.
    """
    path = path.resolve()
    if path.exists():
        raise Refusal("output-not-ours", f"{path.name} is there already; name a new one.", {"path": str(path)})
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=f".{path.name}-", dir=path.parent) as aside:
            written = Path(aside) / path.name
            yield written
            written.rename(path)
    except OSError as error:
        message = f"{path.name} can't be written: {error.strerror or error}."
        raise Refusal("output-not-written", message, {"path": str(path)}) from error


def _read(order: Order, stages: Stages) -> RawBook:
    if order.source is None:
        return recorded_sheets(order.as_of)
    raw = read_raw_book(order.source, stages.read)
    return adopt(*order.foreign, raw, said=order.said) if order.foreign else raw


@contextmanager
def _taking_the_place_of(out: Path) -> Iterator[Path]:
    """A folder to write in; when all is written it takes the place of ``out``, and else nothing remains of it.

    Raises:
        Refusal: ``output-not-written``.
    """
    out = out.resolve()
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=f".{out.name}-", dir=out.parent) as aside:
            written, former = Path(aside) / "written", Path(aside) / "former"
            written.mkdir()
            yield written
            if out.exists():
                out.rename(former)
            written.rename(out)
    except OSError as error:
        message = f"The plan can't be written to {out}: {error.strerror or error}."
        raise Refusal("output-not-written", message, {"out": str(out)}) from error


def _write_questions(questions: Sequence[Question], raw: RawBook, folder: Path) -> None:
    write_csv(_question_table(questions), folder / QUESTIONS)
    write_questions_workbook(folder / QUESTIONS_BOOK, raw, questions)


def _question_table(questions: Iterable[Question]) -> pd.DataFrame:
    """One row a question; the row number is blank where a whole sheet is meant."""
    titles = [field.name for field in fields(Question)]
    table = pd.DataFrame(map(astuple, questions), columns=titles, dtype=object)
    return table.assign(row=table["row"].replace(0, ""))


def _write_json(path: Path, content: object) -> None:
    path.write_text(json.dumps(content, sort_keys=True, indent=2, default=str) + "\n", encoding="utf-8")
