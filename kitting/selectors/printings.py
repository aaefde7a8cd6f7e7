"""Whether a print is still the latest of its paper, and how often one was printed."""

from collections import Counter
from collections.abc import Iterable

from django.db.models import Count

from kitting.models import Printing, QueuedPaper
from kitting.models.print_queue import WAITING


def superseded_print(*, document: str, subject: str, revision: str) -> str:
    """Why a print of that revision is not to be used; '' where it is the one that was printed last.

    Only revisions that were printed are compared: a bag's scan asks its schedule as well (``superseded``).
    """
    last = Printing.objects.filter(document=document, subject=subject).order_by("-pk").first()
    if last is None or last.revision == revision:
        return ""
    return f"SUPERSEDED BY REV {last.revision or 'none'}: {document} {subject} was printed again on {last.at:%Y-%m-%d}"


def prints_of(document: str, subjects: Iterable[str]) -> Counter[tuple[str, str]]:
    """How often each revision of a paper was printed, by subject and revision; one query."""
    found = Printing.objects.filter(document=document, subject__in=[*subjects])
    return Counter(found.values_list("subject", "revision"))


def papers_waiting(depots: Iterable[str]) -> list[tuple[str, int]]:
    """How many papers wait in the print queue of each of these depots, or of every one; one query."""
    found = QueuedPaper.objects.filter(ended=WAITING)
    found = found.filter(depot__depot__in=[*depots]) if depots else found
    return [*found.values_list("depot__depot").annotate(papers=Count("pk")).order_by("depot__depot")]
