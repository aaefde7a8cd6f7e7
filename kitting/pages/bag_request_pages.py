"""Ask that a short bag may go out; and the page on which that, or a borrow from a bag, is approved or refused."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.http import HttpResponse
from django.urls import reverse

from inventory.selectors.finding import items_by_code
from jobs.models import Job
from kitting.models import ASKED, AppliedPlan, Bag, BagRequest
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.bag_forms import Field, of_bag
from kitting.pages.deciding_pages import NO, request_context, request_facts
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, day_of
from kitting.selectors.bag_contents import Contents, bare, contents_of, good_until, label_code, lacking_words
from kitting.selectors.bag_requests import bag_request, lacking, why_lapsed
from kitting.selectors.promises import staged_days
from kitting.selectors.sources import FREE, sources
from kitting.selectors.storms import kept_kit
from kitting.services.bag_requests import Within, ask_short_issue, keep_bag, let_bag
from kitting.services.rights import bag_right


@of_bag
def ask_short(asked: Asked, one: Bag) -> HttpResponse:
    """Ask that a bag may go out with what it holds: what the crew would lack, which crew, when, why."""
    code = label_code(one)
    here = reverse("ask-short", args=[code])
    if asked.request.method == "POST":

        def deed() -> tuple[str, str]:
            ask_short_issue(
                bag=code, crew=asked.text("crew"), needed_at=asked.text("needed_at"), why=asked.text("why"),
                actor=asked.actor, at=asked.at,
            )  # fmt: skip
            return "ASKED", "Planner or duty supervisor decide it on the page To approve; it is said here."

        return attempt(asked, deed, reverse("bag", args=[code]), back=back_with_typed(asked, here))
    fields = [
        Field("crew", "Which crew takes it", asked.text("crew"), focus=True),
        Field("needed_at", "When", asked.text("needed_at") or one.job.cutover),
        Field("why", "Why it can't wait", asked.text("why")),
    ]
    contents = contents_of([one])[one.pk]
    context = {"bag": one, "code": code, "fields": fields, "table": _lacking(contents)}
    return page(asked, "ask_short.html", context)


def _lacking(contents: Contents) -> Table:
    """What a crew will lack, and what could help."""
    rows = []
    for one in lacking(contents):
        line, item = one.line, one.line.item
        if item is None:
            continue
        free = "; ".join(found.sentence for found in one.elsewhere)
        rows.append([
            Cell(_end(line.facts) or line.line, note=line.line),
            link(item, "item", item, note=item.called),
            figure(bare(one.missing)), figure(bare(one.spares)), Cell(free or "none is free"),
        ])  # fmt: skip
    for name in contents.undecided():
        cells = [Cell("undecided", note="the plan names no part for it yet"), figure("?"), figure(0), Cell("–")]
        rows.append([link(name, "line", contents.bag.job.job, asking={"line": name}), *cells])
    heads = ("Where", "Part", "Missing", "Spares in the bag", "Free now")
    return Table("What the crew will lack", heads, rows, "Nothing is missing.")


_SIDES = {"from": "from end", "to": "to end"}


def _end(facts: Mapping[str, object]) -> str:
    """The end of a line, as its crew calls it: ``V1-a, from end, phases ABC``."""
    place = "-".join(str(facts.get(name) or "") for name in ("structure", "position")).strip("-")
    phases = f"phases {facts['phases']}" if facts.get("phases") else ""
    return ", ".join(filter(None, (place, _SIDES.get(str(facts.get("side")), ""), phases)))


def depot_of_request(number: str) -> str:
    """The depot whose bag a request is about; '' for no request."""
    return BagRequest.objects.filter(pk=number).values_list("bag__depot__depot", flat=True).first() or ""


def bag_asked(asked: Asked, number: str) -> HttpResponse:
    """A bag that is to go out short, or to lend: what is worse then, and yes within limits or no, with a reason."""
    address = reverse("bag-asked", args=[number])
    request = bag_request(int(number))
    if asked.request.method == "POST":
        return attempt(asked, lambda: _decide(asked, request), address, back=back_with_typed(asked, address))
    contents = contents_of([request.bag])[request.bag_id]
    told = _borrow(asked, request, contents, request.to_bag) if request.to_bag else _short(request, contents)
    lapsed = why_lapsed(request, contents, asked.today)
    depot = request.bag.depot.depot
    context = {
        "told": told,
        **request_context(asked, request, bag_right(request.what), (ASKED,), depot),
        "facts": request_facts(asked, request, told.more),
        "lapsed": lapsed,
        "code": label_code(request.bag),
        "good_to": asked.text("good_to") or max((request.to_bag or request.bag).job.cutover[:10], str(asked.today)),
    }
    context["may_decide"] = context["may_decide"] and not lapsed
    return page(asked, "bag_asked.html", context)


@dataclass(frozen=True, slots=True)
class Told:
    """What is to be looked at: the question, facts, what is worse then, and tables."""

    title: str
    more: Mapping[str, object]
    worse: str
    tables: Sequence[Table]


def _short(request: BagRequest, contents: Contents) -> Told:
    bag = request.bag
    more = {"Crew": request.crew, "When": request.needed_at or "not said", **_of_job("", bag)}
    worse = f"{request.crew} opens the bag without {', '.join(lacking_words(request.lacks))}."
    return Told(f"May {bag} go out short?", more, worse, [_lacking(contents)])


def _of_job(whose: str, bag: Bag) -> dict[str, object]:
    """Facts of a bag and its job, with who answers for it: whoever applied the plan that it was listed from."""
    job: Job = bag.job
    staged, plan = staged_days().of(job.job, bag.depot.depot), AppliedPlan.objects.order_by("-pk").first()
    return {
        f"{whose}Bag": f"{bag}, {bag.state}" + (f", {bag.whereabouts}" if bag.whereabouts else ""),
        f"{whose}Job": f"{job} {job.title}".strip(),
        f"{whose}Cutover": job.cutover or "no date",
        f"{whose}Staged by": str(staged or "no day"),
        f"{whose}Owner": f"{plan.applied_by}, who applied the plan" if plan else "nobody has applied a plan",
    }


def _borrow(asked: Asked, request: BagRequest, contents: Contents, taker: Bag) -> Told:
    lender, item = request.bag, items_by_code([str(request.item)])[str(request.item)]
    kept, staged = kept_kit(lender.job_id), staged_days().of(lender.job.job, lender.depot.depot)
    pieces = f"{bare(request.quantity)} {item}"
    more = {
        "Pieces": f"{pieces} lot {request.lot_number or 'unknown'}", **_of_job("Lending: ", lender),
        "Pay back by": str(request.pay_back_by), "For": f"{taker}, cutover {taker.job.cutover or 'none'}",
    }  # fmt: skip
    late = bool(staged and request.pay_back_by and request.pay_back_by > staged)
    held = f" In storm {kept.storm} it is broken {kept.protection}." if kept else ""
    day = f" They come back on {request.pay_back_by}, AFTER it must be staged." if late else ""
    worse = f"{lender} breaks: it lacks {pieces} until they are paid back.{day}{held}"
    now = [one for one in sources(item=item, depot=taker.depot.depot, until=good_until(taker.job) or asked.today)
           if one.kind in FREE]  # fmt: skip
    rows = [[Cell(one.balance.lot.number or "unknown", note=one.balance.lot.date_words),
             figure(bare(one.free)), str(one.balance.place), one.kind] for one in now]  # fmt: skip
    free = Table(f"Free {item} now", ("Lot", "Pieces", "Where", "Kind"), rows, f"No {item} that would do is free.")
    then = [[sentence] for sentence in request.free_first]
    said = Table("Free when it was asked, and said to be gone", ("What",), then, "Nothing was free then.")
    lacks = [[word] for word in (pieces, *contents.missing())]
    broken = Table(f"What {lender} lacks then", ("What",), lacks, "Nothing.")
    return Told(f"May {lender} lend {pieces}?", more, worse, [free, said, broken])


def _decide(asked: Asked, request: BagRequest) -> tuple[str, str]:
    number, reason = request.pk, asked.text("reason")
    if asked.text("deed") == NO:
        keep_bag(number=number, reason=reason, actor=asked.actor, at=asked.at)
        return "REFUSED", f"{request.asked_by} is told; the bag stays as it is."
    back = day_of(asked, "pay_back_by") if asked.text("pay_back_by") else None
    within = Within(good_to=day_of(asked, "good_to"), pay_back_by=back)
    let_bag(number=number, within=within, reason=reason, actor=asked.actor, at=asked.at)
    return "APPROVED", f"Once, through {within.good_to}, while {request.bag} lacks no more than it does now."
