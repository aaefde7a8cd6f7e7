"""The papers of a plan: pick lists, bag labels, night cards, the shortage report and the reorder sheet."""

import re
from collections.abc import Sequence
from pathlib import Path

from kitting.calculation.plan_result import Plan
from kitting.documents.bag_labels import SIZES_MM, write_bag_labels
from kitting.documents.inner_labels import write_inner_labels
from kitting.documents.job_papers import JobPaper
from kitting.documents.layout import save
from kitting.documents.nearest_pieces import NearestPieces
from kitting.documents.night_card import write_night_cards
from kitting.documents.pick_list import pick_flow, pick_lists, write_pick_workbook
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.reorder_sheet import reorder_flow, write_reorder_tables
from kitting.documents.shortage_report import shortage_flow, write_shortage_workbook
from kitting.documents.wording import Words

__all__ = ["write_documents"]


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
    words = Words(plan.book.policies.wording)
    papers = PlanPapers(plan, [one.job for one in plan.jobs if jobs is None or one.job in jobs])
    nearest = NearestPieces(papers)
    written: list[Path] = []
    for job in papers.jobs:
        written += _job_documents(out_dir, papers, nearest, papers.paper(job), words)
    written.append(save(out_dir / "shortage-report.pdf", [shortage_flow(papers, words)], "Shortage report"))
    written.append(write_shortage_workbook(out_dir / "shortage-report.xlsx", papers))
    written.append(save(out_dir / "reorder-sheet.pdf", [reorder_flow(papers, words)], "Reorder sheet"))
    written += write_reorder_tables(out_dir, papers, words)
    return tuple(written)


def _job_documents(
    folder: Path, papers: PlanPapers, nearest: NearestPieces, paper: JobPaper, words: Words
) -> list[Path]:
    name = _file_name(paper.answer.job)
    written = []
    for pick in pick_lists(papers, paper, words):
        stem = f"{name}-pick-list-{_file_name(pick.depot)}"
        written.append(save(folder / f"{stem}.pdf", [pick_flow(papers, pick, words)], f"Pick list {name}"))
        written.append(write_pick_workbook(folder / f"{stem}.xlsx", pick))
    for size in SIZES_MM:
        path = folder / f"{name}-bag-labels-{size}.pdf"
        written.append(write_bag_labels(path, papers, paper, size=size, words=words))
    written.append(write_inner_labels(folder / f"{name}-inner-labels.pdf", papers, paper))
    written.append(write_night_cards(folder / f"{name}-night-cards.pdf", papers, nearest, paper, words))
    return written


def _file_name(text: str) -> str:
    """``text`` as part of a file's name on any system."""
    return re.sub(r"[^\w.-]+", "_", text).strip(".") or "_"
