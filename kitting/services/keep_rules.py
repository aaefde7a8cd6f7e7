"""Keep the rule book in use: the tables that books begin with are live at once, later ones are drafts."""

from collections.abc import Mapping
from datetime import datetime

import pandas as pd

from kitting.calculation.rule_book import default_frame, rule_book
from kitting.models import RuleDraft, RuleRevision
from kitting.selectors.clock import day_at
from kitting.selectors.rule_revisions import last_rules
from kitting.services.draft_rules import propose, revision_names


def keep_rules(given: Mapping[str, pd.DataFrame], *, by: str, at: datetime) -> tuple[str, ...]:
    """Store the tables that the books don't have, the packaged one where no sheet is given; draft those that differ.

    Opening the books needs one person, as opening balances do; what changes live rules needs a second one. Returns in
    words each new revision, and each table that waits for review.

    Raises:
        Refusal: ``rules-in-doubt``: a rule sheet can't be used.
    """
    book, last = rule_book(given), last_rules()
    frames = {name: frame.drop(columns="row") for name, frame in given.items()}
    first = [name for name in book.tables if name not in last]
    RuleRevision.objects.bulk_create(
        RuleRevision(
            table=name,
            number=1,
            revision=book.revision(name),
            columns=list(map(str, frame.columns)),
            rows=frame.to_numpy().tolist(),
            live_from=day_at(at),
            loaded_by=by,
            loaded_at=at,
        )
        for name in first
        for frame in (frames[name] if name in frames else default_frame(name),)
    )
    later = {name: frame for name, frame in frames.items() if name in last}
    draft = propose(later, (), note="loaded with other sheets", by=by, at=at) if later else None
    return (*(f"{name}: {book.revision(name)}" for name in first), *_drafted(draft, last))


def _drafted(draft: RuleDraft | None, last: Mapping[str, RuleRevision]) -> tuple[str, ...]:
    if draft is None:
        return ()
    names = revision_names(draft).items()
    return tuple(f"{table}: {name} waits as {draft}; {last[table].revision} stays live" for table, name in names)
