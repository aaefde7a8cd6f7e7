"""Plan again, look at a plan before it is applied, ask what would be if, and watch long work."""

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from django.conf import settings
from django.db.models import F
from django.http import HttpResponse
from django.urls import reverse

from inventory.models import OrderLine
from kitting.calculation.order_marks import LATE
from kitting.calculation.promising.moves import SWAP
from kitting.calculation.what_if import refuse_past
from kitting.errands.loading import LOAD, LOOK
from kitting.errands.looking import LOOK_AT_DRAFT, RECHECK
from kitting.errands.planning import APPLY, MOST_KITS, PLAN, WHAT_IF
from kitting.errands.working import do_next
from kitting.errors import Refusal
from kitting.models import Errand
from kitting.models.errands import DONE, WAITING
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, done, go_to, page, refused
from kitting.pages.cutover_pages import order_cell
from kitting.pages.tables import Cell, Table, figure, link, said
from kitting.pages.typed import back_with_typed, day_of
from kitting.roles import DO
from kitting.selectors.cutovers import awaited, cutovers, frozen_among, last_plan
from kitting.selectors.job_sheet import job_by_number, swap_of
from kitting.services.ask_errands import ask_errand, stop_errand
from kitting.services.change_facts import change_facts

_PLANS_SHOWN = 10
_OF_FILES = (LOOK, LOAD)


def ask(asked: Asked, kind: str, given: Mapping[str, object], **sent: object) -> HttpResponse:
    """Ask for long work and look at how it goes."""
    return go_to(reverse("errand", args=[_asked_for(asked, kind, given, **sent).pk]))


def plan_again(asked: Asked, why: str) -> None:
    """Have a plan made for the planner to look at, unless one waits to be begun, which will know of this too."""
    if Errand.objects.filter(kind=PLAN, state=WAITING).exists():
        return
    _asked_for(asked, PLAN, {"as_of": asked.today.isoformat(), "why": why})


def _asked_for(asked: Asked, kind: str, given: Mapping[str, object], **sent: object) -> Errand:
    errand = ask_errand(kind=kind, by=asked.actor.name, at=asked.at, given=given, **sent)  # type: ignore[arg-type]
    if settings.ERRANDS_AT_ONCE:
        do_next()
    return errand


def errand_by_number(number: str, kind: str = "") -> Errand:
    """An errand, of this kind if one is named.

    Raises:
        Refusal: ``unknown-errand``.
    """
    found = Errand.objects.filter(pk=number).defer("file", "kept").first()
    if found is None or kind not in ("", found.kind):
        raise Refusal("unknown-errand", f"There is no errand {number}.", {"errand": number})
    return found


def errand_page(asked: Asked, number: str) -> HttpResponse:
    """How far long work has come; once it is done, what came of it."""
    errand = errand_by_number(number)
    if errand.kind == LOOK and errand.ended:
        return go_to(reverse("file", args=[errand.pk]))
    if errand.kind == LOOK_AT_DRAFT and errand.state == DONE:
        return go_to(reverse("rule-draft", args=[errand.given["draft"]]))
    if errand.kind == RECHECK and errand.state == DONE:
        return go_to(reverse("recheck"))
    view = RESULTS.get(errand.kind) if errand.state == DONE else None
    return view(asked, errand) if view else watched(asked, errand)


def watched(asked: Asked, errand: Errand) -> HttpResponse:
    """How far long work has come, or why nothing came of it."""
    of_file = errand.kind in _OF_FILES
    may_stop = of_file and asked.actor.may("sheets", DO)
    again = AGAIN[errand.kind](errand) if errand.message and errand.kind in AGAIN else ""
    return page(asked, "errand.html", {"errand": errand, "of_file": of_file, "may_stop": may_stop, "again": again})


def stop(asked: Asked, number: str) -> HttpResponse:
    """Stop the reading or storing of a file half way."""
    errand = errand_by_number(number)
    address = reverse("errand", args=[number])
    if errand.kind not in _OF_FILES:
        return refused(asked, Refusal("not-to-be-stopped", f"{errand} can't be stopped.", {}), address)

    def deed() -> tuple[str, str]:
        stop_errand(errand, by=asked.actor.name)
        return "STOPPED", f"{errand.file_name} is not read any further; nothing was stored."

    return attempt(asked, deed, reverse("files"), back=address)


def plans(asked: Asked) -> HttpResponse:
    """Ask for a plan; those made lately."""
    if asked.request.method == "POST":
        try:
            return ask(asked, PLAN, {"as_of": day_of(asked, "as_of").isoformat()})
        except Refusal as refusal:
            return refused(asked, refusal, reverse("plans"))
    found = Errand.objects.filter(kind__in=(PLAN, APPLY)).order_by("-pk").defer("file", "kept", "result")[:_PLANS_SHOWN]
    rows = [
        [link(str(one), "errand", one.pk), one.given.get("as_of", "–"), one.asked_by, one.state,
         one.message or one.given.get("why", "–")]
        for one in found
    ]  # fmt: skip
    heads = ("Errand", "As of", "Asked by", "State", "Said")
    table = Table("Lately", heads, rows, "No plan was asked for on these pages yet.")
    return page(asked, "plans.html", {"table": table, "plan": last_plan()})


def _plan_result(asked: Asked, errand: Errand) -> HttpResponse:
    """A plan to look at: each job before and after, who is refused, what is asked."""
    before = {one.job.job: one for one in cutovers()}
    rows = []
    for told in errand.result["summary"]["jobs"]:
        was = before.get(told["job"])
        changed = was is not None and (was.answer, was.short) != (told["answer"], told["short_pieces"])
        rows.append([
            link(told["job"], "job", told["job"], note="changed" if changed else ""),
            said(was.answer if was else ""),
            said(told["answer"]), told["short_pieces"] or "–", told["staged_by"] or "–",
            Cell(told["deciding_line"] if told["answer"] != "ready" else "–", note=awaited(told)),
        ])  # fmt: skip
    heads: tuple[str, ...] = ("Job", "As applied", "By this plan", "Short", "Staged by", "What limits it")
    jobs = Table("Jobs before and after", heads, rows, "No job is to be planned.")
    asked_rows = [
        [f"{one['sheet']} row {one['row']}", one["column"], one["read"] or "blank", one["problem"], one["suggestion"]]
        for one in errand.result["questions"]
    ]
    heads = ("Where", "Column", "Reads", "What is wrong", "What would be right")
    questions = Table("Facts that are missing", heads, asked_rows, "Every fact that the plan needs is known.")
    refusals = [f"{job}: {sentence}" for job, sentence in errand.result["refusals"].items()]
    context = {"errand": errand, "jobs": jobs, "questions": questions, "refusals": refusals}
    return page(asked, "plan_review.html", context)


def apply_page(asked: Asked, number: str) -> HttpResponse:
    """Apply a plan that was looked at."""
    errand = errand_by_number(number, PLAN)
    if asked.request.method == "POST":
        return ask(asked, APPLY, {"plan": errand.pk, "as_of": errand.given.get("as_of", "")})
    return go_to(reverse("errand", args=[errand.pk]))


def _apply_result(asked: Asked, errand: Errand) -> HttpResponse:
    sentence = f"Plan {errand.result['plan']} is applied; its promises stand, and its papers can be printed."
    return done(asked, "APPLIED", sentence, reverse("papers"))


def move(asked: Asked, job: str) -> HttpResponse:
    """Move a cutover: first what would change, line by line, then save."""
    found = job_by_number(job)
    if asked.request.method != "POST":
        start = asked.text("to") or asked.text("cutover") or found.cutover
        return page(asked, "move.html", {"job": found, "cutover": start, "end": asked.text("end") or found.cutover_end})
    start, end = (asked.text(name).replace("T", " ") for name in ("cutover", "end"))
    try:
        refuse_past(start, asked.today)
    except Refusal as past:
        return refused(asked, past, back_with_typed(asked, reverse("move", args=[job])))
    change = {"change": "cutover", "job": job, "cutover": start, "end": end}
    given = {**change, "as_of": asked.today.isoformat(), "version": found.version}
    if asked.text("save"):
        return _save_move(asked, job, start, end)
    return ask(asked, WHAT_IF, given)


def _save_move(asked: Asked, job: str, start: str, end: str) -> HttpResponse:
    try:
        version = asked.number("version")
        changes = {"cutover": start, "cutover end": end}
        change_facts(
            sheet="jobs", key=(job,), version=version, changes=changes, by=asked.actor.name, at=asked.at,
            reason=asked.text("reason"),
        )  # fmt: skip
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, back_with_typed(asked, reverse("move", args=[job])))
    sentence = f"{job} is at {start or 'no date'}; its pieces are free until a plan is made and applied."
    return done(asked, "MOVED", sentence, reverse("job", args=[job]))


_WHAT_IFS = {
    "late": (("order", "Order"), ("days", "Days later")),
    "lost lot": (("stock_code", "Stock code"), ("lot", "Lot")),
    "more": (
        ("stock_code", "Stock code"),
        ("depot", "Depot"),
        ("quantity", "Pieces"),
        ("use_by", "Good through, if it has a shelf life (year-month-day)"),
    ),
    "stand-in": (("wanted", "Stock code that is wanted"), ("allowed", "Stock code that would stand in")),
}
_MAY_BE_BLANK = frozenset({"use_by"})
_TITLES = {
    "late": "An order comes later", "lost lot": "A lot can't be used", "more": "More pieces lie in a bin",
    "stand-in": "A stand-in is approved", "cutover": "The outage starts at another time",
    "promised": "An order line comes on another day", "split": "A part of an order line comes on another day",
    "cut": "Pieces of an order line don't come", SWAP: "Pieces of another job go to this one",
}  # fmt: skip

# What a question tells of itself, in this order, whatever order the books kept it in.
_TOLD = ("as_of", "job", "cutover", "end", "order", "line", "part", "days", "promised", "units", "quantity",
         "stock_code", "lot", "depot", "use_by", "wanted", "allowed", "why")  # fmt: skip


def what_if_page(asked: Asked) -> HttpResponse:
    """Ask what would be if; nothing is stored."""
    if asked.request.method == "POST":
        change = asked.text("change")
        if change == MOST_KITS:
            return ask(asked, MOST_KITS, {"as_of": asked.today.isoformat()})
        if change == SWAP:
            return _ask_swap(asked)
        fields = _WHAT_IFS.get(change)
        if fields is None:
            return refused(asked, Refusal("unknown-change", "Choose what would change.", {}), reverse("what-if"))
        given = {name: asked.text(name) for name, _ in fields}
        return ask(asked, WHAT_IF, {"change": change, "as_of": asked.today.isoformat(), **given})
    forms = [
        {
            "change": name,
            "title": _TITLES[name],
            "fields": [
                (
                    field,
                    label,
                    asked.text(field) if asked.text("change") in ("", name) else "",
                    field not in _MAY_BE_BLANK,
                )
                for field, label in fields
            ],
        }
        for name, fields in _WHAT_IFS.items()
    ]
    to_come = OrderLine.objects.filter(received__lt=F("quantity")).order_by("order__number")
    orders = to_come.values_list("order__number", flat=True).distinct()
    context = {"forms": forms, "orders": orders, "swap": _swap(asked) if asked.text("change") == SWAP else None}
    return page(asked, "what_if.html", context)


def _what_if_again(errand: Errand) -> str:
    given = errand.given
    if given["change"] == "cutover":
        typed = {"cutover": given["cutover"], "end": given["end"]}
        return reverse("move", args=[given["job"]], query=typed)
    if "number" in given:
        return reverse("order-line", args=[given["number"]])
    fields = _WHAT_IFS.get(given["change"], ())
    typed = {name: given[name] for name, _ in fields}
    return reverse("what-if", query={"change": given["change"], **typed}) if fields else ""


def _swap(asked: Asked) -> list[dict[str, Any]]:
    """What a cure takes from other jobs, line by line of the job that gets it."""
    found = swap_of(asked.text("job"), asked.text("cure"))
    return [{"line": line, "pieces": asdict(pieces)} for line, pieces in found]


def _ask_swap(asked: Asked) -> HttpResponse:
    given = {"change": SWAP, "as_of": asked.today.isoformat(), "job": asked.text("job"), "cure": asked.text("cure")}
    try:
        return ask(asked, WHAT_IF, {**given, "swap": _swap(asked)})
    except Refusal as refusal:
        return refused(asked, refusal, reverse("job", args=[asked.text("job")]))


def _what_if_result(asked: Asked, errand: Errand) -> HttpResponse:
    rows = [
        [link(one["job"], "job", one["job"]), said(one["before"]), said(one["after"]),
         one["short"] or "–", f"{one['staged_before'] or '–'} to {one['staged_after'] or '–'}",
         order_cell(one.get("order_by_before", ())), order_cell(one.get("order_by", ()))]
        for one in errand.result["jobs"]
    ]  # fmt: skip
    heads: tuple[str, ...] = (
        "Job",
        "Now",
        "Then",
        "Short then",
        "Staged by",
        "Last order day now",
        "Last order day then",
    )
    jobs = Table("Jobs that would change", heads, rows, "No job would change.")
    lines = [
        [one["line"], said(one["answer_before"]), said(one["answer_after"]),
         one["stock_code_before"], one["stock_code_after"], figure(one["short_before"] or "–"),
         figure(one["short_after"] or "–"), _order_by(*one.get("order_by", ("", False)))]
        for one in errand.result["lines"]
    ]  # fmt: skip
    heads = ("Line", "Now", "Then", "Stock code now", "Then", "Short now", "Then", "Order by then")
    count = errand.result["count"]
    caption = f"{count} line{'s' * (count != 1)} would change"
    told = Table(caption, heads, lines, "No line would change.")
    given = errand.given
    words = ", ".join(f"{name.replace('_', ' ')} {given[name]}" for name in _TOLD if given.get(name))
    late = [
        (one["job"], [mark for mark in one.get("order_by", ()) if mark not in one.get("order_by_before", ())])
        for one in errand.result["jobs"]
    ]
    context = {
        "errand": errand, "title": _TITLES[given["change"]], "words": words, "jobs": jobs, "lines": told,
        "late": [(job, mark) for job, marks in late for mark in marks if mark.startswith(LATE)],
        "frozen": frozen_among([given.get("job", "")]),
    }  # fmt: skip
    return page(asked, "what_if_result.html", context)


def _most_kits_result(asked: Asked, errand: Errand) -> HttpResponse:
    """The most kits that any plan could complete, beside those of this one, and what that takes from the near jobs."""
    result = errand.result
    rows = [
        [link(one["job"], "job", one["job"]), one["staged_by"],
         "would lose its kit" if one["completed_by_plan"] == "yes" else "would win its kit"]
        for one in result["jobs"]
    ]  # fmt: skip
    caption = f"Jobs staged by {result['near_until']} that would lose or win"
    jobs = Table(caption, ("Job", "Staged by", "Then"), rows, "No near job would lose or win anything.")
    loses = sum(one["completed_by_plan"] == "yes" for one in result["jobs"])
    context = {"errand": errand, "jobs": jobs, "more": result["most"] - result["by_plan"], "loses": loses}
    return page(asked, "most_kits.html", context)


def _order_by(day: str, late: bool) -> Cell:
    return Cell(day or "–", note="TOO LATE" if late else "")


RESULTS: dict[str, Callable[[Asked, Errand], HttpResponse]] = {
    PLAN: _plan_result, APPLY: _apply_result, WHAT_IF: _what_if_result, MOST_KITS: _most_kits_result,
}  # fmt: skip
# Where the form of long work that was refused stands, with all that was typed; '' where it has none.
AGAIN: dict[str, Callable[[Errand], str]] = {WHAT_IF: _what_if_again}
