"""Papers that wait to be printed: what is to come out together on a day, until a person says that it is on paper."""

from django.db import models
from django.db.models import Q

from inventory.models import Depot
from jobs.models import NAME_LENGTH, Job
from kitting.models.bags import Bag
from kitting.models.printings import Printing

WAITING, ON_PAPER, TAKEN_OFF = "", "on paper", "taken off"
QUEUE_ENDS = (ON_PAPER, TAKEN_OFF)


class QueuedPaper(models.Model):
    """A paper of a bag or of a job in the print queue of a depot; it is drawn when the file is made.

    ``name`` is that of a paper of the plan, '' for one of the books. ``printing`` is the print that its file was made
    for: a file that is made again while the paper waits is the same print.
    """

    depot = models.ForeignKey(Depot, on_delete=models.PROTECT, related_name="queued_papers")
    day = models.DateField()
    document = models.CharField(max_length=40)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="queued_papers")
    bag = models.ForeignKey(Bag, on_delete=models.PROTECT, null=True, blank=True, related_name="queued_papers")
    name = models.CharField(max_length=200, blank=True)
    asked_by = models.CharField(max_length=NAME_LENGTH)
    asked_at = models.DateTimeField()
    printing = models.ForeignKey(Printing, on_delete=models.PROTECT, null=True, blank=True, related_name="queued")
    ended = models.CharField(max_length=20, blank=True, choices=[(end, end) for end in QUEUE_ENDS])
    ended_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        """A paper waits once a day; what has ended says by whom, and what is on paper had a file."""

        constraints = (
            models.UniqueConstraint(
                fields=("depot", "day", "document", "bag"), condition=Q(ended=WAITING, bag__isnull=False),
                name="queued_once_of_a_bag",
            ),
            models.UniqueConstraint(
                fields=("depot", "day", "document", "job", "name"), condition=Q(ended=WAITING, bag=None),
                name="queued_once_of_a_job",
            ),
            models.CheckConstraint(
                condition=Q(ended=WAITING, ended_by="", ended_at=None)
                | (Q(ended=ON_PAPER, printing__isnull=False) | Q(ended=TAKEN_OFF))
                & ~Q(ended_by="")
                & Q(ended_at__isnull=False),
                name="queued_paper_ends_by_a_person",
            ),
        )  # fmt: skip

    def __str__(self) -> str:
        return f"{self.document} {self.bag or self.job}"
