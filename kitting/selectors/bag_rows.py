"""Bags as lists show them: what the label says and what comes next, in a fixed number of queries."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, QuerySet

from inventory.models import Balance
from kitting.calculation.bag_states import (
    ARRIVE,
    BROKEN,
    CANCELLED,
    CHECK,
    CHECKED,
    CLOSE,
    CLOSED,
    DRAFT,
    GIVE,
    IN_WORK,
    INSTALL,
    ISSUE,
    ISSUED,
    LISTED,
    ON_HOLD,
    PICK,
    PICKING,
    PUT_BACK,
    REOPENED,
    RETURNING,
    SHORT,
    STAGE,
    STAGED,
    TURN_IN,
    BagFacts,
)
from kitting.calculation.natural_order import natural_key
from kitting.models import Bag
from kitting.selectors.bag_contents import Contents, contents_of, facts_of_all, label_code, label_state

REWORK, DECIDE = "rework", "decide its lines"
NOTHING_YET = "NOTHING IN IT YET"
TO_DO = (PICK, CHECK, STAGE, ARRIVE, ISSUE, INSTALL, TURN_IN)
_NEXT = {
    DRAFT: DECIDE, LISTED: PICK, SHORT: CHECK, CHECKED: STAGE, STAGED: ISSUE, ISSUED: INSTALL, IN_WORK: INSTALL,
    REOPENED: REWORK, BROKEN: REWORK, ON_HOLD: REWORK, CLOSED: "",
}  # fmt: skip
_GOOD_STATES = (LISTED, PICKING, SHORT, CHECKED, STAGED)


@dataclass(frozen=True, slots=True)
class BagRow:
    """A bag with its contents.

    Args:
        bag, contents: the bag and what is in it.
        code: number on its label.
        label: what its label says.
        comes_next: the step that waits, one of ``TO_DO`` or words; '' for none.
        problem: why it can't go on as it is, '' where it can.
    """

    bag: Bag
    contents: Contents
    code: str
    label: str
    comes_next: str
    problem: str


def bag_rows(bags: QuerySet[Bag]) -> list[BagRow]:
    """Bags in the order of their cutovers; 11 queries, one more where one is superseded, one where one has a label."""
    found = [*bags.select_related("job__recipe", "depot")]
    contents = contents_of(found)
    facts = facts_of_all(contents.values())
    rows = [_row(contents[bag.pk], facts[bag.pk]) for bag in found]
    return sorted(rows, key=lambda row: (row.bag.job.cutover or "9", natural_key(row.bag.job.job), row.bag.number))


def not_ended(depots: Iterable[str] = ()) -> QuerySet[Bag]:
    """Bags that are not closed, nor cancelled with nothing inside, at these depots or at all."""
    inside = Balance.objects.filter(place=OuterRef("place"), quantity__gt=0)
    found = Bag.objects.exclude(state=CLOSED).exclude(~Exists(inside), state=CANCELLED)
    wanted = [*depots]
    return found.filter(depot__depot__in=wanted) if wanted else found


def waiting(rows: Sequence[BagRow], step: str) -> list[BagRow]:
    """The bags for which a step comes next; turned in is whatever is out with a crew."""
    out = (ISSUED, IN_WORK, RETURNING) if step == TURN_IN else ()
    return [row for row in rows if row.comes_next == step or row.bag.state in out]


def _row(one: Contents, facts: BagFacts) -> BagRow:
    problem = ""
    if one.bag.state in _GOOD_STATES:
        problem = "; ".join(filter(None, (
            facts.superseded,
            facts.elsewhere,
            f"HOLD: {', '.join(facts.held)}" if facts.held else "",
            f"EXPIRES BEFORE CUTOVER: {', '.join(facts.out_of_date)}" if facts.out_of_date else "",
            facts.old_label if one.bag.state in (CHECKED, STAGED) else "",
        )))  # fmt: skip
    comes_next = ARRIVE if facts.road else REWORK if problem else _next(one)
    if comes_next == ISSUE and hasattr(one.bag.job, "recipe"):
        comes_next = GIVE
    return BagRow(one.bag, one, label_code(one.bag), _label_words(one), comes_next, problem)


def _label_words(one: Contents) -> str:
    """What the label says; a bag that nobody has begun is not called short."""
    return NOTHING_YET if one.bag.state in (DRAFT, LISTED) and not one.open() else label_state(one)


def _next(one: Contents) -> str:
    state = one.bag.state
    if state == PICKING:
        return PICK if one.missing() else CHECK
    if state == RETURNING:
        return TURN_IN if one.open() else CLOSE
    if state == CANCELLED:
        return PUT_BACK if one.open() else CLOSE
    return _NEXT[state]
