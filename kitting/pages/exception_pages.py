"""What was overridden, what stands open and should not for long, and what today's rules would refuse."""

from datetime import date, datetime, time, timedelta

from django.http import HttpResponse
from django.urls import reverse

from kitting.calculation.bag_states import CLOSED
from kitting.errands.looking import RECHECK
from kitting.models import Errand
from kitting.models.errands import DONE
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, page, refused
from kitting.pages.device_pages import devices_table
from kitting.pages.planning_pages import ask
from kitting.pages.standing_pages import borrow_table
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, day_of
from kitting.roles import DO, SEE
from kitting.selectors.bag_contents import bare
from kitting.selectors.device_loads import device_stands
from kitting.selectors.exceptions import finished_short, kept_scans, open_bags, unknown_lots
from kitting.selectors.overrides import overrides
from kitting.selectors.sight import depots_seen, has_own_ends_only
from kitting.selectors.spare_use import spare_use
from kitting.services.replay_scans import SCANS, book_kept, settle_scan

_LOOKED_BACK = timedelta(days=30)


def exceptions(asked: Asked) -> HttpResponse:
    """All kinds on one page, of the depots that one sees; overrides of the last 30 days unless said otherwise.

    Crews see what is lent and what is out, and not what others overrode.
    """
    if asked.request.method == "POST":
        here = reverse("exceptions")
        return attempt(asked, lambda: _settle(asked), here, back=back_with_typed(asked, here))
    since = asked.today - _LOOKED_BACK
    if asked.text("since"):
        try:
            since = day_of(asked, "since")
        except ANY_REFUSAL as refusal:
            return refused(asked, refusal, reverse("exceptions"))
    tables, sees_overrides = [borrow_table(asked), _bags(asked)], not has_own_ends_only(asked.actor)
    if sees_overrides:
        devices = [one for one in device_stands(asked.at, asked.actor.depots) if one.depots]
        tables += [_short(asked, since), _unknown(asked), _spares(), _overrides(asked, since)]
        tables.insert(0, devices_table(asked, devices))

    def may_settle(depot: str) -> bool:
        return asked.actor.may("bags", DO, depot)

    context = {
        "since": since,
        "kept": [(one, one.use_case in SCANS, may_settle(one.depot)) for one in kept_scans(depots_seen(asked.actor))],
        "tables": tables,
        "sees_overrides": sees_overrides,
    }
    return page(asked, "exceptions.html", context)


def _settle(asked: Asked) -> tuple[str, str]:
    if asked.text("do") == "book":
        answer = book_kept(action=asked.text("scan"), actor=asked.actor, at=asked.at, confirmed=asked.confirmed)
        return answer.word, answer.sentence
    kept = settle_scan(action=asked.text("scan"), why=asked.text("why"), actor=asked.actor, at=asked.at)
    return "SETTLED", f"The scan {kept.use_case} of {kept.by} is settled; nothing was booked by that."


def _bags(asked: Asked) -> Table:
    rows = [
        [
            link(str(one.bag), "job", one.bag.job.job),
            Cell(one.bag.state, note=one.bag.why if one.bag.state == CLOSED else ""),
            figure(f"{one.age_days(asked.today)} days"),
            Cell(one.bag.crew or "–", note=one.bag.whereabouts),
            ", ".join(one.pieces) or "all accounted for: close it",
        ]
        for one in open_bags(depots_seen(asked.actor))
    ]
    heads = ("Bag", "State", "Out since", "With", "Not accounted for")
    return Table("Bags that do not balance: out, or closed by an exception", heads, rows, "No bag is out.")


def _short(asked: Asked, since: date) -> Table:
    begin = datetime.combine(since, time.min, asked.zone)
    names = asked.actor.may("names", SEE)
    rows = [
        [
            f"{one.at.astimezone(asked.zone):%Y-%m-%d %H:%M}",
            one.bag,
            ", ".join(one.missing),
            Cell(one.cause or "not asked then", note=one.words),
            one.by if names or one.by == asked.actor.name else "–",
        ]
        for one in finished_short(begin, depots_seen(asked.actor))
    ]
    heads = ("When", "Bag", "Missing", "Why", "By")
    return Table(f"Bags finished short since {since}, the last first", heads, rows, "No bag was finished short.")


def _unknown(asked: Asked) -> Table:
    found = unknown_lots(depots_seen(asked.actor))
    rows = [[one.stock_code, figure(bare(one.quantity)), ", ".join(one.places)] for one in found]
    heads = ("Stock code", "Pieces", "Places")
    return Table("Pieces of unknown lots", heads, rows, "The lot of every piece is known.")


def _spares() -> Table:
    rows = [
        [one.kind, figure(one.outages), figure(bare(one.went)), figure(bare(one.used)), one.advice]
        for one in spare_use()
    ]
    heads = ("Kind of part", "Outages", "Spares out", "Used", "Advice for the policy")
    return Table("Spares used, by kind of part", heads, rows, "No spare has gone out yet.")


def _overrides(asked: Asked, since: date) -> Table:
    begin, seen = datetime.combine(since, time.min, asked.zone), depots_seen(asked.actor)
    rows = [
        [f"{one.at.astimezone(asked.zone):%Y-%m-%d %H:%M}", one.what, one.subject,
         Cell(one.by, note=f"asked by {one.asked_by}" if one.asked_by else ""), one.reason]
        for one in reversed(overrides(since=begin))
        if not seen or one.depot in ("", *seen)
    ]  # fmt: skip
    heads = ("When", "What", "Of what", "By", "Why")
    return Table(f"Overridden since {since}, the last first", heads, rows, "Nothing was overridden in this time.")


def recheck(asked: Asked) -> HttpResponse:
    """What was installed, and stand-ins that are promised, against the rules and approvals of today."""
    if asked.request.method == "POST":
        return ask(asked, RECHECK, {})
    looked = Errand.objects.filter(kind=RECHECK, state=DONE).order_by("-pk").first()
    context: dict[str, object] = {"looked": looked}
    if looked:
        result = looked.result
        rows = [
            [link(one["job"], "job", one["job"]), Cell(one["end"], note=one["phase"] and f"phases {one['phase']}"),
             Cell(one["stock_code"], note=f"{one['slot']}, lot {one['lot'] or 'unknown'}"), figure(one["quantity"]),
             Cell(one["state"], note=one["check"]), one["sentence"]]
            for one in result["rows"]
        ]  # fmt: skip
        heads: tuple[str, ...] = ("Job", "End", "Part", "Pieces", "By today's rules", "Why")
        caption = f"{result['count']} of the installed parts ({result['checked']} pieces looked at)"
        context["installed"] = Table(caption, heads, rows, f"All {result['checked']} pieces serve by today's rules.")
        rows = [
            [link(one["job"], "job", one["job"]), one["line"], one["stock_code"], figure(one["quantity"]),
             one["place"] or "on order", one["ended"] or "no approval left"]
            for one in result["ended"]
        ]  # fmt: skip
        heads = ("Job", "Line", "Stock code", "Pieces", "Where", "Approved until")
        caption = "Promised stand-ins whose approval ends before the cutover"
        context["ended"] = Table(caption, heads, rows, "Every promised stand-in is approved through its cutover.")
    return page(asked, "recheck.html", context)
