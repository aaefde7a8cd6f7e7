"""Labels of bags that lie about: which revision stands on one, and what has changed in the bag since it was printed."""

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from kitting.models import Bag, Event

_LABEL = re.compile(r"BAG (\S+) REV (\S+)", re.IGNORECASE)
_LISTS = ("bag listed", "bag reopened", "bag still good")
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
        more = len(self.changes) - _NAMED
        named = "; ".join([*self.changes[:_NAMED], *([f"{more} more, see the bag's page"] if more > 0 else ())])
        return f"{told}. Since then: {named}. Print the label again."


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
    told = Event.objects.filter(name__in=_LISTS, subject=str(bag), data__bag=bag.code, data__has_key=_REVISION)
    lists = [*told.order_by("number").values_list("data", flat=True)]
    of_label = [at for at, data in enumerate(lists) if data[_REVISION].upper() == printed]
    if not of_label:
        return OldLabel(bag.revision, printed, None)
    changes = [change for data in lists[of_label[-1] + 1 :] for change in data["changes"]]
    return OldLabel(bag.revision, printed, tuple(changes))


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
