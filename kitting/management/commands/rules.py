"""``manage.py rules``: draft decision tables, look at what they would do, review, publish."""

from argparse import ArgumentParser
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from kitting.management.books import now, refused_in_words, today_at, user_name
from kitting.management.commands.plan import iso_date
from kitting.management.commands.what_if import changes_text
from kitting.management.in_columns import in_columns
from kitting.models import RuleDraft
from kitting.roles import STANDARDS_ENGINEER, Actor
from kitting.selectors.rule_revisions import examples_with, last_rules, live_rules, open_drafts
from kitting.services.draft_rules import draft_rules, drop_draft
from kitting.services.publish_rules import Look, look_at_draft, publish_draft, review_draft
from kitting.spreadsheets.reading import read_raw_book


class Command(BaseCommand):
    """The rule book: what is live, what is drafted, and the steps from one to the other."""

    help = "Draft rules from sheets, show what they change, review them as another person, publish them from a day on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        steps = parser.add_subparsers(dest="step", required=True)
        steps.add_parser("list", help="the live revisions and the open drafts")
        draft = steps.add_parser(
            "draft", help="draft the sheets 'rules ...' and 'rule examples' of a workbook or folder"
        )
        draft.add_argument("input", type=Path)
        draft.add_argument("--note", required=True, help="what it is for, in one sentence")
        show = steps.add_parser("show", help="run the examples, list gaps and overlaps, and the open lines that change")
        review = steps.add_parser("review", help="say that it is right; not by who drafted it")
        review.add_argument("--words", required=True, help="what was checked")
        publish = steps.add_parser("publish", help="make it live; not by who drafted it")
        publish.add_argument("--from", type=iso_date, dest="live_from", help="first day, YYYY-MM-DD (default: today)")
        drop = steps.add_parser("drop", help="give a draft up")
        drop.add_argument("--reason", required=True)
        for step in (show, review, publish, drop):
            step.add_argument("number", type=int, help="number of the draft")
        for step in (draft, show, review, publish, drop):
            step.add_argument("--by", default=user_name(), help="name of the standards engineer (default: the user's)")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            said = getattr(self, f"_{options['step']}")(options)
        self.stdout.write(said)

    def _list(self, _options: dict[str, Any]) -> str:
        live = live_rules()
        rows = [("table", "live", "since", "to come")]
        for table, last in last_rules().items():
            one = live[table]
            coming = "" if last.pk == one.pk else f"{last.revision} from {last.live_from}"
            rows.append((table, f"{one.number}: {one.revision}", one.live_from.isoformat(), coming))
        return "\n".join([in_columns(rows), *map(_draft_line, open_drafts())])

    def _draft(self, options: dict[str, Any]) -> str:
        raw = read_raw_book(options["input"])
        draft = draft_rules(raw=raw, note=options["note"], actor=_actor(options), at=now())
        return f"{_draft_line(draft)}\nNothing is live by that: show it, and let another person review it."

    def _show(self, options: dict[str, Any]) -> str:
        look = look_at_draft(number=options["number"], actor=_actor(options), at=now())
        draft = RuleDraft.objects.get(pk=options["number"])
        return "\n".join([_draft_line(draft), *_look_lines(draft, look)])

    def _review(self, options: dict[str, Any]) -> str:
        review_draft(number=options["number"], words=options["words"], actor=_actor(options), at=now())
        return "Reviewed."

    def _publish(self, options: dict[str, Any]) -> str:
        at = now()
        day = options["live_from"] or today_at()
        made = publish_draft(number=options["number"], live_from=day, actor=_actor(options), at=at)
        return "\n".join([*(f"{one.table} {one.number}: {one.revision}" for one in made), f"Live from {day}."])

    def _drop(self, options: dict[str, Any]) -> str:
        drop_draft(number=options["number"], reason=options["reason"], actor=_actor(options), at=now())
        return "Dropped."


def _actor(options: dict[str, Any]) -> Actor:
    return Actor(options["by"], frozenset({STANDARDS_ENGINEER}))


def _draft_line(draft: RuleDraft) -> str:
    tables = ", ".join(sorted(draft.tables)) or "examples only"
    return f"draft {draft.pk} ({draft.state}) by {draft.asked_by}, {tables}: {draft.why}"


def _look_lines(draft: RuleDraft, look: Look) -> Iterator[str]:
    count = len(examples_with(draft))
    yield f"examples: {count - len(look.failed)} of {count} hold"
    yield from (f"  {failed.name} fails: {failed.sentence}" for failed in look.failed)
    for table, found in look.coverage.items():
        new = look.new[table]
        yield f"{table}: {len(found.gaps)} gaps ({len(new.gaps)} new), {len(found.overlaps)} overlaps"
        yield from (f"  {'new: ' if words in new.gaps else ''}{words}" for words in found.gaps)
        yield from (f"  {'new: ' if words in new.overlaps else ''}{words}" for words in found.overlaps)
    yield changes_text(look.changes)
    if look.bags:
        yield f"Pieces lie ready for them in {', '.join(look.bags)}."
