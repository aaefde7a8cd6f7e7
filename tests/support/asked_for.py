"""One of everything that a person asks and another decides, in the books of the demo's last day."""

from datetime import UTC, date, datetime

from people import OTHER_STANDARDS, STANDARDS, STORES

from inventory.models import Depot, Item, LotHold
from jobs.models import Job
from kitting.calculation.sheets.raw import raw_book, raw_sheet
from kitting.models import Bag, BagRequest, ExpiredUse, LotRequest, PlanRow, ReserveRelease, StandIn, StandInRequest
from kitting.services.draft_rules import draft_rules
from kitting.services.lot_requests import ask_hold_release
from kitting.services.stand_in_requests import ask_stand_in, compare_request

AT = datetime(2026, 3, 24, 15, tzinfo=UTC)
_COLUMNS = ["rule", "when kind", "give kind", "give quantity", "give per", "note", "source"]
_RULE = ["S-01", "elbow", "elbow", "2", "outage", "", "our practice"]


def one_of_each() -> dict[str, int]:
    """Ask for each of what is asked, and approve a stand-in; their numbers by route."""
    line = (
        PlanRow.objects.filter(table="requirements", cells__stock_code="CS25-2").order_by("position")[0].cells["line"]
    )
    wanted, instead = (Item.objects.get(stock_code=code) for code in ("CS25-2", "CS35-2"))
    ask_stand_in(wanted="CS25-2", stand_in="CS35-2", line=line, why="14 weeks of lead", actor=STORES, at=AT)
    request = StandInRequest.objects.latest("pk")
    compare_request(number=request.pk, actor=STANDARDS, at=AT)
    ask_hold_release(hold=LotHold.objects.filter(released_at=None)[0].pk, reason="read", actor=STANDARDS, at=AT)
    sheet = raw_sheet("rules spares", _COLUMNS, [_RULE])
    asked = {"asked_by": STORES.name, "asked_at": AT, "why": "dig-in", "line": line, "quantity": 1000}
    reserve = ReserveRelease.objects.create(item=wanted, depot=_depot(), job=_job(line), **asked)
    approval = StandIn.objects.create(
        wanted=wanted, allowed=instead, approved_by=OTHER_STANDARDS.name, valid_to=date(2026, 4, 30)
    )
    bag = Bag.objects.filter(state="staged").earliest("pk")
    short = BagRequest.objects.create(
        what="short issue", bag=bag, lacks={"JS-3": 1000}, crew="Crew 14", asked_by=STORES.name, asked_at=AT, why="van"
    )
    past = ExpiredUse.objects.create(
        item=wanted, lot_number="L-2507C", job=_job(line), quantity=1000, good_to=date(2026, 4, 30),
        asked_by=STANDARDS.name, asked_at=AT, why="stored cool",
    )  # fmt: skip
    return {
        "to-approve/expired": past.pk,
        "to-approve/bags": short.pk,
        "to-approve/stand-ins": request.pk,
        "to-approve/reserve": reserve.pk,
        "to-approve/lots": LotRequest.objects.latest("pk").pk,
        "to-approve/rules": draft_rules(raw=raw_book([sheet]), note="two spares", actor=STANDARDS, at=AT).pk,
        "stand-ins": approval.pk,
    }


def _depot() -> Depot:
    return Depot.objects.get(depot="N")


def _job(line: str) -> Job:
    return Job.objects.get(job=line.partition("/")[0])
