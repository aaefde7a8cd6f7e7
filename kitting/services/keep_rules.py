"""Keep the rule book in use: each table whose content is not that of the live revision becomes a new one."""

from collections.abc import Mapping
from datetime import datetime

import pandas as pd

from kitting.calculation.rule_book import default_frame, rule_book
from kitting.models import RuleRevision
from kitting.selectors.rule_revisions import live_rules


def keep_rules(given: Mapping[str, pd.DataFrame], *, by: str, at: datetime) -> tuple[str, ...]:
    """Store the tables that are new or differ; a table without a sheet stays as it is, at first the packaged one.

    Returns each new revision in words: table, revision, and the one before.

    Raises:
        Refusal: ``rules-in-doubt``: a rule sheet can't be used.
    """
    book, live = rule_book(given), live_rules()
    new, told = [], []
    for name, table in book.tables.items():
        before = live.get(name)
        if name not in given and before is not None:
            continue
        frame = given[name].drop(columns="row") if name in given else default_frame(name)
        columns, rows = list(map(str, frame.columns)), frame.to_numpy().tolist()
        if before is not None and (before.columns, before.rows) == (columns, rows):
            continue
        new.append(
            RuleRevision(
                table=name,
                number=before.number + 1 if before else 1,
                revision=table.revision,
                columns=columns,
                rows=rows,
                live_from=at.date(),
                loaded_by=by,
                loaded_at=at,
            )
        )
        told.append(f"{name}: {table.revision}" + (f", before it {before.revision}" if before else ""))
    RuleRevision.objects.bulk_create(new)
    return tuple(told)
