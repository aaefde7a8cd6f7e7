"""Draft decision tables, with the examples that they must keep; nothing is live by that."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime

import pandas as pd

from inventory.services.actions import use_case
from kitting.calculation.rule_book import rule_book
from kitting.calculation.rule_examples import SHEET, Example, read_examples
from kitting.calculation.sheets.all_sheets import RULES
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook, raw_book
from kitting.errors import Refusal
from kitting.models import DRAFT, DROPPED, EXAMPLES_PASS, REVIEWED, RuleDraft
from kitting.roles import STANDARDS_ENGINEER, Actor
from kitting.selectors.clock import day_at
from kitting.selectors.rule_revisions import last_rules, live_rules, open_drafts, tables_of
from kitting.selectors.sheets import sheets_from_records
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.rights import need_draft_rules
from kitting.services.two_persons import locked, need_reason


@use_case
def draft_rules(*, raw: RawBook, note: str, actor: Actor, at: datetime) -> RuleDraft:
    """Draft the ``rules ...`` sheets of a book that differ from what is live, and its examples.

    Args:
        raw: sheets as received; others than ``rules ...`` and ``rule examples`` are not looked at.
        note: what the draft is for, in one sentence.
        actor: who drafts.
        at: the moment.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``nothing-new``; ``rules-in-doubt``; ``examples-in-doubt``.
    """
    need_draft_rules(actor)
    lock_chain()
    given = [sheet for name, sheet in raw.sheets.items() if name.startswith(RULES)]
    standing = sheets_from_records(day_at(at))
    book = read_book(raw_book([*{**standing.sheets, **{sheet.name: sheet for sheet in given}}.values()]))
    rule_book(book.rules)
    names = [sheet.name.removeprefix(RULES) for sheet in given]
    tables = {name: book.rules[name].drop(columns="row") for name in names}
    examples = read_examples(raw.sheets[SHEET]) if SHEET in raw.sheets else ()
    draft = propose(tables, examples, note=need_reason(note, "A draft of rules"), by=actor.name, at=at)
    if draft is None:
        raise Refusal("nothing-new", "These rules are live, or drafted, as they stand.", {})
    return draft


def propose(
    tables: Mapping[str, pd.DataFrame], examples: Sequence[Example], *, note: str, by: str, at: datetime
) -> RuleDraft | None:
    """Keep tables that say something else than the live ones as one draft, in the caller's transaction.

    None where nothing differs, or an open draft says the same.
    """
    last, live = last_rules(), live_rules(day_at(at))
    if not last:
        raise Refusal("no-rules", "The books hold no rules yet: load planning sheets first.", {})
    texts = {
        name: {"columns": list(map(str, frame.columns)), "rows": frame.to_numpy().tolist()}
        for name, frame in tables.items()
    }
    new = {
        name: text
        for name, text in texts.items()
        if all(text != {"columns": one.columns, "rows": one.rows} for one in (last[name], live[name]))
    }
    told = [asdict(example) | {"facts": dict(example.facts)} for example in examples]
    if not (new or told) or any(one.tables == new and one.examples == told for one in open_drafts()):
        return None
    draft = RuleDraft.objects.create(
        state=DRAFT,
        asked_by=by,
        asked_as=STANDARDS_ENGINEER,
        asked_at=at,
        why=note,
        tables=new,
        based_on={name: last[name].number for name in new},
        examples=told,
    )
    data = {"tables": sorted(new), "examples": [one["name"] for one in told], "note": note}
    record_events([Happening("rules drafted", str(draft), data, addressed_to=STANDARDS_ENGINEER)], by=by, at=at)
    return draft


@use_case
def drop_draft(*, number: int, reason: str, actor: Actor, at: datetime) -> None:
    """Give a draft up, one's own or another's.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``no-such-request``; ``decided-already``.
    """
    need_draft_rules(actor)
    told = need_reason(reason, "A draft that is dropped")
    draft = locked(RuleDraft, number, DRAFT, EXAMPLES_PASS, REVIEWED)
    draft.state = DROPPED
    draft.save(update_fields=("state",))
    record_events([Happening("rule draft dropped", str(draft), {"reason": told})], by=actor.name, at=at)


def revision_names(draft: RuleDraft) -> dict[str, str]:
    """The name that lines will carry, by table."""
    book = rule_book(tables_of(draft))
    return {name: book.revision(name) for name in draft.tables}
