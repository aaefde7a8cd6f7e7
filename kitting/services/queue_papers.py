"""Put papers in the print queue of a depot, note the file that was made of them, and that they are on paper."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from inventory.models import Depot
from inventory.services.actions import use_case
from jobs.models import Job
from kitting.errors import Refusal
from kitting.models import Bag, Printing, QueuedPaper
from kitting.models.print_queue import ON_PAPER, WAITING
from kitting.roles import Actor
from kitting.services.record_events import Happening, lock_chain, record_events


@dataclass(frozen=True, slots=True)
class WantedPaper:
    """A paper of a bag or of a job; ``name`` is that of a paper of the plan."""

    document: str
    job: Job
    bag: Bag | None = None
    name: str = ""


@use_case
def queue_papers(*, depot: Depot, day: date, papers: Sequence[WantedPaper], actor: Actor, at: datetime) -> int:
    """Let papers wait to be printed for a day, and say how many of them did not wait yet.

    Who may see what a paper shows may print it; the page that shows it has asked for that right.
    """
    lock_chain()
    waiting = QueuedPaper.objects.filter(depot=depot, day=day, ended=WAITING)
    known = {*waiting.values_list("document", "job", "bag", "name")}
    new = [
        QueuedPaper(
            depot=depot, day=day, document=one.document, job=one.job, bag=one.bag, name=one.name, asked_by=actor.name,
            asked_at=at,
        )
        for one in papers
        if (one.document, one.job.pk, one.bag.pk if one.bag else None, one.name) not in known
    ]  # fmt: skip
    if new:
        QueuedPaper.objects.bulk_create(new)
        told = {"papers": sorted(map(str, new))}
        record_events([Happening("papers queued", f"{depot} {day}", told)], by=actor.name, at=at)
    return len(new)


@use_case
def link_print(*, paper: QueuedPaper, subject: str, revision: str, number: int) -> None:
    """Note for which print the file of a waiting paper was made."""
    printing = Printing.objects.get(document=paper.document, subject=subject, revision=revision, number=number)
    QueuedPaper.objects.filter(pk=paper.pk, ended=WAITING).update(printing=printing)


@use_case
def end_papers(*, depot: Depot, day: date, document: str, how: str, actor: Actor, at: datetime) -> int:
    """Take the waiting papers of a kind and day off the queue: they are on paper, or nobody needs them any more.

    Args:
        depot, day, document: which.
        how: ``on paper``, of those a file was made of; ``taken off``, of all.
        actor, at: who says so, and when.

    Raises:
        Refusal: ``nothing-waits``: none of them waits, or no file was made of any.
    """
    lock_chain()
    found = QueuedPaper.objects.filter(depot=depot, day=day, document=document, ended=WAITING)
    if how == ON_PAPER:
        found = found.filter(printing__isnull=False)
    papers = [*found.select_related("job", "bag__job").order_by("pk")]
    if not papers:
        message = (
            f"No {document.replace('-', ' ')} of {day} waits at {depot}{' whose file was made' * (how == ON_PAPER)}."
        )
        raise Refusal("nothing-waits", message, {"document": document})
    found.update(ended=how, ended_by=actor.name, ended_at=at)
    told = {"papers": sorted(map(str, papers))}
    record_events([Happening(f"papers {how}", f"{depot} {day}", told)], by=actor.name, at=at)
    return len(papers)
