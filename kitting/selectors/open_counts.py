"""Lists of a count with what each of their lines waits for: a figure, another person, an explanation, an approval."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from inventory.selectors.words import quantity_text
from kitting.models import COUNTED, EXPLAINED, LISTED, RECOUNTED, TO_FIND, CountLine, CountList
from kitting.selectors.counting import needs_approval
from kitting.selectors.decisions import Waiting
from kitting.selectors.policies import count_limit

COUNT, RECOUNT, EXPLAIN, APPROVAL, FIND = (
    "first count", "count by another person", "explanation", "approval of another person", "bag to be found",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class ListState:
    """A list of a count with its lines in walk order, each with what it waits for ('' for nothing)."""

    counted: CountList
    lines: Sequence[tuple[CountLine, str]]

    @property
    def waits(self) -> Counter[str]:
        """How many lines wait for what."""
        return Counter(what for _, what in self.lines if what)

    @property
    def waits_text(self) -> str:
        """The same in words: ``2 first count; 1 explanation``."""
        return "; ".join(f"{number} {what}" for what, number in self.waits.items())

    @property
    def may_post(self) -> bool:
        """Whether nothing stands in the way of posting: a bag that is still to be found does not."""
        return self.counted.posted_id is None and not self.waits.keys() - {FIND}

    def waiting(self, what: str) -> list[CountLine]:
        """Lines that wait for something."""
        return [line for line, wanted in self.lines if wanted == what]


def waits_for(line: CountLine, limit: int) -> str:
    """What comes next of a line, '' where it is settled.

    Args:
        line: as it was compared last.
        limit: thousandths above which a difference needs an approval.
    """
    differs = line.difference != 0
    if line.state in (LISTED, TO_FIND):
        return COUNT if line.state == LISTED else FIND
    if line.state in (COUNTED, RECOUNTED) and differs:
        return RECOUNT if line.state == COUNTED else EXPLAIN
    return APPROVAL if line.state == EXPLAINED and needs_approval(line, limit) else ""


def list_states(*, depots: Collection[str] = (), closed: int = 0) -> list[ListState]:
    """Open lists, the oldest first; then so many that were posted last; four queries at most.

    Args:
        depots: codes; all of them without.
        closed: how many of the posted ones.
    """
    lists = CountList.objects.filter(depot__depot__in=depots) if depots else CountList.objects.all()
    lists = lists.select_related("depot", "listed", "posted")
    found = [*lists.filter(posted=None).order_by("number")]
    if closed:
        found += lists.exclude(posted=None).order_by("-number")[:closed]
    return [*_states(found)]


def list_state(counted: CountList) -> ListState:
    """One list; two queries."""
    (found,) = _states([counted])
    return found


def _states(lists: Sequence[CountList]) -> Iterable[ListState]:
    limit = count_limit()
    of_list: dict[int, list[tuple[CountLine, str]]] = defaultdict(list)
    lines = CountLine.objects.filter(count_list__in=lists).order_by("position")
    for line in lines.select_related("place__depot", "lot__item", "count_list__depot"):
        of_list[line.count_list_id].append((line, waits_for(line, limit)))
    return (ListState(one, of_list[one.pk]) for one in lists)


def counts_to_approve() -> list[Waiting]:
    """Differences above the limit that are explained and that nobody has agreed to; two queries."""
    limit = count_limit()
    lines = CountLine.objects.filter(state=EXPLAINED, count_list__posted=None).order_by("pk")
    return [
        Waiting(
            line.pk,
            f"{line.lot} at {line.place}: {difference_text(line)}",
            line.explained_by,
            line.seen_at,
            f"{line.cause}: {line.explanation}",
            line.count_list.depot.depot,
            f"counted by {line.counted_by}, recounted by {line.recounted_by}",
            (line.counted_by, line.recounted_by),
        )
        for line in lines.select_related("place__depot", "lot__item", "count_list__depot")
        if line.seen_at and waits_for(line, limit) == APPROVAL
    ]


def difference_text(line: CountLine) -> str:
    """What was found beyond the books or is missing: ``+3 ea``, ``-6 ea``, ``none``."""
    if not line.difference or line.lot is None:
        return "none"
    return f"{'+' if line.difference > 0 else ''}{quantity_text(line.difference, line.lot.item.stock_unit)}"
