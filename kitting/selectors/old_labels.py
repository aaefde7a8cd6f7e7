"""Labels of bags that lie about: which revision stands on one, and what has changed in the bag since it was printed."""

import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from django.db.models import Max

from kitting.models import BAG_LABEL, Bag, Event

_LABEL = re.compile(r"BAG (\S+) REV (\S+)", re.IGNORECASE)
SENT, STAGED_ELSEWHERE = "bag sent", "bag staged elsewhere"
_CHANGING = ("bag listed", "bag reopened", "bag still good", SENT, STAGED_ELSEWHERE)
_NAMED = 3
_REVISED = "schedule revised"
_REVISION = "revision"


@dataclass(frozen=True, slots=True)
class OldLabel:
    """A label of a revision that the bag's list is not of any more.

    Args:
        live: the revision that the list is of now.
        printed: the revision on the label.
        changes: what has changed in the bag since, in words; empty where nothing has; None where nobody knows.
    """

    live: str
    printed: str
    changes: tuple[str, ...] | None

    @property
    def is_good(self) -> bool:
        """Whether the bag is still what the label says."""
        return self.changes == ()

    @property
    def sentence(self) -> str:
        """What to say to who scans it."""
        told = f"SUPERSEDED BY REV {self.live or 'none'}: this label is of rev {self.printed}"
        if self.changes is None:
            return f"{told}; what has changed since, the bag's page says. Print the label again."
        if self.is_good:
            return f"{told}; nothing in this bag has changed, it is still good. Print its label again."
        return f"{told}. Since then: {_named(self.changes)}. Print the label again."


def read_label(scanned: str) -> tuple[str, str]:
    """Number and revision in what a label's square code holds (``BAG J03-V1-1-C4 REV A | V1 | J03``).

    Other text is a number as it stands, without a revision.
    """
    found = _LABEL.match(scanned.strip())
    return (found[1], found[2].upper()) if found else (scanned, "")


def label_number(scanned: str) -> str:
    """The number in what a label's square code holds; other text as it is."""
    return read_label(scanned)[0]


def old_label(bag: Bag, printed: str, live: str) -> OldLabel | None:
    """What to say of a label of revision ``printed``; None where that is of the bag's list or of the live schedule."""
    if not printed or printed in (bag.revision.upper(), live.upper()):
        return None
    told = Event.objects.filter(name__in=_CHANGING, subject=str(bag), data__bag=bag.code, data__has_key="changes")
    lists = [*told.order_by("number").values_list("data", flat=True)]
    of_label = [at for at, data in enumerate(lists) if data.get(_REVISION, "").upper() == printed]
    if not of_label:
        return OldLabel(bag.revision, printed, None)
    changes = [change for data in lists[of_label[-1] + 1 :] for change in data["changes"]]
    return OldLabel(bag.revision, printed, tuple(changes))


def labels_of_before(bags: Iterable[Bag]) -> dict[int, str]:
    """Why the label that was printed last of a bag is not of its list, or names another depot, where that is so.

    A part that stands in for another since then is such a change: no letter of the schedule tells it, nor of a bag
    that went to another depot. Two queries, the second only where a label was printed.
    """
    papers = {f"{BAG_LABEL} {bag}": bag for bag in bags}
    prints = Event.objects.filter(name="printed", subject__in=papers).values_list("subject")
    printed = {papers[subject].pk: last for subject, last in prints.annotate(Max("number"))}
    if not printed:
        return {}
    of_code = {bag.code: bag.pk for bag in papers.values() if bag.pk in printed}
    later = Event.objects.filter(name__in=_CHANGING, subject__in={str(bag) for bag in papers.values()})
    changes: dict[int, list[str]] = {}
    for number, data in later.filter(number__gt=min(printed.values())).order_by("number").values_list("number", "data"):
        bag = of_code.get(data["bag"])
        if bag and number > printed[bag] and data.get("changes"):
            changes.setdefault(bag, []).extend(data["changes"])
    return {bag: f"OLD LABEL: printed before {_named(told)}; print it again" for bag, told in changes.items()}


def moved_words(depot: str, before: str) -> str:
    """What has changed on a bag's label where it is staged at another depot than it names."""
    return f"staged at {depot}, not at {before}"


def _named(changes: Collection[str]) -> str:
    """The first changes in words, and how many more there are."""
    more = len(changes) - _NAMED
    return "; ".join([*[*changes][:_NAMED], *([f"{more} more, see the bag's page"] if more > 0 else ())])


def revised_runs(wanted: Collection[tuple[str, str]]) -> dict[tuple[str, str], str]:
    """In words which runs a schedule revision changed, by job and letter; one query, none where nothing is wanted."""
    if not wanted:
        return {}
    found = Event.objects.filter(name=_REVISED, subject__in={job for job, _ in wanted}).order_by("number")
    told = {(subject, data[_REVISION]): data for subject, data in found.values_list("subject", "data")}
    return {key: ", ".join(_runs(told[key])) for key in wanted if key in told}


def _runs(data: dict[str, list[str]]) -> Iterator[str]:
    for word in ("new", "changed", "gone"):
        runs = data.get(word, [])
        if runs:
            yield f"run{'s' * (len(runs) > 1)} {', '.join(runs)} {word}"
