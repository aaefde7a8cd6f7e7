"""The Friday page: the next ten jobs on one page; more of them go on a second page, in letters of the same size."""

from dataclasses import dataclass

from reportlab.pdfgen.canvas import Canvas

from kitting.calculation.answers import WORST_FIRST
from kitting.documents.layout import Column, Mark
from kitting.documents.marks import draw_answer
from kitting.documents.record_papers import Printed, pdf_bytes, record_flow

COLUMNS = (
    Column("Job", 50, bold=True),
    Column("Cutover", 32),
    Column("Answer", 25, bold=True),
    Column("What limits it", 47),
    Column("Bags done", 16, align="right"),
    Column("Owner", 20),
)
JOBS_ON_A_PAGE = 10


@dataclass(frozen=True, slots=True)
class FridayJob:
    """One job: ``answer`` is one of the six, or says that it isn't planned; ``limit`` is the line that decides it."""

    job: str
    title: str
    cutover: str
    answer: str
    limit: str
    bags_done: int
    bags: int
    owner: str


def friday_page(jobs: tuple[FridayJob, ...], week: str, printed: Printed, *, ahead: int = 0) -> bytes:
    """The page as PDF.

    Args:
        jobs: in the order of their cutovers.
        week: as text, such as ``2026-03-06``.
        printed: who prints, when, the how many-th time.
        ahead: how many jobs are ahead in all, where they are more than these.
    """
    count = f"{len(jobs)} {'job' if len(jobs) == 1 else 'jobs'}"
    if ahead > len(jobs):
        count = f"The next {count} of {ahead}"
    flow = record_flow(
        printed, title="FRIDAY PAGE", subject=f"Jobs ahead on {week}", facts=(count,), number=("F", week)
    )
    for start in range(0, len(jobs), JOBS_ON_A_PAGE):
        if start:
            flow.new_page()
        flow.table(COLUMNS, [_cells(job, printed) for job in jobs[start : start + JOBS_ON_A_PAGE]])
    if not jobs:
        flow.text("No job is ahead.")
    return pdf_bytes([flow], f"Friday page {week}")


def _cells(job: FridayJob, printed: Printed) -> tuple[str | Mark, ...]:
    def shape(canvas: Canvas, x: float, y: float, side: float) -> None:
        draw_answer(canvas, x, y, side, job.answer)

    answer = Mark(shape, job.answer.upper()) if job.answer in WORST_FIRST else job.answer.upper()
    limit = printed.words(job.limit) or "–"
    return f"{job.job} · {job.title}", job.cutover, answer, limit, f"{job.bags_done} of {job.bags}", job.owner or "–"
