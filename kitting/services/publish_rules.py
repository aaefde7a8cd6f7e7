"""From a draft of rules to live ones: looked at, reviewed by another person, published from a day on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

from inventory.services.actions import use_case
from kitting.calculation.bags import assign_bags
from kitting.calculation.plan_result import Plan
from kitting.calculation.planning import plan
from kitting.calculation.rule_book import rule_book
from kitting.calculation.rule_examples import Failed, failing
from kitting.calculation.rule_table import Coverage, check_table
from kitting.calculation.sheets.book import Book, read_book
from kitting.calculation.sheets.raw import RawBook
from kitting.calculation.what_if import LineChange, differences, rule_tables
from kitting.errors import Refusal
from kitting.models import DRAFT, DROPPED, EXAMPLES_PASS, PUBLISHED, REVIEWED, RuleDraft, RuleExample, RuleRevision
from kitting.roles import PLANNER, STOREKEEPER, Actor
from kitting.selectors.bags import Spot, bags_at, codes_of_bags
from kitting.selectors.changed_rules import PUBLISHED_RULES
from kitting.selectors.clock import day_at
from kitting.selectors.expired_uses import past_dates
from kitting.selectors.rule_revisions import examples_with, last_rules, tables_of
from kitting.selectors.sheets import one_moment, sheets_from_records
from kitting.services.recipes import lock_kits, make_up_again
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.rights import need_publish_rules, need_see_rules
from kitting.services.two_persons import attempts_kept, decide, locked, need_another, need_reason

_NAMED = 5


@dataclass(frozen=True, slots=True)
class Look:
    """What a draft would do.

    Args:
        failed: examples that do not hold with it.
        coverage: all gaps and overlaps of its tables.
        new: those of them that the live tables do not have.
        changes: the open lines whose answer, choice or short pieces would differ.
        bags: the bags and staging places, by name, that hold pieces where such a line is.
        spots: the locations of the bags that such lines go into.
    """

    failed: tuple[Failed, ...]
    coverage: Mapping[str, Coverage]
    new: Mapping[str, Coverage]
    changes: tuple[LineChange, ...]
    bags: tuple[str, ...]
    spots: tuple[Spot, ...]


@dataclass(frozen=True)
class _Before:
    """The records without and with a draft, and the day of planning."""

    draft: RuleDraft
    live: RawBook
    drafted: RawBook
    day: date

    @property
    def key(self) -> str:
        """Equal as long as nothing that a plan reads has changed."""
        return f"{self.day.isoformat()} {self.live.digest} {self.drafted.digest}"

    @cached_property
    def live_book(self) -> Book:
        return read_book(self.live)

    @cached_property
    def drafted_book(self) -> Book:
        return read_book(self.drafted)

    def failed(self) -> tuple[Failed, ...]:
        """The examples that do not hold with the draft."""
        examples = examples_with(self.draft)
        return failing(examples, rule_book(self.drafted_book.rules), self.drafted_book) if examples else ()

    @cached_property
    def planned(self) -> tuple[Plan, Plan]:
        """The plan without and with the draft."""
        let_go = past_dates()
        live, drafted = (plan(book, as_of=self.day, past_dates=let_go) for book in (self.live_book, self.drafted_book))
        return live, drafted

    def changes(self) -> tuple[LineChange, ...]:
        """The open lines that differ."""
        return differences(*self.planned)

    def spots(self) -> tuple[Spot, ...]:
        """The locations of the bags that lines which differ go into; those of the lines themselves with them."""
        changes = self.changes()
        lines, jobs = {change.line for change in changes}, {change.job for change in changes}
        spots: set[Spot] = set()
        for made in self.planned:
            of_jobs = made.requirements[made.requirements["job"].isin(jobs).to_numpy()]
            for job, rows in of_jobs.groupby("job"):
                places = zip(rows["line"], rows["structure"], assign_bags(rows)["structure"], strict=True)
                spots |= {(str(job), spot) for line, *both in places if line in lines for spot in both}
        return tuple(sorted(spots))


def look_at_draft(*, number: int, actor: Actor, at: datetime) -> Look:
    """Run the examples, list gaps and overlaps, and plan without and with the draft; that it was looked at is kept.

    Raises:
        Refusal: ``not-allowed``; ``no-such-request``; ``decided-already``: it is published or dropped.
    """
    need_see_rules(actor)
    before = _before(number, at)
    live, drafted = (rule_book(book.rules) for book in (before.live_book, before.drafted_book))
    coverage = {name: check_table(drafted.table(name)) for name in sorted(before.draft.tables)}
    new = {name: _beyond(found, check_table(live.table(name))) for name, found in coverage.items()}
    spots = before.spots()
    look = Look(before.failed(), coverage, new, before.changes(), bags_at({*spots}), spots)
    _keep(look, before, actor, at)
    return look


def _before(number: int, at: datetime) -> _Before:
    with one_moment():
        draft = RuleDraft.objects.filter(pk=number).first()
        if draft is None:
            raise Refusal("no-such-request", f"There is no rule draft {number}.", {"number": number})
        if draft.state in (PUBLISHED, DROPPED):
            raise Refusal("decided-already", f"The {draft} is {draft.state} already.", {"state": draft.state})
        live = sheets_from_records(day_at(at))
    return _Before(draft, live, rule_tables(live, tables_of(draft)), day_at(at))


def _beyond(found: Coverage, standing: Coverage) -> Coverage:
    return Coverage(
        tuple(gap for gap in found.gaps if gap not in standing.gaps),
        tuple(overlap for overlap in found.overlaps if overlap not in standing.overlaps),
    )


@use_case
def _keep(look: Look, before: _Before, actor: Actor, at: datetime) -> None:
    draft = locked(RuleDraft, before.draft.pk, DRAFT, EXAMPLES_PASS, REVIEWED)
    draft.preview = {
        "by": actor.name,
        "at": at.isoformat(),
        "facts": before.key,
        "lines": [change.line for change in look.changes],
        "spots": look.spots,
    }
    if draft.state == DRAFT and not look.failed:
        draft.state = EXAMPLES_PASS
    draft.save(update_fields=("preview", "state"))


@attempts_kept
@use_case
def review_draft(*, number: int, words: str, actor: Actor, at: datetime) -> None:
    """Say that a draft whose examples pass is right; by another person than who drafted it.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``no-such-request``; ``decided-already``;
            ``examples-first``: nobody has seen its examples pass.
    """
    need_publish_rules(actor)
    draft = locked(RuleDraft, number, DRAFT, EXAMPLES_PASS)
    need_another(draft, actor)
    if draft.state == DRAFT:
        message = f"The examples of {draft} have not passed yet: look at it first."
        raise Refusal("examples-first", message, {"draft": number})
    decide(draft, state=REVIEWED, actor=actor, decision=need_reason(words, "A review"), at=at)
    draft.save()
    told = {"drafted_by": draft.asked_by, "words": draft.decision, "tables": sorted(draft.tables)}
    record_events([Happening("rules reviewed", str(draft), told)], by=actor.name, at=at)


@attempts_kept
def publish_draft(*, number: int, live_from: date, actor: Actor, at: datetime) -> tuple[RuleRevision, ...]:
    """Make a reviewed draft live from a day on; the revisions that it makes.

    Recipes of pre-made kits are made up again at once; what a later day will change of them is noted.

    Its examples run again. Where open lines would change, the person who publishes must have looked at which, as the
    facts stand now.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-such-request``; ``decided-already``; ``review-first``;
            ``example-fails``; ``look-first`` with the ``lines`` that change; ``live-in-the-past``;
            ``drafted-from-old``; ``facts-changed``.
    """
    need_publish_rules(actor)
    before = _before(number, at)
    need_another(before.draft, actor)
    _need_publishable(before.draft, live_from, at)
    failed = before.failed()
    if failed:
        told = "; ".join(f"{one.name}: {one.sentence}" for one in failed[:_NAMED])
        raise Refusal("example-fails", f"Not published, because examples fail. {told}", {"failed": failed})
    seen = before.draft.preview or {}
    if seen.get("by") != actor.name or seen.get("facts") != before.key or "spots" not in seen:
        lines = [change.line for change in before.changes()]
        if lines:
            count = f"{len(lines)} open lines change" if len(lines) > 1 else "1 open line changes"
            raise Refusal("look-first", f"{count}: look first.", {"lines": lines})
        seen = {"lines": [], "spots": []}
    return _publish(before, seen, live_from, actor, at)


@use_case
def _publish(
    before: _Before, seen: Mapping[str, Any], live_from: date, actor: Actor, at: datetime
) -> tuple[RuleRevision, ...]:
    draft = locked(RuleDraft, before.draft.pk, DRAFT, EXAMPLES_PASS, REVIEWED)
    lock_kits()
    lock_chain()  # no other draft of the same tables is published, and no sheet loaded, until this one is
    last = _need_publishable(draft, live_from, at)
    if sheets_from_records(before.day).digest != before.live.digest:
        raise Refusal("facts-changed", "The records have changed meanwhile: publish again.", {})
    revisions = _revisions(draft, live_from, actor, at)
    _keep_examples(draft)
    draft.state, draft.published_by, draft.published_at, draft.live_from = PUBLISHED, actor.name, at, live_from
    draft.save()
    spots = {(job, structure) for job, structure in seen["spots"]}
    told = {
        "tables": {one.table: {"before": last[one.table].revision, "after": one.revision} for one in revisions},
        "note": draft.why,
        "drafted_by": draft.asked_by,
        "reviewed_by": draft.decided_by,
        "live_from": live_from,
        "lines": seen["lines"],
        "bags": bags_at(spots),
        "bag_codes": codes_of_bags(spots),
    }
    roles = (PLANNER, STOREKEEPER) if told["bags"] or told["bag_codes"] else (PLANNER,)
    published = [Happening(PUBLISHED_RULES, str(draft), told, addressed_to=role) for role in roles]
    record_events(published, by=actor.name, at=at)
    make_up_again(by=actor.name, at=at)
    return revisions


def _need_publishable(draft: RuleDraft, live_from: date, at: datetime) -> dict[str, RuleRevision]:
    """Refuse a draft that is not reviewed, or stale, or comes too late; returns the last revision of each table."""
    if draft.state != REVIEWED:
        raise Refusal("review-first", f"{draft} is not reviewed yet: another person does that.", {"draft": draft.pk})
    if live_from < day_at(at):
        raise Refusal("live-in-the-past", f"{live_from} has passed; rules are live from today or later.", {})
    last = last_rules()
    stale = sorted(name for name, number in draft.based_on.items() if last[name].number != number)
    if stale:
        message = f"{', '.join(stale)} was published after {draft} was made from it: draft again."
        raise Refusal("drafted-from-old", message, {"tables": stale})
    return last


def _revisions(draft: RuleDraft, live_from: date, actor: Actor, at: datetime) -> tuple[RuleRevision, ...]:
    book = rule_book(tables_of(draft))
    return tuple(
        RuleRevision.objects.bulk_create(
            RuleRevision(
                table=name,
                number=draft.based_on[name] + 1,
                revision=book.revision(name),
                columns=text["columns"],
                rows=text["rows"],
                live_from=live_from,
                loaded_by=actor.name,
                loaded_at=at,
            )
            for name, text in sorted(draft.tables.items())
        )
    )


def _keep_examples(draft: RuleDraft) -> None:
    """The examples of a draft take the place of those of the same name."""
    RuleExample.objects.filter(name__in=[one["name"] for one in draft.examples]).delete()
    kept = {one.name for one in examples_with(draft)}
    RuleExample.objects.bulk_create(RuleExample(**one) for one in draft.examples if one["name"] in kept)
