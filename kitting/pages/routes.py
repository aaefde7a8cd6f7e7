"""Every page with what a person must be allowed to see it and to act on it. What is not in this table is not served."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.urls import URLPattern, path, reverse

from kitting.models import Person
from kitting.pages import (
    asking_pages,
    bag_depot_pages,
    bag_pages,
    bag_request_pages,
    borrow_pages,
    buying_pages,
    carried_pages,
    check_pages,
    count_pages,
    count_settling,
    count_walk,
    cutover_pages,
    deciding_by_hand,
    deciding_pages,
    device_pages,
    emergency_pages,
    ends_page,
    exception_pages,
    expired_pages,
    fact_pages,
    failure_pages,
    file_pages,
    fit_pages,
    freeze_page,
    history_page,
    home,
    install_pages,
    item_pages,
    job_state_pages,
    label_pages,
    layout_pages,
    loan_pages,
    lot_pages,
    notices_page,
    oops_pages,
    order_changes,
    order_pages,
    out_pages,
    paper_pages,
    people_page,
    pick_pages,
    picture_pages,
    pieces_page,
    place_pages,
    planning_pages,
    premade_pages,
    queue_pages,
    receiving_pages,
    record_pages,
    reserve_page,
    rule_draft_pages,
    short_line_pages,
    sign_pages,
    signing_in,
    stand_in_pages,
    standing_pages,
    start_pages,
    stock_pages,
    stock_then_page,
    storm_counter,
    storm_pages,
    transfer_pages,
    truck_pages,
    turn_in_pages,
    van_pages,
    what_page,
)
from kitting.pages.asked import ANY_REFUSAL, Asked, View, not_served
from kitting.pages.bag_forms import depot_of_bag
from kitting.pages.device_pages import device_of
from kitting.pages.idle import is_locked, keep_form
from kitting.pages.photographed import PHOTOGRAPHED, is_photograph, read_photograph
from kitting.pages.signing_in import turned_away
from kitting.pages.step_pages import STEPS
from kitting.pages.typed import NOT_TYPED
from kitting.roles import APPROVE, ASK, DO, SEE, Actor, require
from kitting.selectors.access import access_refusal
from kitting.services.devices import acting_on
from kitting.services.replay_scans import keep_typed

OPEN, SIGNED_IN = "", "signed in"  # no right of the table of roles: for anybody; for whoever is signed in
Of = Callable[..., str]  # the depot that a page is about, from what its address names


@dataclass(frozen=True, slots=True)
class Route:
    """An address and its view.

    Args:
        path, name, view: as Django's; an open view takes the request, any other what is ``Asked``.
        sees: action of the table of roles that must be visible to the person.
        acts: action, and the levels of which one is needed for a form sent to it; None: it takes no form.
        depot: the depot that a form sent to it would change, from what the address names.
        form_only: nothing is to be looked at there, it only takes a form: looking must change nothing.
        keeps_late: what a visiting crew sends there after its access has ended is kept for a person by the view.
    """

    path: str
    name: str
    view: View
    sees: str = SIGNED_IN
    acts: tuple[str, ...] | None = None
    depot: Of | None = None
    form_only: bool = False
    keeps_late: bool = False

    @property
    def methods(self) -> list[str]:
        """What a browser may send."""
        return ["GET", "HEAD"] * (not self.form_only) + ["POST"] * (self.acts is not None)


PLANS, BAGS, WAREHOUSE, BUYS, COUNT = "job dates", "bags", "warehouse", "order sheet", "count"
TRUCK_STOCK, TURN_IN = "truck stock", "turn in"
_WHILE_LOCKED = ("switch", "sign-out")
# Where crews and stores scan or book: the last scans of the session stand there, and what takes each back.
TAKES_SCANS = {
    *(step.name for step in STEPS), "bag", "borrow", "check", "count", "install", "issue", "item", "load-van",
    "pay-back", "pick", "pieces", "receipt", "receive", "receive-line", "sign-ends", "storm-issue", "storm-kit",
    "storm-lots", "storm-returns", "transfer", "transfers", "truck", "turn-in", "undo", "undo-move", "undo-receipt",
    "write-off",
}  # fmt: skip


def guarded(route: Route) -> Callable[..., HttpResponse]:
    """The view of a route, behind its rights."""

    @wraps(route.view)
    def view(request: HttpRequest, **named: str) -> HttpResponse:
        if request.method not in route.methods and not (is_photograph(request) and PHOTOGRAPHED in request.GET):
            return HttpResponseNotAllowed(route.methods)
        if not isinstance(request.user, Person):
            return redirect_to_login(request.get_full_path())
        if route.name not in _WHILE_LOCKED and is_locked(request):
            return _locked(request)
        asked = Asked(request, request.user, scans=route.name in TAKES_SCANS)
        no_access = access_refusal(asked.actor, asked.at) if asked.actor.is_visiting else ""
        if no_access and not route.keeps_late and route.name not in _WHILE_LOCKED:
            with acting_on(device_of(request)):
                _keep_turned_in(route, asked, named, no_access)
            return turned_away(request, no_access)
        try:
            with acting_on(device_of(request)):
                if answer := read_photograph(asked):
                    return answer
                _require(route, asked, named)
                return route.view(asked, **named)
        except ANY_REFUSAL as refusal:
            return not_served(asked, refusal)

    return view


def _locked(request: HttpRequest) -> HttpResponse:
    """Ask who goes on, and then show the page that was wanted, or the form that was sent."""
    if request.method != "POST" or (request.FILES and not is_photograph(request)):
        return redirect_to_login(request.get_full_path(), reverse("switch"))
    keep_form(request)
    return redirect_to_login(reverse("kept-form"), reverse("switch"))


def _keep_turned_in(route: Route, asked: Asked, named: dict[str, str], why: str) -> None:
    """What a visiting crew turned in after its access had ended is not lost: a person looks at it."""
    if asked.request.method == "POST" and route.acts == (TURN_IN, DO) and not is_photograph(asked.request):
        typed = {name: ", ".join(texts) for name, texts in asked.request.POST.lists() if name not in NOT_TYPED}
        keep_typed(
            page=route.name, typed={**named, **typed}, why=why, action=asked.action, actor=asked.actor, at=asked.at
        )  # fmt: skip


def _require(route: Route, asked: Asked, named: dict[str, str]) -> None:
    if route.sees != SIGNED_IN:
        require(asked.actor, route.sees, SEE)
    if asked.request.method == "POST" and route.acts is not None and route.acts[0] != SIGNED_IN:
        action, *levels = route.acts
        depot = route.depot(**named) if route.depot else None
        if not any(asked.actor.may(action, level, depot) for level in levels):
            require(asked.actor, action, levels[0], depot)


def at_depot(depot: str) -> str:
    """The depot that an address names itself."""
    return depot


def depot_in_storm(storm: str, depot: str) -> str:  # noqa: ARG001 - the address names both
    """The same of an address that names a storm as well."""
    return depot


ROUTES: tuple[Route, ...] = (
    Route("sign-in", "sign-in", signing_in.sign_in, OPEN),
    Route("health", "health", signing_in.health, OPEN),
    Route("favicon.ico", "icon", signing_in.icon, OPEN),
    Route("sign-out", "sign-out", signing_in.sign_out, acts=(SIGNED_IN, ""), form_only=True),
    Route("switch", "switch", signing_in.switch, acts=(SIGNED_IN, "")),
    Route("typed", "kept-form", signing_in.form_again),
    Route("night", "night", signing_in.night, acts=(SIGNED_IN, ""), form_only=True),
    Route("", "home", home.home),
    Route("more", "more", home.more),
    Route("what", "what", what_page.what),
    Route("notices", "notices", notices_page.notices_page, acts=(SIGNED_IN, "")),
    Route("record", "record", record_pages.record, "trace"),
    Route("record/file.csv", "record-file", record_pages.record_file, "trace", (SIGNED_IN, ""), form_only=True),
    Route("record/<int:number>", "event", record_pages.event, "trace"),
    # planner
    Route("cutovers", "cutovers", cutover_pages.cutover_list, PLANS),
    Route("cutovers/friday-page.pdf", "friday", paper_pages.friday, PLANS, (SIGNED_IN, ""), form_only=True),
    Route("cutovers/freeze", "freeze", freeze_page.freeze, PLANS, (PLANS, DO), form_only=True),
    Route("jobs/<str:job>", "job", cutover_pages.job_page, PLANS),
    Route("jobs/<str:job>/line", "line", cutover_pages.line_page, PLANS),
    Route("jobs/<str:job>/pin", "pin", deciding_by_hand.pin_page, PLANS, (PLANS, DO)),
    Route("pins", "pins", standing_pages.pins, PLANS, (PLANS, DO)),
    Route("jobs/<str:job>/end", "end-job", deciding_by_hand.end_job, PLANS, (PLANS, DO)),
    Route("jobs/<str:job>/move", "move", planning_pages.move, PLANS, (PLANS, DO)),
    Route("jobs/<str:job>/confirm", "confirm-job", job_state_pages.confirm, PLANS, (PLANS, DO), form_only=True),
    Route("jobs/<str:job>/energise", "energise-job", job_state_pages.energise, PLANS, ("as-installed", DO),
          bag_pages.depot_of_job, form_only=True),
    Route("jobs/<str:job>/history", "history", history_page.history, PLANS),
    Route("jobs/<str:job>/call-sheet", "call-sheet", paper_pages.call_sheet, PLANS),
    Route("jobs/<str:job>/bags", "job-bags", bag_pages.job_bags, BAGS, (BAGS, DO), bag_pages.depot_of_job),
    Route("jobs/<str:job>/depots", "bag-depots", bag_depot_pages.change, PLANS, (PLANS, DO), form_only=True),
    Route("jobs/<str:job>/print/<str:name>.pdf", "bag-papers", paper_pages.job_papers, BAGS, (SIGNED_IN, "")),
    Route("jobs/<str:job>/pictures", "job-pictures", picture_pages.job_pictures, "position picture",
          ("position picture", DO), bag_pages.depot_of_job),
    Route("jobs/<str:job>/pictures/<int:number>", "position-picture", picture_pages.position_picture,
          "position picture"),
    Route("jobs/<str:job>/<str:name>", "slip", paper_pages.slip, "bags", (SIGNED_IN, "")),
    Route("plans", "plans", planning_pages.plans, PLANS, (PLANS, DO)),
    Route("plans/<int:number>/apply", "apply", planning_pages.apply_page, PLANS, (PLANS, DO), form_only=True),
    Route("errands/<int:number>", "errand", planning_pages.errand_page, PLANS),
    Route("errands/<int:number>/stop", "stop-errand", planning_pages.stop, "sheets", ("sheets", DO),
          form_only=True),
    Route("what-if", "what-if", planning_pages.what_if_page, PLANS, (PLANS, DO)),
    Route("files", "files", file_pages.files, "sheets", ("sheets", DO)),
    Route("files/start", "start-schedule", start_pages.start_schedule, "schedule", ("schedule", DO)),
    Route("files/<int:number>", "file", file_pages.file_page, "sheets", ("sheets", DO)),
    Route("files/<int:number>/columns", "columns", layout_pages.columns, "sheets", ("sheets", DO)),
    Route("layouts", "layouts", layout_pages.layouts, "sheets"),
    Route("layouts/<int:number>", "layout", layout_pages.layout, "sheets", ("sheets", DO)),
    Route("layouts/<int:number>.toml", "layout-file", layout_pages.layout_toml, "sheets"),
    Route("questions", "questions", fact_pages.questions, "schedule", ("sheets", DO)),
    Route("reels", "reels", fact_pages.reels, "reel band"),
    Route("reels/<path:reel>", "reel", fact_pages.reel, "reel band", ("reel band", DO)),
    Route("fit", "fit-check", fit_pages.fit_check, "field answers"),
    Route("where", "where", fit_pages.where_is_one, "field answers"),
    Route("people", "people", people_page.people, "people", ("people", DO)),
    Route("device", "device", device_pages.device, "people", ("people", DO)),
    Route("papers", "papers", paper_pages.papers, PLANS, (SIGNED_IN, "")),
    Route("papers/<str:name>", "paper", paper_pages.paper, PLANS),
    # stock
    Route("stock", "stock", stock_pages.stock, "items"),
    Route("stock/then", "stock-then", stock_then_page.then, "trace"),
    Route("stock/dates", "stock-dates", stock_pages.dates, "items"),
    Route("items/<path:code>", "item", item_pages.item_page, "items"),
    Route("lots/<path:name>", "lot", lot_pages.lot, "trace", ("lot hold", DO)),
    Route("traces/<str:ending>/<path:name>", "trace", lot_pages.trace_paper, "trace", (SIGNED_IN, ""), form_only=True),
    Route("places/<int:number>", "place", place_pages.place, "items"),
    Route("receive", "receive", receiving_pages.to_come, WAREHOUSE),
    Route(
        "receive/<int:number>",
        "receive-line",
        receiving_pages.receive_line,
        WAREHOUSE,
        (WAREHOUSE, DO),
        receiving_pages.depot_of_line,
    ),
    Route("receipts/<path:number>/undo", "undo-receipt", pieces_page.undo_receiving, WAREHOUSE, (WAREHOUSE, DO),
          form_only=True),
    Route("moves/<path:number>/undo", "undo-move", pieces_page.undo_moving, WAREHOUSE, (WAREHOUSE, DO), form_only=True),
    Route("pieces/<int:number>", "pieces", pieces_page.pieces, WAREHOUSE, (WAREHOUSE, DO), pieces_page.depot_of_pieces),
    Route("receipts/<path:number>", "receipt", receiving_pages.receipt_page, WAREHOUSE),
    Route("transfers", "transfers", transfer_pages.transfers, WAREHOUSE, (WAREHOUSE, DO)),
    Route(
        "transfers/load/<int:source>/<int:target>",
        "load-van",
        transfer_pages.load_van,
        WAREHOUSE,
        (WAREHOUSE, DO),
        transfer_pages.depot_code,
    ),
    Route(
        "transfers/<int:number>", "transfer", van_pages.transfer_page, WAREHOUSE, (WAREHOUSE, DO), van_pages.receiver
    ),
    Route("transfers/<int:number>/slip.pdf", "transfer-slip", van_pages.slip_paper, WAREHOUSE, (SIGNED_IN, ""),
          form_only=True),
    Route("transfers/<int:number>/box-label.pdf", "box-label", van_pages.box_paper, WAREHOUSE, (SIGNED_IN, ""),
          form_only=True),
    Route("transfers/differences/<int:number>", "difference", van_pages.difference, WAREHOUSE, (WAREHOUSE, DO),
          form_only=True),
    # trucks: crews keep their lists and turn in; stores load them
    Route("trucks", "trucks", truck_pages.truck_list, TRUCK_STOCK, (TRUCK_STOCK, DO)),
    Route("trucks/<int:number>", "truck", truck_pages.truck_page, TRUCK_STOCK, (TRUCK_STOCK, DO),
          truck_pages.depot_of_truck),
    Route("trucks/<int:number>/restock-slip.pdf", "restock-slip", truck_pages.slip_paper, TRUCK_STOCK, (SIGNED_IN, ""),
          form_only=True),
    Route("trucks/<int:number>/restock-slip.csv", "restock-slip-file", truck_pages.slip_file, TRUCK_STOCK),
    Route("reserve", "reserves", reserve_page.reserve_list, "reserve", (WAREHOUSE, DO)),
    # loans: planners and buyers agree them, stores hand over; the use cases look at which of these it is
    Route("loans", "loans", loan_pages.loans, "loan", ("loan", DO)),
    Route("loans/<int:number>", "loan", loan_pages.loan_page, "loan", ("loan", SEE)),
    Route("ends", "ends", ends_page.ends, "as-installed", ("as-installed", DO)),
    Route("ends/pictures", "end-pictures", picture_pages.end_pictures, "as-installed", ("as-installed", DO),
          form_only=True),
    Route("ends/pictures/<int:number>", "end-picture", picture_pages.end_picture, "as-installed"),
    Route("failures", "failures", failure_pages.failures, "failure", ("failure", DO)),
    Route("failures/<int:number>", "failure", failure_pages.failure, "failure", ("failure", DO)),
    Route("failures/file/<str:name>", "failures-file", failure_pages.failures_file, "failure", (SIGNED_IN, ""),
          form_only=True),
    Route("failures/<int:number>/pictures", "failure-pictures", picture_pages.failure_pictures, "failure",
          ("failure", DO), form_only=True),
    Route("failures/<int:number>/pictures/<int:picture>", "failure-picture", picture_pages.failure_picture, "failure"),
    Route("holds/<int:number>/tag.pdf", "hold-tag", lot_pages.tag, "trace", (SIGNED_IN, ""), form_only=True),
    # counts: stores count and explain, the auditor approves
    Route("counts", "counts", count_pages.counts, COUNT),
    Route("counts/accuracy", "count-accuracy", count_pages.accuracy_page, COUNT),
    Route("counts/propose/<str:depot>", "propose-count", count_pages.propose_count, COUNT, (COUNT, DO), at_depot),
    Route("counts/<int:number>", "count", count_walk.count, COUNT, (COUNT, DO), count_pages.depot_of_count),
    Route("counts/<int:number>/lines", "count-lines", count_pages.count_lines, COUNT, (COUNT, DO),
          count_pages.depot_of_count),
    Route("counts/<int:number>/paper", "count-paper", count_pages.paper_sheet, COUNT, (COUNT, DO),
          count_pages.depot_of_count),
    Route("counts/<int:number>/sheet.pdf", "count-sheet", count_pages.sheet_paper, COUNT, (SIGNED_IN, ""),
          form_only=True),
    Route("counts/<int:number>/sheet.csv", "count-sheet-file", count_pages.sheet_file, COUNT),
    Route("counts/differences/<int:number>", "count-difference", count_settling.difference, COUNT,
          (COUNT, DO, APPROVE), count_settling.depot_of_difference),
    # storekeeper and crew lead
    Route("bags", "bags", bag_pages.bags, BAGS),
    Route("emergency", "emergency", emergency_pages.emergency, BAGS, (BAGS, DO)),
    Route("bags/<str:code>", "bag", bag_pages.bag, BAGS),
    Route("bags/<str:code>/print/<str:name>.pdf", "bag-paper", paper_pages.bag_paper, BAGS, (SIGNED_IN, "")),
    Route("bags/<str:code>/pictures", "bag-pictures", picture_pages.bag_pictures, "bag picture", ("bag picture", DO),
          depot_of_bag),
    Route("bags/<str:code>/pictures/<int:number>", "bag-picture", picture_pages.bag_picture, "bag picture"),
    Route("bags/<str:code>/undo", "undo", bag_pages.undo_scan, TURN_IN, (TURN_IN, DO), depot_of_bag, form_only=True),
    Route("bags/<str:code>/check", "check", check_pages.check, BAGS, (BAGS, DO), depot_of_bag),
    Route("bags/<str:code>/turn-in", "turn-in", turn_in_pages.turn_in_page, TURN_IN, (TURN_IN, DO), depot_of_bag),
    Route("bags/<str:code>/ask-short", "ask-short", bag_request_pages.ask_short, "short bag",
          ("short bag", ASK, APPROVE), depot_of_bag),
    Route("bags/<str:code>/install", "install", install_pages.install_page, BAGS, ("as-installed", DO), depot_of_bag),
    Route("bags/<str:code>/sign", "sign-ends", sign_pages.sign_ends_page, BAGS, ("as-installed", DO), depot_of_bag),
    Route("bags/<str:code>/borrow", "borrow", borrow_pages.borrow, BAGS, (BAGS, DO), depot_of_bag),
    *(Route(f"bags/<str:code>/{one.name}", one.name, one.view, BAGS, (one.right, DO), depot_of_bag) for one in STEPS),
    Route("bags/<str:code>/write-off", "write-off", oops_pages.oops_page, BAGS, (TURN_IN, DO), depot_of_bag),
    Route("bags/<str:code>/pay-back", "pay-back", borrow_pages.pay_back_page, BAGS, (BAGS, DO), depot_of_bag),
    Route("pick/<str:depot>", "pick", pick_pages.pick, BAGS, (BAGS, DO), at_depot),
    Route("labels/<str:depot>", "day-labels", label_pages.day_labels, BAGS, (SIGNED_IN, "")),
    Route("print-queue", "put-in-queue", queue_pages.put_in_queue, BAGS, (SIGNED_IN, ""), form_only=True),
    Route("print-queue/<str:depot>", "print-queue", queue_pages.print_queue, BAGS, (SIGNED_IN, "")),
    Route("issue/<str:depot>", "issue", out_pages.issue, BAGS, (BAGS, DO), at_depot),
    # without a signal: a script fills the page, and use cases look at what each scan needs
    Route("carried/bags", "carried", carried_pages.carried_page, TURN_IN),
    Route("carried/worker.js", "carried-worker", carried_pages.worker, TURN_IN),
    Route("carried/token.json", "carried-token", carried_pages.carried_token, TURN_IN),
    Route("carried/bags.json", "carried-data", carried_pages.carried_data, TURN_IN, (SIGNED_IN, ""), form_only=True),
    Route("carried/scans", "carried-scans", carried_pages.carried_scans, TURN_IN, (TURN_IN, DO), form_only=True,
          keeps_late=True),
    # storms: the duty supervisor opens and closes them; use cases look at the rest of what is decided there
    Route("storms", "storms", storm_pages.storms, PLANS, ("storm", ASK, APPROVE)),
    Route("storms/<str:storm>", "storm", storm_pages.storm, PLANS, ("storm", ASK, APPROVE)),
    Route("storms/<str:storm>/use", "storm-use", storm_pages.storm_use, PLANS),
    Route("storms/<str:storm>/use.<str:ending>", "storm-use-file", storm_pages.storm_use_file, "prices",
          (SIGNED_IN, ""), form_only=True),
    Route("storms/<str:storm>/kit", "storm-kit", storm_counter.storm_kit, BAGS, (BAGS, DO)),
    Route("storms/<str:storm>/issue/<str:depot>", "storm-issue", storm_counter.storm_issue, BAGS, (BAGS, DO),
          depot_in_storm),
    Route("storms/<str:storm>/lots", "storm-lots", storm_counter.storm_lots, BAGS, (BAGS, DO)),
    Route("storms/<str:storm>/returns", "storm-returns", storm_counter.storm_returns, TURN_IN),
    # kits that are built ahead
    Route("premade", "premade", premade_pages.premade, BAGS),
    Route("premade/<str:depot>/build", "premade-build", premade_pages.build, BAGS, (BAGS, DO), at_depot,
          form_only=True),
    Route("recipes", "recipes", premade_pages.recipes, "rules", ("rules", DO)),
    Route("recipes/<str:name>", "recipe", premade_pages.recipe, "rules"),
    Route("borrows", "borrows", standing_pages.borrows, "staged bag", ("staged bag", APPROVE)),
    # buyer
    Route("buying", "buying", buying_pages.buying_page, BUYS, (BUYS, DO)),
    Route("buying/owner", "short-owner", short_line_pages.short_owner, PLANS, (PLANS, SEE), form_only=True),
    Route("buying/sheets/<int:number>", "sent-sheet", buying_pages.sheet_page, BUYS),
    Route("buying/sheets/<int:number>/print", "sent-sheet-paper", buying_pages.sheet_paper, BUYS, (SIGNED_IN, ""),
          form_only=True),
    Route("buying/sheets/<int:number>.<str:ending>", "sent-sheet-file", buying_pages.sheet_file, BUYS),
    Route("buying/used", "consumption", buying_pages.consumption_page, BUYS),
    Route("buying/used.<str:ending>", "consumption-file", buying_pages.consumption_file, BUYS),
    Route("orders", "orders", order_pages.orders, BUYS, (BUYS, DO)),
    Route("orders/<int:number>", "order-line", order_pages.order_line, BUYS, (BUYS, DO),
          receiving_pages.depot_of_line),
    Route("orders/<int:number>/send-back", "send-back", order_changes.send_back_page, BUYS, (WAREHOUSE, DO),
          receiving_pages.depot_of_line, form_only=True),
    # asked by one person, decided by another; the use cases look at who asked, and at the depot
    Route("to-approve", "to-approve", deciding_pages.to_approve),
    Route("to-approve/stand-ins/<int:number>", "stand-in-asked", deciding_pages.stand_in_page, "stand-in",
          ("stand-in", ASK, APPROVE)),
    Route("to-approve/reserve/<int:number>", "reserve-asked", deciding_pages.reserve_page, "reserve",
          ("reserve", APPROVE), deciding_pages.depot_of_reserve),
    Route("to-approve/bags/<int:number>", "bag-asked", bag_request_pages.bag_asked, "short bag",
          ("short bag", APPROVE), bag_request_pages.depot_of_request),
    Route("to-approve/lots/<int:number>", "lot-asked", deciding_pages.lot_page, "lot hold", ("lot hold", APPROVE)),
    Route("to-approve/expired/<int:number>", "expired-asked", expired_pages.expired_page, "expired lot",
          ("expired lot", APPROVE)),
    Route("ask/expired", "ask-expired", expired_pages.ask, "expired lot", ("expired lot", APPROVE)),
    Route("to-approve/rules/<int:number>", "rule-draft", rule_draft_pages.rule_draft_page, "rules",
          ("rules", DO, APPROVE)),
    Route("stand-ins", "stand-ins", stand_in_pages.stand_ins, "stand-in", ("stand-in", APPROVE)),
    Route("stand-ins/<int:number>", "stand-in", stand_in_pages.stand_in, "stand-in", ("stand-in", APPROVE)),
    Route("ask/stand-in", "ask-stand-in", asking_pages.stand_in, "stand-in", ("stand-in", ASK, APPROVE)),
    Route("ask/reserve", "ask-reserve", asking_pages.reserve, "reserve", ("reserve", ASK, APPROVE)),
    Route("ask/hold-release", "ask-hold-release", asking_pages.hold_release, "lot hold", ("lot hold", APPROVE)),
    Route("ask/extension", "ask-extension", asking_pages.extension, "lot hold", ("lot hold", APPROVE)),
    Route("exceptions", "exceptions", exception_pages.exceptions, "trace", ("bags", DO)),
    Route("exceptions/recheck", "recheck", exception_pages.recheck, "trace", ("trace", SEE)),
)  # fmt: skip


_SEES = {one.name: one.sees for one in ROUTES}


def may_see(actor: Actor, name: str) -> bool:
    """Whether a person may look at the page of a route."""
    return _SEES[name] in (OPEN, SIGNED_IN) or actor.may(_SEES[name], SEE)


def addresses() -> list[URLPattern]:
    """The table as Django's addresses."""
    return [path(one.path, one.view if one.sees == OPEN else guarded(one), name=one.name) for one in ROUTES]
