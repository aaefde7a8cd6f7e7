"""What waits for a decision: what was asked, the facts beside it, and yes or no with a reason, never by who asked."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from django.http import HttpResponse
from django.urls import reverse

from inventory.selectors.words import quantity_text
from jobs.models import System
from kitting.calculation.quantities import as_decimal
from kitting.errors import Refusal
from kitting.models import APPROVED, ASKED, COMPARED, LotRequest, ReserveRelease, StandInRequest
from kitting.models import Asked as Request
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, page
from kitting.pages.cutover_pages import why_address
from kitting.pages.drawing import Fit, fit
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, day_of, typed_quantity
from kitting.roles import APPROVE, SEE, STANDARDS_ENGINEER, Actor, require
from kitting.selectors.bag_requests import borrows_asked, short_issues_asked
from kitting.selectors.decisions import (
    Waiting,
    bins_for,
    drafts_open,
    duty_limits,
    expired_asked,
    lot_facts,
    lot_request,
    lots_asked,
    reserve_request,
    reserves_asked,
    stand_in_request,
    stand_ins_asked,
    storms_waiting,
    where_it_lies,
)
from kitting.selectors.fits import estimates_policy, fit_facts
from kitting.selectors.job_sheet import Line, line_of
from kitting.selectors.open_counts import counts_to_approve
from kitting.selectors.reserve import Reserve, reserve_of
from kitting.services.lot_requests import refuse_lot_request, sign_lot_request
from kitting.services.release_reserve import refuse_reserve, release_reserve
from kitting.services.rights import role_of
from kitting.services.stand_in_requests import Limits, approve_stand_in, compare_request, refuse_stand_in
from kitting.services.two_persons import need_another

YES, NO = "approve", "refuse"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of thing that waits for a decision.

    Args:
        title: its heading.
        action: of the table of roles: who may see it, and who may approve it.
        route: of the page of one of them.
        find: those that wait.
        empty: what to say where none does.
    """

    title: str
    action: str
    route: str
    find: Callable[[], list[Waiting]]
    empty: str


# A further kind is a row here.
KINDS: tuple[Kind, ...] = (
    Kind("Storms", "storm", "storm", storms_waiting, "Nobody asks for a storm."),
    Kind("Stand-ins", "stand-in", "stand-in-asked", stand_ins_asked, "Nobody asks for a stand-in."),
    Kind("Pieces of the reserve", "reserve", "reserve-asked", reserves_asked, "Nobody asks for the reserve."),
    Kind("Short bags to go out", "short bag", "bag-asked", short_issues_asked, "No short bag is to go out."),
    Kind("Staged bags to lend", "staged bag", "bag-asked", borrows_asked, "No pieces of a bag are to be lent."),
    Kind("Lots: holds and dates", "lot hold", "lot-asked", lots_asked, "No lot waits for a second signature."),
    Kind("Lots past their date", "expired lot", "expired-asked", expired_asked, "No lot is to be used past its date."),
    Kind("Drafts of rules", "rules", "rule-draft", drafts_open, "No rules are drafted."),
    Kind(
        "Count differences",
        "count",
        "count-difference",
        counts_to_approve,
        "No difference of a count waits: what is within the limit needs nobody's approval.",
    ),
)
_HEADS = ("What", "Asked by", "On", "Why", "Waits for")


def waiting_for(asked: Asked) -> list[tuple[Kind, list[Waiting]]]:
    """By kind what this person may decide and has not asked for."""
    return [
        (kind, [one for one in kind.find() if _may_decide(asked.actor, kind, one)])
        for kind in KINDS
        if asked.actor.may(kind.action, APPROVE)
    ]


def _may_decide(actor: Actor, kind: Kind, one: Waiting) -> bool:
    return actor.name not in (one.by, *one.others) and actor.may(kind.action, APPROVE, one.depot or None)


def to_approve(asked: Asked) -> HttpResponse:
    """One list of all kinds that the person may see."""
    tables = []
    for kind in KINDS:
        if asked.actor.may(kind.action, SEE):
            rows = [
                [
                    link(one.what, kind.route, one.number, note=one.note),
                    one.by,
                    one.at.astimezone(asked.zone).date(),
                    one.why,
                    "you" if _may_decide(asked.actor, kind, one) else "another person",
                ]
                for one in kind.find()
            ]
            tables.append(Table(kind.title, _HEADS, rows, kind.empty))
    asks = [(label, reverse(route)) for label, route, action, levels in ASKS if _may(asked.actor, action, levels)]
    if asked.actor.may("stand-in", SEE):
        asks.append(("Approved stand-ins", reverse("stand-ins")))
    return page(asked, "to_approve.html", {"tables": tables, "asks": asks})


ASKS = (
    ("Ask for a stand-in", "ask-stand-in", "stand-in", ("ask", APPROVE)),
    ("Ask for pieces of the reserve", "ask-reserve", "reserve", ("ask", APPROVE)),
    ("Sign first that a lot may be let go", "ask-hold-release", "lot hold", (APPROVE,)),
    ("Sign first that a lot has a later date", "ask-extension", "lot hold", (APPROVE,)),
    ("Sign first that a lot is used past its date", "ask-expired", "expired lot", (APPROVE,)),
)  # fmt: skip


def _may(actor: Actor, action: str, levels: tuple[str, ...]) -> bool:
    return any(actor.may(action, level) for level in levels)


def why_not(asked: Asked, action: str, request: Request, states: tuple[str, ...], depot: str | None = None) -> str:
    """In words why this person does not decide it; '' where they do."""
    if request.state not in states:
        return ""
    try:
        require(asked.actor, action, APPROVE, depot)
        need_another(request, asked.actor)
    except Refusal as refusal:
        return refusal.message
    return ""


def request_facts(asked: Asked, request: Request, more: Mapping[str, object] | None = None) -> list[tuple[str, object]]:
    """Who asked, when and why, and what else is to be known."""
    at = f"{request.asked_at.astimezone(asked.zone):%Y-%m-%d %H:%M %Z}"
    asked_by = f"{request.asked_by}, {request.asked_as}" if request.asked_as else request.asked_by
    facts: list[tuple[str, object]] = [("Asked by", asked_by), ("On", at), ("Because", request.why)]
    return [*facts, *(more or {}).items()]


def request_context(
    asked: Asked, request: Request, action: str, states: tuple[str, ...], depot: str | None = None
) -> dict[str, object]:
    """What every page of a request shows: how it stands, and whether the person may decide."""
    is_open = request.state in states
    refusal = why_not(asked, action, request, states, depot)
    decided = "" if is_open else f"{request.state} by {request.decided_by}: {request.decision}"
    return {"request_": request, "decided": decided, "why_not": refusal, "may_decide": is_open and not refusal}


def stand_in_page(asked: Asked, number: str) -> HttpResponse:
    """A stand-in that is asked for: both parts fact by fact, what is worse, what forbids it."""
    address = reverse("stand-in-asked", args=[number])
    request = stand_in_request(int(number))
    if asked.request.method == "POST":
        return attempt(asked, lambda: _decide_stand_in(asked, request), address, back=back_with_typed(asked, address))
    compared = request.compared or []
    forbidding = [one for one in compared if one["verdict"] in ("fails", "can't tell")]
    where = {
        "For": request.line or "wherever it is taken",
        "System": request.system or "any",
        "Outage": "RUNNING NOW" if request.outage_running else "not running",
    }
    context = {
        **request_context(asked, request, "stand-in", (ASKED, COMPARED)),
        "facts": request_facts(asked, request, where),
        "table": _compared(request),
        "worse": [one["check"] for one in compared if one["verdict"] == "worse"],
        "forbidding": forbidding,
        "pictures": _pictures(request),
        "limits": duty_limits(request),
        "by_list": STANDARDS_ENGINEER not in asked.actor.roles,
        "systems": [request.system] if request.system else System.objects.order_by("system"),
    }
    return page(asked, "stand_in_asked.html", context)


def _compared(request: StandInRequest) -> Table:
    rows = [
        [one["check"], one["wanted"] or "–", one["stand_in"] or "–", Cell(one["verdict"].upper(), note=one["sentence"])]
        for one in request.compared or []
    ]
    heads = ("Check", f"{request.wanted}, wanted", f"{request.stand_in}, instead", "Instead it is")
    empty = "Nobody has put the facts side by side yet; that comes before a decision."
    return Table("Fact by fact", heads, rows, empty)


def _pictures(request: StandInRequest) -> list[tuple[str, Fit]]:
    """Both parts over the cable of the line that asks, where a diameter decides."""
    try:
        line: Line = line_of(request.line.partition("/")[0], request.line)
    except ANY_REFUSAL:
        return []
    estimates = estimates_policy()
    found = []
    for item in (request.wanted, request.stand_in):
        told = fit_facts([{**line, "stock_code": item.stock_code}])
        found += [
            (str(item), fit(one.part, one.band, over_what=one.over_what, estimates=estimates))
            for one in told.get(request.line, ())
        ]
    return found


def _decide_stand_in(asked: Asked, request: StandInRequest) -> tuple[str, str]:
    number, deed = request.pk, asked.text("deed")
    if deed == "compare":
        compare_request(number=number, actor=asked.actor, at=asked.at)
        return "SIDE BY SIDE", "Every fact of both parts as the records stand now; it is kept with the request."
    if deed == NO:
        refuse_stand_in(number=number, reason=asked.text("reason"), actor=asked.actor, at=asked.at)
        return "REFUSED", f"{request.asked_by} is told."
    limits = Limits(
        valid_to=day_of(asked, "valid_to"),
        valid_from=day_of(asked, "valid_from") if asked.text("valid_from") else None,
        system=asked.text("system"),
        most=typed_quantity(asked.text("most"), "Most pieces") if asked.text("most") else None,
    )
    approve_stand_in(number=number, limits=limits, reason=asked.text("reason"), actor=asked.actor, at=asked.at)
    return "APPROVED", f"{request.stand_in} for {request.wanted} until {limits.valid_to}; the next plan may take it."


def reserve_page(asked: Asked, number: str) -> HttpResponse:
    """Pieces of the reserve that are asked for: what lies there, and for how many nights the rest lasts."""
    address = reverse("reserve-asked", args=[number])
    request = reserve_request(int(number))
    if asked.request.method == "POST":
        return attempt(asked, lambda: _decide_reserve(asked, request), address, back=back_with_typed(asked, address))
    unit, there = request.item.stock_unit, reserve_of(item=request.item, depot=request.depot, at=asked.at)
    bins = bins_for(request)
    context = {
        **request_context(asked, request, "reserve", (ASKED,), request.depot.depot),
        "facts": request_facts(asked, request, _reserve_facts(request, there)),
        "table": _reserve_lots(there, unit),
        "why_line": why_address({"job": request.job.job, "line": request.line}),
        "bins": bins,
        "bin": bins[0] if bins else "",
    }
    return page(asked, "reserve_asked.html", context)


def depot_of_reserve(number: str) -> str:
    """The depot whose reserve a request asks for; '' for no request."""
    found = ReserveRelease.objects.filter(pk=number).values_list("depot__depot", flat=True).first()
    return found or ""


def _reserve_facts(request: ReserveRelease, there: Reserve) -> dict[str, object]:
    unit, left = request.item.stock_unit, there.total - request.quantity
    job = request.job
    facts: dict[str, object] = {
        "Asked for": f"{quantity_text(request.quantity, unit)} {request.item}",
        "Job": f"{job}, {job.cutover or 'no date'}",
        "In reserve now": f"{quantity_text(there.total, unit)} at {request.depot}",
        "Floor": "nobody has set one" if there.floor is None else quantity_text(there.floor, unit),
    }
    if request.state == ASKED and there.floor is None:
        facts["Floor"] = f"nobody has set one; with a release {quantity_text(there.total, unit)} becomes it"
    if request.state == ASKED:
        facts["Left after it"] = quantity_text(left, unit)
        facts["That lasts"] = there.cover_words(left) if left > 0 else "nothing is left"
    return facts


def _reserve_lots(there: Reserve, unit: str) -> Table:
    rows = [[one.lot.number or "lot unknown", one.lot.day_words, figure(quantity_text(one.quantity, unit)),
             str(one.place)] for one in there.balances]  # fmt: skip
    heads = ("Lot", "Use by", "Pieces", "Place")
    return Table("What lies in the reserve and is on no hold", heads, rows, "Nothing lies there that is on no hold.")


def _decide_reserve(asked: Asked, request: ReserveRelease) -> tuple[str, str]:
    reason = asked.text("reason")
    if asked.text("deed") == NO:
        refuse_reserve(number=request.pk, reason=reason, actor=asked.actor, at=asked.at)
        return "REFUSED", f"{request.asked_by} is told."
    done = release_reserve(
        number=request.pk, place=asked.text("place"), reason=reason, actor=asked.actor, at=asked.at,
        action=asked.action, confirmed=asked.confirmed,
    )  # fmt: skip
    place, left, floor = done.request.place, as_decimal(done.left), as_decimal(done.floor)
    use = "to be picked for" if request.job.ended else "pinned to"
    return (
        "RELEASED",
        f"In {place}, {use} {request.line}. {left:f} left of a floor of {floor:f}: the buyer refills.",
    )


def lot_page(asked: Asked, number: str) -> HttpResponse:
    """A lot that waits for its second signature: why it is held or what the certificate says, and where it lies."""
    address = reverse("lot-asked", args=[number])
    request = lot_request(int(number))
    if asked.request.method == "POST":
        return attempt(asked, lambda: _decide_lot(asked, request), address, back=back_with_typed(asked, address))
    unit = request.item.stock_unit
    rows = [[str(one.place), one.place.kind, one.lot.day_words, figure(quantity_text(one.quantity, unit))]
            for one in where_it_lies(request)]  # fmt: skip
    table = Table(
        "Where its pieces lie", ("Place", "Kind", "Use by", "Pieces"), rows, "No piece of it is on the books."
    )
    context = request_context(asked, request, "lot hold", (ASKED,))
    if context["may_decide"] and STANDARDS_ENGINEER not in (role_of(asked.actor, STANDARDS_ENGINEER), request.asked_as):
        context |= {"may_decide": False, "why_not": "One of the two who sign is a standards engineer."}
    context |= {"facts": request_facts(asked, request, dict(lot_facts(request))), "table": table}
    return page(asked, "lot_asked.html", context)


def _decide_lot(asked: Asked, request: LotRequest) -> tuple[str, str]:
    reason = asked.text("reason")
    if asked.text("deed") == NO:
        refuse_lot_request(number=request.pk, reason=reason, actor=asked.actor, at=asked.at)
        return "REFUSED", f"{request.asked_by} is told; the lot stays as it is."
    signed = sign_lot_request(
        number=request.pk, reason=reason, actor=asked.actor, at=asked.at, action=asked.action
    )  # fmt: skip
    word = "APPROVED" if signed.state == APPROVED else signed.state.upper()
    return word, f"{request.what} of {request.item} lot {request.lot_number}: signed by two, done."
