"""The papers of a plan: pick lists, bag labels, night cards, the shortage report and the reorder sheet."""

import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from kitting.calculation.plan_result import Plan
from kitting.documents.bag_labels import SIZES_MM, write_bag_labels
from kitting.documents.inner_labels import write_inner_labels
from kitting.documents.job_papers import JobPaper
from kitting.documents.layout import save
from kitting.documents.nearest_pieces import NearestPieces
from kitting.documents.night_card import write_night_cards
from kitting.documents.pick_list import PickList, pick_flow, pick_lists, write_pick_csv, write_pick_workbook
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.record_papers import Printed
from kitting.documents.reorder_sheet import reorder_flow, write_reorder_tables
from kitting.documents.shortage_report import shortage_flow, write_shortage_csv, write_shortage_workbook
from kitting.documents.wording import Words

__all__ = ["pick_list_of", "print_document", "write_documents"]


Written = Callable[[Path], Sequence[Path]]


def write_documents(plan: Plan, out_dir: Path, *, jobs: Sequence[str] | None = None) -> tuple[Path, ...]:
    """Write the papers of a plan; the same plan gives the same bytes.

    Args:
        plan: what to print.
        out_dir: folder to write into; it is made if it is not there.
        jobs: jobs whose pick lists, labels and night cards are written; None means all. The shortage report and the
            reorder sheet always cover all jobs, because their sums do.

    Returns:
        The files written: the papers of each job in the plan's order, then the shortage report and the reorder sheet.
    """
    out_dir.mkdir(parents=True, exist_ok=True)
    papers = PlanPapers(plan, [one.job for one in plan.jobs if jobs is None or one.job in jobs])
    return tuple(path for stem, write in _documents(papers) for path in write(out_dir / stem))


def print_document(plan: Plan, name: str, printed: Printed) -> bytes:
    """One paper of a plan as PDF for a person who prints it now.

    Args:
        plan: what to print.
        name: of its file, as ``write_documents`` names it.
        printed: who prints, when, the how many-th time.

    Raises:
        KeyError: the plan has no such paper.
    """
    stem = name.removesuffix(".pdf")
    papers = PlanPapers(plan, [one.job for one in plan.jobs if stem.startswith(f"{_file_name(one.job)}-")])
    write = dict(_documents(papers.as_printed(printed)))[stem]
    with TemporaryDirectory() as folder:
        found = {path.name: path for path in write(Path(folder) / stem)}
        return found[name].read_bytes()


def pick_list_of(plan: Plan, name: str) -> PickList | None:
    """The pick list in a file, as ``write_documents`` names it; None where that is another paper."""
    stem = name.removesuffix(".pdf")
    papers = PlanPapers(plan, [one.job for one in plan.jobs if stem.startswith(f"{_file_name(one.job)}-pick-list-")])
    words = Words(plan.book.policies.wording)
    found = (pick for job in papers.jobs for pick in pick_lists(papers, papers.paper(job), words))
    return next((one for one in found if _pick_name(one) == stem), None)


def _pick_name(pick: PickList) -> str:
    return f"{_file_name(pick.paper.answer.job)}-pick-list-{'-to-'.join(map(_file_name, pick.name))}"


def _documents(papers: PlanPapers) -> Iterator[tuple[str, Written]]:
    """Name of each paper without its ending, and what writes its files beside each other."""
    words, nearest = Words(papers.plan.book.policies.wording), NearestPieces(papers)
    for job in papers.jobs:
        yield from _job_documents(papers, nearest, papers.paper(job), words)
    yield "shortage-report", lambda path: _shortage_report(path, papers, words)
    yield "reorder-sheet", lambda path: _reorder_sheet(path, papers, words)


def _job_documents(
    papers: PlanPapers, nearest: NearestPieces, paper: JobPaper, words: Words
) -> Iterator[tuple[str, Written]]:
    name = _file_name(paper.answer.job)
    for pick in pick_lists(papers, paper, words):
        yield _pick_name(pick), partial(_pick_list, papers=papers, pick=pick, words=words)
    for size in SIZES_MM:
        labels = partial(write_bag_labels, papers=papers, paper=paper, size=size, words=words)
        yield f"{name}-bag-labels-{size}", _as_pdf(labels)
    yield f"{name}-inner-labels", _as_pdf(partial(write_inner_labels, papers=papers, paper=paper))
    cards = partial(write_night_cards, papers=papers, nearest=nearest, paper=paper, words=words)
    yield f"{name}-night-cards", _as_pdf(cards)


def _as_pdf(write: Callable[[Path], Path]) -> Written:
    return lambda path: [write(_ending(path, "pdf"))]


def _ending(path: Path, ending: str) -> Path:
    return path.with_name(f"{path.name}.{ending}")


def _pick_list(path: Path, papers: PlanPapers, pick: PickList, words: Words) -> list[Path]:
    title = f"Pick list {_file_name(pick.paper.answer.job)}"
    return [save(_ending(path, "pdf"), [pick_flow(papers, pick, words)], title),
            write_pick_workbook(_ending(path, "xlsx"), pick), write_pick_csv(_ending(path, "csv"), pick)]  # fmt: skip


def _shortage_report(path: Path, papers: PlanPapers, words: Words) -> list[Path]:
    return [save(_ending(path, "pdf"), [shortage_flow(papers, words)], "Shortage report"),
            write_shortage_workbook(_ending(path, "xlsx"), papers),
            write_shortage_csv(_ending(path, "csv"), papers)]  # fmt: skip


def _reorder_sheet(path: Path, papers: PlanPapers, words: Words) -> list[Path]:
    flow = reorder_flow(papers, words)
    return [save(_ending(path, "pdf"), [flow], "Reorder sheet"), *write_reorder_tables(path.parent, papers, words)]


def _file_name(text: str) -> str:
    """``text`` as part of a file's name on any system."""
    return re.sub(r"[^\w.-]+", "_", text).strip(".") or "_"
