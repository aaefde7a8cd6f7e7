"""Which revision of each decision table is live, and what is on its way into the book."""

from datetime import date

import pandas as pd
from django.db.models import QuerySet

from kitting.calculation.rule_examples import DROP, Example
from kitting.models import DROPPED, PUBLISHED, RuleDraft, RuleExample, RuleRevision
from kitting.selectors.clock import books_now, day_at


def live_rules(on: date | None = None) -> dict[str, RuleRevision]:
    """The revision of each table that is live on a day (today where none is named), by the table's name.

    The last one whose day has come; the first one has been live from the start, whatever its day.
    """
    return _live(on or day_at(books_now()), RuleRevision.objects.all())


def rule_book_on(day: date) -> str:
    """The number of each table's revision that is live on a day, as ``end accessories 2, spares 1``; one query."""
    live = _live(day, RuleRevision.objects.only("table", "number", "live_from"))
    return ", ".join(f"{table} {revision.number}" for table, revision in live.items())


def _live(day: date, revisions: QuerySet[RuleRevision]) -> dict[str, RuleRevision]:
    live: dict[str, RuleRevision] = {}
    for revision in revisions.order_by("table", "number"):
        if revision.table not in live or revision.live_from <= day:
            live[revision.table] = revision
    return live


def last_rules() -> dict[str, RuleRevision]:
    """The last revision of each table, also one whose day has not come yet; one query."""
    return {revision.table: revision for revision in RuleRevision.objects.order_by("table", "number")}


def frame_of(columns: list[str], rows: list[list[str]]) -> pd.DataFrame:
    """A table's kept text as the frame from which it is read."""
    return pd.DataFrame(rows, columns=columns, dtype=object)


def tables_of(draft: RuleDraft) -> dict[str, pd.DataFrame]:
    """The tables of a draft as text frames."""
    return {name: frame_of(**text) for name, text in draft.tables.items()}


def state_on(draft: RuleDraft, day: date) -> str:
    """The state of a draft on a day; a published one is to come, live, or replaced in every table."""
    if draft.state != PUBLISHED or draft.live_from is None:
        return draft.state
    if day < draft.live_from:
        return f"live from {draft.live_from.isoformat()}"
    live = live_rules(day)
    is_live = not draft.tables or any(live[name].number == number + 1 for name, number in draft.based_on.items())
    return "live" if is_live else "replaced"


def open_drafts() -> list[RuleDraft]:
    """Drafts that are neither published nor dropped, the oldest first."""
    return list(RuleDraft.objects.exclude(state__in=(PUBLISHED, DROPPED)).order_by("pk"))


def examples_with(draft: RuleDraft) -> tuple[Example, ...]:
    """The examples that hold once a draft is published, by name; one query."""
    kept = {one.name: _example(one) for one in RuleExample.objects.order_by("name")}
    kept |= {one["name"]: Example(**one) for one in draft.examples}
    return tuple(kept[name] for name in sorted(kept) if kept[name].must != DROP)


def _example(kept: RuleExample) -> Example:
    return Example(kept.name, kept.table, kept.must, kept.gives, kept.quantity, kept.stock_code, kept.facts, kept.note)
