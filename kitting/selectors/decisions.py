"""What one person has asked and another must decide: stand-ins, the reserve, lots and rules."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from inventory.models import Balance
from inventory.selectors.words import quantity_text
from kitting.errors import Refusal
from kitting.models import (
    ASKED,
    COMPARED,
    EXTEND_DATE,
    Asked,
    DutyLimit,
    ExpiredUse,
    LotRequest,
    ReserveRelease,
    RuleDraft,
    StandInRequest,
)
from kitting.selectors.rule_revisions import live_rules, open_drafts
from kitting.selectors.storms import asked_at, storms_asked


@dataclass(frozen=True, slots=True)
class Waiting:
    """Something that waits for a decision: its number or code, what it is about, and who asked when and why.

    ``depot`` is where it acts, '' for everywhere; ``note`` says what makes it pressing, or how far it has come;
    ``others`` may not decide it either.
    """

    number: int | str
    what: str
    by: str
    at: datetime
    why: str
    depot: str = ""
    note: str = ""
    others: tuple[str, ...] = ()


def _waiting(asked: Asked, what: str, depot: str = "", note: str = "") -> Waiting:
    return Waiting(asked.pk, what, asked.asked_by, asked.asked_at, asked.why, depot, note)


def stand_ins_asked() -> list[Waiting]:
    """Stand-ins that nobody has decided, those of a running outage first; one query."""
    found = StandInRequest.objects.filter(state__in=(ASKED, COMPARED)).select_related("wanted", "stand_in")
    return [
        _waiting(
            one,
            f"{one.stand_in} for {one.wanted}" + (f" on {one.line}" if one.line else ""),
            note="OUTAGE RUNNING" if one.outage_running else "",
        )
        for one in found.order_by("-outage_running", "pk")
    ]


def reserves_asked() -> list[Waiting]:
    """Pieces of a reserve that nobody has released or refused; one query."""
    found = ReserveRelease.objects.filter(state=ASKED).select_related("item", "depot", "job").order_by("pk")
    return [
        _waiting(
            one,
            f"{quantity_text(one.quantity, one.item.stock_unit)} {one.item} of {one.depot}'s reserve for {one.line}",
            one.depot.depot,
            f"{one.job} cuts over {one.job.cutover}" if one.job.cutover else "",
        )
        for one in found
    ]


def storms_waiting() -> list[Waiting]:
    """Storms that nobody has opened or refused, by their code; two queries."""
    found = storms_asked()
    when = asked_at(found)
    return [Waiting(one.code, f"storm {one}", one.asked_by, when[one.code], one.title) for one in found]


def lots_asked() -> list[Waiting]:
    """Lots that wait for a second signature; one query."""
    found = LotRequest.objects.filter(state=ASKED).select_related("item").order_by("pk")
    return [
        _waiting(one, f"{one.what}: {one.item} lot {one.lot_number}", note=f"signed first as {one.asked_as}")
        for one in found
    ]


def expired_asked() -> list[Waiting]:
    """Lots that are to be used past their date and wait for a second signature; one query."""
    found = ExpiredUse.objects.filter(state=ASKED).select_related("item", "job").order_by("pk")
    return [
        _waiting(
            one, f"{quantity_text(one.quantity, one.item.stock_unit)} {one}", note=f"signed first as {one.asked_as}"
        )
        for one in found
    ]


def drafts_open() -> list[Waiting]:
    """Drafts of rules that are neither published nor dropped; one query."""
    return [_waiting(one, ", ".join(sorted(one.tables)) or "examples only", note=one.state) for one in open_drafts()]


def stand_in_request(number: int) -> StandInRequest:
    """A request for a stand-in.

    Raises:
        Refusal: ``no-such-request``.
    """
    found = StandInRequest.objects.select_related("wanted", "stand_in", "system").filter(pk=number).first()
    if found is None:
        raise _none(f"There is no request {number} for a stand-in.", number)
    return found


def duty_limits(request: StandInRequest) -> list[str]:
    """In words what a duty supervisor may approve of its pair without standards."""
    found = DutyLimit.objects.filter(wanted=request.wanted, stand_in=request.stand_in, ended_at__isnull=True)
    return [
        f"{quantity_text(one.most_pieces, request.stand_in.stock_unit)} for {one.most_days} days"
        + (f" on {one.system}" if one.system else "")
        for one in found.select_related("system").order_by("pk")
    ]


def reserve_request(number: int) -> ReserveRelease:
    """A request for pieces of a reserve.

    Raises:
        Refusal: ``no-such-request``.
    """
    found = ReserveRelease.objects.select_related("item", "depot", "job", "place").filter(pk=number).first()
    if found is None:
        raise _none(f"There is no request {number} for a reserve.", number)
    return found


def bins_for(request: ReserveRelease) -> list[str]:
    """Bins of its depot in which the item lies or lay; one query."""
    found = Balance.objects.filter(place__kind="bin", place__depot=request.depot, lot__item=request.item)
    return sorted(set(found.values_list("place__code", flat=True)))


def lot_request(number: int) -> LotRequest:
    """A request about a lot.

    Raises:
        Refusal: ``no-such-request``.
    """
    found = LotRequest.objects.select_related("item", "hold").filter(pk=number).first()
    if found is None:
        raise _none(f"There is no request {number} about a lot.", number)
    return found


def expired_request(number: int) -> ExpiredUse:
    """A request to use a lot past its date.

    Raises:
        Refusal: ``no-such-request``.
    """
    found = ExpiredUse.objects.select_related("item", "job").filter(pk=number).first()
    if found is None:
        raise _none(f"There is no request {number} to use a lot past its date.", number)
    return found


def lot_facts(request: LotRequest) -> list[tuple[str, str]]:
    """What is to be known before a lot is signed for: the hold or the dates; one query."""
    facts = [("Item", f"{request.item}: {request.item.called}")]
    if request.what == EXTEND_DATE:
        days = {
            str(day or "none")
            for day in request.item.lots.filter(number=request.lot_number).values_list("use_by", flat=True)
        }
        facts += [
            ("Use by, on the books", ", ".join(sorted(days))),
            ("Use by, by the certificate", str(request.use_by)),
            ("Certificate", request.certificate),
        ]
    elif request.hold:
        hold = request.hold
        facts += [("Held because", hold.reason), ("Held by", f"{hold.placed_by}, {hold.placed_at:%Y-%m-%d}")]
    return facts


def where_it_lies(request: LotRequest | ExpiredUse) -> list[Balance]:
    """The pieces of its lot, place by place; one query."""
    found = Balance.objects.filter(lot__item=request.item, lot__number=request.lot_number, quantity__gt=0)
    return [*found.select_related("place__depot", "lot").order_by("place__depot__depot", "place__code", "pk")]


def rule_draft(number: int) -> RuleDraft:
    """A draft of rules.

    Raises:
        Refusal: ``no-such-request``.
    """
    found = RuleDraft.objects.filter(pk=number).first()
    if found is None:
        raise _none(f"There is no rule draft {number}.", number)
    return found


@dataclass(frozen=True, slots=True)
class RuleChange:
    """A rule that a draft takes away from a table or puts in, told by its cells that are not blank."""

    table: str
    is_new: bool
    rule: str
    cells: Mapping[str, str]


def rule_changes(draft: RuleDraft) -> list[RuleChange]:
    """The rules that are not the same as in the live tables; one query."""
    live, found = live_rules(), []
    for name, text in sorted(draft.tables.items()):
        old = live.get(name)
        before = _told(old.columns, old.rows) if old else []
        after = _told(text["columns"], text["rows"])
        found += [RuleChange(name, False, _name(cells), cells) for cells in before if cells not in after]
        found += [RuleChange(name, True, _name(cells), cells) for cells in after if cells not in before]
    return found


def _told(columns: Iterable[str], rows: Iterable[Iterable[str]]) -> list[dict[str, str]]:
    columns = [*columns]
    return [{name: cell for name, cell in zip(columns, row, strict=True) if cell} for row in rows]


def _name(cells: Mapping[str, str]) -> str:
    return cells.get("id") or cells.get("rule") or next(iter(cells.values()), "")


def _none(message: str, number: int) -> Refusal:
    return Refusal("no-such-request", message, {"number": number})
