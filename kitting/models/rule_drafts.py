"""Records of rules on their way into the book: drafts, and the examples that every publication must pass."""

from django.db import models
from django.db.models import F, Q

from jobs.models import NAME_LENGTH
from kitting.models.asking import Asked, two_persons

DRAFT, EXAMPLES_PASS, REVIEWED, PUBLISHED, DROPPED = "draft", "examples pass", "reviewed", "published", "dropped"
MUST_GIVE, MUST_REFUSE = "give", "refuse"


class RuleDraft(Asked):
    """Decision tables that somebody proposes together, with a note in one sentence: drafted, reviewed, published.

    ``tables`` holds columns and rows as text by table, ``based_on`` the number of the revision that each was drafted
    from, ``examples`` the examples that come with it, ``preview`` what its publisher last saw of the lines that change.
    """

    tables = models.JSONField()
    based_on = models.JSONField()
    examples = models.JSONField(default=list)
    preview = models.JSONField(null=True, blank=True)
    published_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    published_at = models.DateTimeField(null=True, blank=True)
    live_from = models.DateField(null=True, blank=True)

    class Meta:
        """Who reviews and who publishes is not who drafted."""

        constraints = (
            *two_persons("rule_draft"),
            models.CheckConstraint(
                condition=Q(published_by="", live_from__isnull=True)
                | (
                    ~Q(published_by="")
                    & ~Q(published_by=F("asked_by"))
                    & ~Q(decided_by="")
                    & Q(live_from__isnull=False)
                ),
                name="rule_draft_published_by_another",
            ),
        )

    def __str__(self) -> str:
        return f"rule draft {self.pk}"


class RuleExample(models.Model):
    """Facts for which a decision table must give, or must refuse, a kind, a class, or a very stock code.

    Facts are texts by name; a fact that is not among them is not known, ``(blank)`` is a blank one.
    """

    name = models.CharField(max_length=60, unique=True)
    table = models.CharField(max_length=60)
    must = models.CharField(max_length=10, choices=[(word, word) for word in (MUST_GIVE, MUST_REFUSE)])
    gives = models.CharField(max_length=60)
    quantity = models.CharField(max_length=20, blank=True)
    stock_code = models.CharField(max_length=60, blank=True)
    facts = models.JSONField()
    note = models.TextField(blank=True)

    def __str__(self) -> str:
        return self.name
