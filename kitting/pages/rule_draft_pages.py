"""A draft of rules on its way to be live: what changes in the tables and on open lines; review, publish, drop."""

from django.http import HttpResponse
from django.urls import reverse

from kitting.errands.looking import LOOK_AT_DRAFT
from kitting.models import DRAFT, EXAMPLES_PASS, REVIEWED, Errand, RuleDraft
from kitting.models.errands import DONE
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.deciding_pages import why_not
from kitting.pages.planning_pages import ask
from kitting.pages.tables import Cell, Table, figure, said
from kitting.pages.typed import back_with_typed, day_of
from kitting.roles import DO
from kitting.selectors.decisions import rule_changes, rule_draft
from kitting.services.draft_rules import drop_draft
from kitting.services.publish_rules import publish_draft, review_draft

_OPEN = (DRAFT, EXAMPLES_PASS, REVIEWED)


def rule_draft_page(asked: Asked, number: str) -> HttpResponse:
    """A draft, what it changes, and the next step that the person may take."""
    address = reverse("rule-draft", args=[number])
    draft = rule_draft(int(number))
    if asked.request.method == "POST":
        if asked.text("deed") == "look":
            return ask(asked, LOOK_AT_DRAFT, {"draft": draft.pk})
        return attempt(asked, lambda: _step(asked, draft), address, back=back_with_typed(asked, address))
    looked = Errand.objects.filter(kind=LOOK_AT_DRAFT, state=DONE, given__draft=draft.pk).order_by("-pk").first()
    seen = draft.preview or {}
    is_open = draft.state in _OPEN
    cannot = why_not(asked, "rules", draft, _OPEN)
    context = {
        "draft": draft,
        "is_open": is_open,
        "changes": _changes(draft),
        "looked": looked,
        "why_not": cannot,
        "may_review": draft.state == EXAMPLES_PASS and not cannot,
        "may_publish": draft.state == REVIEWED and not cannot,
        "seen_by_me": seen.get("by") == asked.actor.name,
        "may_drop": is_open and asked.actor.may("rules", DO),
        "first_day": asked.text("live_from") or asked.today.isoformat(),
        **(_look(looked) if looked else {}),
    }
    return page(asked, "rule_draft.html", context)


def _changes(draft: RuleDraft) -> Table:
    rows = [
        [one.table, one.rule, Cell("COMES" if one.is_new else "GOES"),
         "; ".join(f"{name}: {text}" for name, text in one.cells.items())]
        for one in rule_changes(draft)
    ]  # fmt: skip
    heads = ("Table", "Rule", "It", "What it says")
    return Table("Rules that are not as in the live tables", heads, rows, "Its tables say what the live ones say.")


def _look(looked: Errand) -> dict[str, object]:
    result = looked.result
    lines = [
        [one["line"], said(one["answer_before"]), said(one["answer_after"]), one["stock_code_before"] or "–",
         one["stock_code_after"] or "–", figure(one["short_after"] or "–")]
        for one in result["lines"]
    ]  # fmt: skip
    heads = ("Line", "Now", "Then", "Stock code now", "Then", "Short then")
    failed = [[one["name"], one["sentence"]] for one in result["failed"]]
    tables = [
        [one["table"], figure(one["gaps"]), figure(one["overlaps"]), "; ".join(one["new"]) or "none new"]
        for one in result["tables"]
    ]
    return {
        "lines": Table(f"Open lines that would change: {result['count']}", heads, lines, "No open line would change."),
        "failed": Table("Examples that fail", ("Example", "Why"), failed, "Every example holds."),
        "coverage": Table(
            "Gaps and overlaps", ("Table", "Gaps", "Overlaps", "New with this draft"), tables, "No table is drafted."
        ),
        "bags": result["bags"],
    }


def _step(asked: Asked, draft: RuleDraft) -> tuple[str, str]:
    deed, who = asked.text("deed"), {"number": draft.pk, "actor": asked.actor, "at": asked.at}
    if deed == "review":
        review_draft(words=asked.text("words"), **who)  # type: ignore[arg-type]
        return "REVIEWED", f"{draft} can be published now, by anybody but {draft.asked_by}."
    if deed == "publish":
        made = publish_draft(live_from=day_of(asked, "live_from"), **who)  # type: ignore[arg-type]
        return "PUBLISHED", f"Live from {asked.text('live_from')}: {', '.join(str(one) for one in made) or 'examples'}."
    drop_draft(reason=asked.text("reason"), **who)  # type: ignore[arg-type]
    return "DROPPED", f"{draft} is given up; the live rules stay as they are."
