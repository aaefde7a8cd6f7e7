"""Rules change by two persons: drafted, examples pass, reviewed, live from a day; what changes is looked at first."""

import io
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import OTHER_STANDARDS, PLANNER, STANDARDS
from record_books import AT, everything, load, rows_in_every_table

from inventory.models import Item
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook, raw_book, raw_sheet
from kitting.calculation.what_if import differences
from kitting.errors import Refusal
from kitting.models import (
    DRAFT,
    EXAMPLES_PASS,
    PUBLISHED,
    REVIEWED,
    Event,
    PlanRow,
    RuleDraft,
    RuleExample,
    RuleRevision,
)
from kitting.roles import Actor
from kitting.selectors.promises import open_promises
from kitting.selectors.rule_revisions import live_rules, state_on
from kitting.selectors.sheets import sheets_from_records
from kitting.services.apply_plan import ReviewedPlan, apply_plan
from kitting.services.draft_rules import draft_rules, drop_draft
from kitting.services.publish_rules import Look, look_at_draft, publish_draft, review_draft
from kitting.services.record_events import Happening, record_events

pytestmark = pytest.mark.django_db

SPARES = ["rule", "when kind", "give kind", "give quantity", "give per", "note", "source"]
CLASSES = ["rule", "when nominal kV", "when wires", "give class kV", "note", "source"]
EXAMPLES = ["example", "table", "must", "gives", "quantity", "stock code", "when kind", "when nominal kV", "when wires"]
ELBOWS = ["S-1", "elbow", "elbow", "2", "outage", "", "our practice"]
LATER = AT + timedelta(days=1)
TODAY = AT.date()


books = books_of_module(everything)


def sheets(*spares: list[str], examples: tuple[list[str], ...] = ()) -> RawBook:
    given = [raw_sheet("rules spares", SPARES, spares)] if spares else []
    given += [raw_sheet("rule examples", EXAMPLES, examples)] if examples else []
    return raw_book(given)


def drafted(*spares: list[str], examples: tuple[list[str], ...] = ()) -> RuleDraft:
    raw = sheets(*(spares or (ELBOWS,)), examples=examples)
    return draft_rules(raw=raw, note="two spare elbows an outage", actor=STANDARDS, at=AT)


def look(draft: RuleDraft, actor: Actor = OTHER_STANDARDS, at: datetime = AT) -> Look:
    return look_at_draft(number=draft.pk, actor=actor, at=at)


def review(draft: RuleDraft, actor: Actor = OTHER_STANDARDS) -> None:
    review_draft(number=draft.pk, words="seen with crew 4", actor=actor, at=AT)


def publish(draft: RuleDraft, actor: Actor = OTHER_STANDARDS, *, live_from: date = TODAY) -> None:
    publish_draft(number=draft.pk, live_from=live_from, actor=actor, at=AT)


def state(draft: RuleDraft) -> str:
    return RuleDraft.objects.get(pk=draft.pk).state


def refused(act: object, *args: object, **kwargs: object) -> Refusal:
    before = rows_in_every_table()
    with pytest.raises(Refusal) as found:
        act(*args, **kwargs)  # type: ignore[operator]
    after = rows_in_every_table()
    assert {**after, "Event": 0} == {**before, "Event": 0}
    return found.value


def test_a_draft_is_published_by_another_person_and_lines_then_carry_its_revision() -> None:
    draft = drafted()
    assert state(draft) == DRAFT
    seen = look(draft)
    assert state(draft) == EXAMPLES_PASS
    review(draft)
    publish(draft)
    assert state(draft) == PUBLISHED
    (revision,) = RuleRevision.objects.filter(table="spares", number=2)
    after = plan(read_book(sheets_from_records(AT.date())), as_of=AT.date())
    spare = after.requirements[(after.requirements["spare"] == "yes").to_numpy()]
    assert set(spare["rule_revision"]) == {revision.revision}
    (told,) = Event.objects.filter(name="rules published")
    assert (told.by, told.data["drafted_by"], told.data["reviewed_by"]) == ("D. Moreau", "I. Varga", "D. Moreau")
    assert told.data["lines"] == [change.line for change in seen.changes]
    assert told.addressed_to == "planner"


def test_rules_come_on_their_day_at_the_depot_and_events_of_the_evening_before_name_the_former_ones() -> None:
    """Seven in the evening there is the next day by universal time."""
    evening, draft = datetime(2026, 3, 3, 1, 0, tzinfo=UTC), drafted()
    look(draft)
    review(draft)
    late = refused(publish_draft, number=draft.pk, live_from=date(2026, 3, 1), actor=OTHER_STANDARDS, at=evening)
    assert late.code == "live-in-the-past"
    publish_draft(number=draft.pk, live_from=date(2026, 3, 3), actor=OTHER_STANDARDS, at=evening)
    for hours in (0, 6):
        record_events([Happening("looked", "J1")], by="M. Osei", at=evening + timedelta(hours=hours))
    before, after = Event.objects.filter(name="looked").order_by("number").values_list("rule_book", flat=True)
    assert before.endswith("spares 1")
    assert after.endswith("spares 2")
    of_that_day = drafted(ELBOWS, ["S-2", *ELBOWS[1:3], "1", *ELBOWS[4:]])
    look(of_that_day)
    review(of_that_day)
    publish_draft(number=of_that_day.pk, live_from=date(2026, 3, 2), actor=OTHER_STANDARDS, at=evening)


def test_a_plan_is_applied_with_the_rules_of_its_day_also_where_others_have_come_since() -> None:
    draft = drafted()
    look(draft)
    review(draft)
    publish(draft, live_from=LATER.date())
    revisions = RuleRevision.objects.filter(table="spares").order_by("number")
    for day, revision in zip((TODAY, LATER.date()), revisions, strict=True):
        standing = sheets_from_records(day)
        made = ReviewedPlan(standing, plan(read_book(standing), as_of=day, earlier=open_promises()))
        apply_plan(reviewed=made, by="R. Tolley", at=AT)
        spares = PlanRow.objects.filter(plan__as_of=day, table="requirements", cells__spare="yes")
        assert {row.cells["rule_revision"] for row in spares} == {revision.revision}


def test_nobody_reviews_or_publishes_an_own_draft_and_the_attempt_is_kept() -> None:
    """Row A9: publishing one's own draft is refused, also once somebody else has reviewed it."""
    draft = drafted()
    look(draft, STANDARDS)
    assert refused(review, draft, STANDARDS).code == "own-request"
    review(draft)
    look(draft, STANDARDS)
    assert refused(publish, draft, STANDARDS).code == "own-request"
    tries = Event.objects.filter(name="own request not decided")
    assert [one.by for one in tries] == ["I. Varga", "I. Varga"]
    assert state(draft) == REVIEWED


def test_a_planner_may_look_at_a_draft_and_not_make_or_review_one() -> None:
    draft = drafted()
    look(draft, PLANNER)
    assert refused(review, draft, PLANNER).code == "not-allowed"
    again = refused(draft_rules, raw=sheets(ELBOWS), note="mine", actor=PLANNER, at=AT)
    assert again.code == "not-allowed"


def test_publishing_asks_to_look_first_where_open_lines_would_change() -> None:
    """Row A11: the count of the preview is the count of the lines that change after publishing."""
    draft = drafted()
    assert refused(publish, draft).code == "review-first"
    count = len(look(draft, STANDARDS).changes)
    review(draft)
    told = refused(publish, draft)
    assert told.message == f"{count} open lines change: look first."
    assert len(told.data["lines"]) == count
    before = plan(read_book(sheets_from_records(AT.date())), as_of=AT.date())
    look(draft)
    publish(draft)
    after = plan(read_book(sheets_from_records(AT.date())), as_of=AT.date())
    assert len(differences(before, after)) == count > 0


def test_bags_that_hold_pieces_where_lines_change_are_named_to_the_storekeeper() -> None:
    """Spares of J1 change, so its bag is named; J2 has no schedule yet, so its bag is not."""
    bags = "stock code,depot,place,place kind,lot,quantity,job,structure"
    load(everything(stock=f"{bags}\nTAG,N,bag 1,bag,,1,J1,\nTAG,N,bag 2,bag,,1,J2,"))
    draft = drafted()
    assert look(draft).bags == ("N/bag 1 (J1)",)
    review(draft)
    publish(draft)
    told = Event.objects.filter(name="rules published")
    assert [one.addressed_to for one in told.order_by("number")] == ["planner", "storekeeper"]
    assert told[0].data["bags"] == ["N/bag 1 (J1)"]


def test_a_preview_is_good_only_while_the_facts_stand() -> None:
    draft = drafted()
    look(draft)
    review(draft)
    load(everything(jobs="J7,Seventh,N,2026-05-20 08:00"))
    assert refused(publish, draft).code == "look-first"
    look(draft)
    publish(draft)


def test_rules_that_change_no_open_line_need_no_look_at_any() -> None:
    raw = sheets(examples=(["one tee", "spares", "refuse", "tee", "", "", "tee", "", ""],))
    draft = draft_rules(raw=raw, note="an example", actor=STANDARDS, at=AT)
    assert look(draft, PLANNER).changes == ()
    review(draft)
    publish(draft)
    assert state(draft) == PUBLISHED


def test_a_draft_whose_example_fails_is_neither_reviewed_nor_published() -> None:
    """Row A10: must give and must refuse, kept as records once published, and run again at every publication."""
    must = ["two elbows", "spares", "give", "elbow", "2", "", "elbow", "", ""]
    no_cap = ["no spare cap", "spares", "refuse", "insulated cap", "", "", "insulated cap", "", ""]
    one = ["S-1", "elbow", "elbow", "1", "outage", "", "our practice"]
    bad = drafted(one, examples=(must, no_cap))
    assert [failed.sentence for failed in look(bad).failed] == ["2 elbow must be given, not 1"]
    assert refused(review, bad).code == "examples-first"
    good = drafted(examples=(must, no_cap))
    look(good)
    review(good)
    publish(good)
    assert {kept.name for kept in RuleExample.objects.all()} == {"two elbows", "no spare cap"}
    caps = drafted(ELBOWS, ["S-2", "insulated cap", "insulated cap", "1", "outage", "", "our practice"])
    failed = look(caps).failed
    assert [one.name for one in failed] == ["no spare cap"]
    RuleDraft.objects.filter(pk=caps.pk).update(state=REVIEWED, decided_by="D. Moreau", decided_at=AT, decision="ok")
    told = refused(publish, caps)
    assert told.code == "example-fails"
    assert "no spare cap: insulated cap is given by rule S-2" in told.message


def test_an_example_of_a_stock_code_stops_publishing_once_the_range_of_the_part_is_broken() -> None:
    """Row A10: break a range, and what was reviewed is not published; a cable of 0.730 to 0.790 in takes EL-1."""
    facts = {
        "position kind": "well 200 A", "interface": "200 A 15 kV", "class kV": "15", "current A": "200",
        "switching": "loadbreak", "state": "in use", "environment": "dry", "test point": "(blank)", "cables": "1",
        "insulation": "XLPE", "jacketed": "yes", "jacket seals": "everywhere", "metal": "Al", "DOI low": "0.730 in",
        "DOI high": "0.790 in",
    }  # fmt: skip
    headers = ["example", "table", "must", "gives", "stock code", *(f"when {fact}" for fact in facts)]
    row = ["1/0 takes EL-1", "end accessories", "give", "elbow", "EL-1", *facts.values()]
    raw = raw_book([raw_sheet("rule examples", headers, [row])])
    draft = draft_rules(raw=raw, note="the elbow of 1/0", actor=STANDARDS, at=AT)
    assert look(draft).failed == ()
    review(draft)
    Item.objects.filter(stock_code="EL-1").update(doi_high_nm=19_000_000)
    told = refused(publish, draft)
    assert told.code == "example-fails"
    assert "1/0 takes EL-1: EL-1 does not serve: measure the diameter" in told.message


def test_a_draft_may_change_an_example_and_another_person_sees_that() -> None:
    first = drafted(examples=(["two elbows", "spares", "give", "elbow", "2", "", "elbow", "", ""],))
    look(first)
    review(first)
    publish(first)
    gone = draft_rules(
        raw=sheets(examples=(["two elbows", "", "drop", "", "", "", "", "", ""],)),
        note="the count is no rule",
        actor=STANDARDS,
        at=LATER,
    )
    look(gone)
    review(gone)
    publish(gone)
    assert not RuleExample.objects.exists()


def test_gaps_and_overlaps_of_a_draft_are_listed_and_those_that_are_new_apart() -> None:
    overlap = [["C-1", "<= 15", "-", "15", "", "ours"], ["C-2", "[14..27]", "-", "25", "", "ours"]]
    draft = draft_rules(
        raw=raw_book([raw_sheet("rules connector class", CLASSES, overlap)]), note="two classes", actor=STANDARDS, at=AT
    )
    found = look(draft)
    assert found.coverage["connector class"].overlaps == ("rules C-1 and C-2 both hit: nominal kV from 14 to 15",)
    assert found.new["connector class"].gaps == ("no rule: nominal kV above 27",)


def test_rules_are_live_from_their_day_and_the_former_ones_until_then() -> None:
    draft = drafted()
    look(draft)
    review(draft)
    yesterday = AT.date() - timedelta(days=1)
    assert refused(publish, draft, live_from=yesterday).code == "live-in-the-past"
    start = AT.date() + timedelta(days=10)
    publish(draft, live_from=start)
    assert live_rules(start - timedelta(days=1))["spares"].number == 1
    assert live_rules(start)["spares"].number == 2
    draft.refresh_from_db()
    assert state_on(draft, AT.date()) == f"live from {start}"
    assert state_on(draft, start) == "live"
    RuleRevision.objects.create(
        table="spares",
        number=3,
        revision="owner 1",
        columns=SPARES,
        rows=[],
        live_from=start,
        loaded_by="x",
        loaded_at=AT,
    )
    assert state_on(draft, start) == "replaced"
    assert "rules spares" not in sheets_from_records(AT.date()).sheets
    assert "rules spares" in sheets_from_records(start).sheets


def test_a_draft_made_from_rules_that_were_replaced_meanwhile_is_made_again() -> None:
    first, second = drafted(), drafted(["S-1", "elbow", "elbow", "3", "outage", "", "our practice"])
    look(first)
    review(first)
    publish(first)
    look(second)
    review(second)
    assert refused(publish, second).code == "drafted-from-old"


def test_a_draft_that_says_nothing_new_or_gives_no_reason_is_refused_and_a_dropped_one_goes_nowhere() -> None:
    draft = drafted()
    assert refused(drafted).code == "nothing-new"
    raw = sheets(["S-1", "tee", "tee", "1", "outage", "", "p"])
    assert refused(draft_rules, raw=raw, note=" ", actor=STANDARDS, at=AT).code == "no-reason"
    drop_draft(number=draft.pk, reason="thought again", actor=STANDARDS, at=AT)
    assert refused(look, draft).code == "decided-already"


def test_a_sheet_of_rules_that_is_loaded_later_waits_for_a_second_person() -> None:
    """Opening the books takes one person; whoever loads other rules later has drafted them."""
    own = "rule,when kind,give kind,give quantity,give per,note,source\nS-1,elbow,elbow,2,outage,,our practice"
    loaded = load(everything(rules_spares=own), by="I. Varga")
    (told,) = loaded.rules
    draft = RuleDraft.objects.get()
    assert told.startswith("spares: owner ")
    assert told.endswith(f" waits as rule draft {draft.pk}; default 1 stays live")
    assert not load(everything(rules_spares=own), by="I. Varga")
    assert live_rules()["spares"].revision == "default 1"
    look(draft)
    review(draft)
    publish(draft)
    assert live_rules(AT.date())["spares"].number == 2
    assert not load(everything(rules_spares=own), by="I. Varga")


def test_the_number_of_queries_of_publishing_does_not_grow_with_the_rules_or_examples() -> None:
    kinds = ("elbow", "tee", "lug", "splice", "bushing insert", "termination")

    def queries(*spared: str) -> int:
        rules = [[f"S-{n}", kind, kind, str(len(spared)), "outage", "", "p"] for n, kind in enumerate(spared)]
        examples = tuple([f"no {kind}", "spares", "give", kind, "", "", kind, "", ""] for kind in spared)
        draft = drafted(*rules, examples=examples)
        look(draft)
        review(draft)
        with CaptureQueriesContext(connection) as seen:
            publish(draft)
        return len(seen)

    assert queries("elbow") >= queries(*kinds) > 0


def said(*words: str) -> str:
    out = io.StringIO()
    call_command("rules", *words, stdout=out)
    return out.getvalue()


def test_the_command_leads_from_a_sheet_to_live_rules(tmp_path: Path) -> None:
    rows = [SPARES, ELBOWS]
    (tmp_path / "rules_spares.csv").write_text("\n".join(map(",".join, rows)), encoding="utf-8")
    (tmp_path / "rule_examples.csv").write_text(
        "example,table,must,gives,quantity,when kind\ntwo elbows,spares,give,elbow,2,elbow", encoding="utf-8"
    )
    said("draft", str(tmp_path), "--note", "two spare elbows", "--by", "I. Varga")
    number = str(RuleDraft.objects.get().pk)
    shown = said("show", number, "--by", "D. Moreau")
    assert "examples: 1 of 1 hold\nspares: 0 gaps (0 new), 0 overlaps" in shown
    assert "lines of 1 jobs would change." in shown
    errors = io.StringIO()
    with pytest.raises(SystemExit):
        call_command("rules", "review", number, "--words", "mine", "--by", "I. Varga", stderr=errors)
    assert errors.getvalue() == f"I. Varga asked for rule draft {number}: another person decides.\n"
    said("review", number, "--words", "seen with crew 4", "--by", "D. Moreau")
    assert f"draft {number} (reviewed) by I. Varga, spares: two spare elbows" in said("list")
    assert said("publish", number, "--by", "D. Moreau").startswith("spares 2: owner ")
    assert "draft" not in said("list")
