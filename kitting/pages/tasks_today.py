"""What waits for a person today, by what they may do."""

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import urlencode

from django.urls import reverse

from inventory.selectors.balances import EXPIRED, look_ahead
from kitting.calculation.answers import CANT_TELL, NO_RULE, READY, READY_IF
from kitting.calculation.bag_states import (
    ARRIVE,
    BROKEN,
    CHECK,
    CHECKED,
    INSTALL,
    ISSUE,
    LISTED,
    ON_HOLD,
    OUT,
    PICK,
    PICKING,
    REOPENED,
    SHORT,
    STAGE,
    STAGED,
    TURN_IN,
)  # fmt: skip
from kitting.calculation.job_states import PLANNED
from kitting.pages.asked import Asked
from kitting.pages.deciding_pages import waiting_for
from kitting.pages.one_or_many import worded
from kitting.roles import APPROVE, ASK, DO, SEE
from kitting.selectors.bag_contents import contents_of, label_code
from kitting.selectors.bag_requests import to_be_used
from kitting.selectors.bag_rows import REWORK, not_ended
from kitting.selectors.buying import to_order_counts
from kitting.selectors.counting import bags_to_find
from kitting.selectors.cutovers import NOT_PLANNED, SOON_DAYS, bags_to_list, cutovers
from kitting.selectors.exceptions import kept_scans
from kitting.selectors.loans import loan_stands
from kitting.selectors.notices import new_notices
from kitting.selectors.open_counts import COUNT, EXPLAIN, RECOUNT, list_states
from kitting.selectors.orders import on_order, to_give_out
from kitting.selectors.premade_kits import READY as FILLED
from kitting.selectors.premade_kits import kits, to_build
from kitting.selectors.printings import papers_waiting
from kitting.selectors.returns_due import NOTICE_DAYS, returns_late
from kitting.selectors.rotation import rotations
from kitting.selectors.stock_sums import order_lines_open
from kitting.selectors.storms import LONGEST_DAYS, left_on, lots_unnamed, open_storms
from kitting.selectors.transfer_asks import open_asks
from kitting.selectors.trucks import trucks
from kitting.selectors.vans import differences_open, transfers_open, vans_waiting
from kitting.services.note_looking import dates_seen
from kitting.services.two_persons import same_person

_CONFIRM_DAYS = 3  # common practice: the crew lead is called three days before, and then the date stands
_NAMED = 4


@dataclass(frozen=True, slots=True)
class Task:
    """Something that waits: how many, what (worded for many), and where it is done."""

    count: int
    what: str
    href: str
    note: str = ""

    @property
    def words(self) -> str:
        """What waits, as one or as many."""
        return worded(self.count, self.what)


def tasks_for(asked: Asked) -> list[Task]:
    """All tasks of a person, in the order of the kinds."""
    return [task for kind in KINDS for task in kind(asked)]


def _planning(asked: Asked) -> Iterator[Task]:
    if not asked.actor.may("job dates", DO):
        return
    jobs = cutovers()
    ahead = [one for one in jobs if one.staged_by and (one.staged_by - asked.today).days <= SOON_DAYS]
    unsure = [one for one in ahead if one.answer not in (READY, READY_IF)]
    note = ", ".join(one.job.job for one in unsure)
    yield Task(len(unsure), f"jobs not ready, staged within {SOON_DAYS} days", reverse("cutovers"), note)
    changed = [one.job.job for one in jobs if one.changed and one.answer != NOT_PLANNED]
    if changed:
        yield Task(len(changed), "jobs changed since the plan: plan again", reverse("plans"), ", ".join(changed))
    last = (asked.today + timedelta(_CONFIRM_DAYS)).isoformat()
    unsaid = [one for one in jobs if one.standing.state == PLANNED and not one.has_passed(asked.today)]
    near = [one for one in unsaid if "" < one.job.cutover[:10] <= last]
    if near:
        what = f"jobs to confirm, cut over within {_CONFIRM_DAYS} days"
        yield Task(len(near), what, reverse("cutovers"), ", ".join(one.job.job for one in near))
    passed = [one.job.job for one in jobs if one.has_passed(asked.today)]
    if passed:
        yield Task(len(passed), "jobs past their cutover: move or end them", reverse("cutovers"), ", ".join(passed))
    undated = sum(not one.job.cutover for one in jobs)
    if undated:
        yield Task(undated, "jobs without a date", reverse("cutovers"))


def _ruling(asked: Asked) -> Iterator[Task]:
    """Jobs that wait for a fact or a rule, for who keeps the rules."""
    if not asked.actor.may("rules", DO):
        return
    last = (asked.today + timedelta(SOON_DAYS)).isoformat()
    unsure = [one for one in cutovers() if one.answer in (CANT_TELL, NO_RULE) and "" < one.job.cutover[:10] <= last]
    if unsure:
        what = f"jobs nobody can decide, cut over within {SOON_DAYS} days"
        yield Task(len(unsure), what, reverse("cutovers"), ", ".join(one.job.job for one in unsure))


def _stores(asked: Asked) -> Iterator[Task]:
    """What stores receive, load, count out and explain; nothing of it is a task for who only looks."""
    actor, depots = asked.actor, asked.actor.depots
    if not actor.may("warehouse", DO):
        return
    due = [one for one in order_lines_open(depots=depots) if one.promised and one.promised <= asked.today]
    vans = [f"{source} to {target}" for source, target in vans_waiting(depots)]
    loose = [one for one in transfers_open(depots) if not one.place.job]  # bags are taken in by scan
    road = [one for one in loose if not depots or one.to_depot.depot in depots]
    asks = [one for one in open_asks(depots) if not depots or one.source in depots]
    low = [one for one in trucks(today=asked.today, depots=depots) if one.below or one.to_take_off]
    swaps = [str(one.old.lot) for one in rotations(today=asked.today, depots=depots)]
    waiting = (
        (len(due), "order lines due to receive", "receive", ", ".join(str(one) for one in due)),
        (len(vans), "transfers to load", "transfers", ", ".join(vans)),
        (len(road), "transfers to count out", "transfers", ", ".join(one.number for one in road)),
        (len(differences_open(depots)), "transfers counted differently", "transfers", ""),
        (len(asks), "asked by other depots", "transfers", ""),
        (len(low), "trucks to restock or to clear", "trucks", ", ".join(str(one.place) for one in low)),
        (len(swaps), "lots of the reserve to swap for fresh ones", "reserves", ", ".join(dict.fromkeys(swaps))),
    )
    for number, what, route, note in waiting:
        if number:
            yield Task(number, what, reverse(route), note)
    yield from _dates(asked)


def _dates(asked: Asked) -> Iterator[Task]:
    """What is out of date, each day; what will be within 90, 60 or 30 days once a week, until it is looked at."""
    found: dict[str, list[str]] = defaultdict(list)
    for one in look_ahead(today=asked.today):
        depots = asked.actor.depots
        if one.lying.use_by and (not depots or one.lying.depot in depots):
            found[one.within].append(f"{one.lying.stock_code} {one.lying.lot}")
    lots = {within: list(dict.fromkeys(of)) for within, of in found.items()}
    expired = lots.pop(EXPIRED, [])
    if expired:
        yield Task(len(expired), "lots out of date", reverse("stock-dates"), ", ".join(expired))
    if lots and not dates_seen(asked.actor, asked.week_began):
        note = "; ".join(f"within {within}: {', '.join(of)}" for within, of in lots.items())
        yield Task(sum(map(len, lots.values())), "lots whose date comes near this week", reverse("stock-dates"), note)


_STORES = {
    PICK: "bags to pick", CHECK: "bags to check, by another person than who filled them", STAGE: "bags to stage",
    ARRIVE: "bags on the road, to be taken in", ISSUE: "bags staged, to be issued",
    TURN_IN: "bags out with crews, to be turned in",
    REWORK: "bags to be looked at again",
}  # fmt: skip
_CREW = {TURN_IN: "bags with crews: begin work, note what is installed, turn in"}
_WAITS = {
    LISTED: PICK, PICKING: PICK, SHORT: CHECK, CHECKED: STAGE, STAGED: ISSUE, REOPENED: REWORK, BROKEN: REWORK,
    ON_HOLD: REWORK, **dict.fromkeys(OUT, TURN_IN),
}  # fmt: skip


def _listing(asked: Asked) -> Iterator[Task]:
    """Jobs whose bags can be listed, so that there is something to pick."""
    if not asked.actor.may("bags", DO):
        return
    found: dict[str, list[str]] = defaultdict(list)
    for one in bags_to_list(asked.today, asked.actor.depots):
        found[one.job.depot].append(f"{one.job.job} by {one.staged_by}")
    for depot, jobs in sorted(found.items()):
        note = f"depot {depot}: {', '.join(jobs[:_NAMED])}"
        note += f" and {len(jobs) - _NAMED} more" if len(jobs) > _NAMED else ""
        yield Task(len(jobs), "jobs without bags: list them", f"{reverse('bags')}?{urlencode({'depot': depot})}", note)


def _bags(asked: Asked) -> Iterator[Task]:
    """Bags by what comes next; whether a lot or a list has changed under them, their own page says."""
    stores = asked.actor.may("bags", DO)
    if not stores and not asked.actor.may("as-installed", DO):
        return
    words = _STORES if stores else _CREW
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    rows = not_ended(asked.actor.depots).filter(state__in=_WAITS)
    rows = rows.exclude(state=STAGED, job__recipe__isnull=False)  # a kit stands there until somebody wants it
    rows = rows.order_by("job__cutover", "job__job", "number")
    being_filled = contents_of(rows.filter(state=PICKING).select_related("job", "depot")) if stores else {}
    columns = ("pk", "depot__depot", "state", "transfer", "job__job", "structure")
    for bag, depot, state, on_the_road, job, structure in rows.values_list(*columns):
        is_full = bag in being_filled and not being_filled[bag].missing()
        step = ARRIVE if on_the_road else CHECK if is_full else _WAITS[state]
        found[depot, step].append(f"{job} {structure}".strip())
    for depot in sorted({depot for depot, _ in found}):
        for step, what in words.items():
            bags = found[depot, step]
            if bags:
                note = f"depot {depot}: {', '.join(bags[:_NAMED])}"
                note += f" and {len(bags) - _NAMED} more" if len(bags) > _NAMED else ""
                at = INSTALL if words is _CREW else step
                yield Task(len(bags), what, f"{reverse('bags')}?{urlencode({'depot': depot, 'do': at})}", note)


def _buying(asked: Asked) -> Iterator[Task]:
    if not asked.actor.may("order sheet", DO):
        return
    new, late, blocked = to_order_counts()
    yield Task(new, "lines to order", reverse("buying"), f"{late} of them TOO LATE" if late else "")
    if blocked:
        yield Task(blocked, "can't be ordered: a purchase unit is not known", reverse("buying"))
    pressing = [one for one in on_order() if one.matters(asked.today)]
    overdue = sum(one.is_overdue(asked.today) for one in pressing)
    note = f"{overdue} of them overdue" if overdue else ""
    yield Task(len(pressing), "orders to chase: jobs hang on them", reverse("orders"), note)
    yield from _dates(asked)
    came = to_give_out(asked.actor.depots)
    if came:
        yield Task(len(came), "deliveries to give out to who waits", reverse("orders"), ", ".join(came))


def _deciding(asked: Asked) -> Iterator[Task]:
    for kind, found in waiting_for(asked):
        if found:
            note = ", ".join(one.what for one in found[:_NAMED])
            yield Task(len(found), f"{kind.title.lower()}: to approve or refuse", reverse("to-approve"), note)


def _approved(asked: Asked) -> Iterator[Task]:
    """Bags that may go out short or lend by an approval that nobody has gone by yet."""
    if not asked.actor.may("bags", DO):
        return
    for one in to_be_used(asked.actor.depots, asked.today):
        request, code = one.request, label_code(one.request.bag)
        if request.to_bag and request.item:
            there = f"{reverse('borrow', args=[label_code(request.to_bag)])}?{urlencode({'item': request.item})}"
            yield Task(1, "borrow is approved: take the pieces", there, one.about)
        else:
            there = f"{reverse('issue', args=[request.bag.depot.depot])}?{urlencode({'bag': code})}"
            yield Task(1, "short bag may go out: issue it", there, one.about)


def _settling(asked: Asked) -> Iterator[Task]:
    if not asked.actor.may("bags", DO):
        return
    kept = len(kept_scans(asked.actor.depots))
    if kept:
        yield Task(kept, "scans that need a person", reverse("exceptions"))


def _returning(asked: Asked) -> Iterator[Task]:
    """Pieces that nobody has accounted for days after the outage, for stores, crews and who looks into things."""
    if not (asked.actor.may("turn in", DO) or asked.actor.may("count", APPROVE)):
        return
    depots = asked.actor.depots
    late = [one for one in returns_late(asked.today) if not depots or one.bag.depot.depot in depots]
    if late:
        what = f"returns open for more than {NOTICE_DAYS} working days"
        note = ", ".join(dict.fromkeys(f"{one.bag} {one.item}" for one in late[:_NAMED]))
        door = reverse("turn-in", args=[label_code(late[0].bag)])
        yield Task(len(late), what, reverse("exceptions") if asked.actor.may("trace", SEE) else door, note)


def _printing(asked: Asked) -> Iterator[Task]:
    if not asked.actor.may("bags", DO):
        return
    for depot, number in papers_waiting(asked.actor.depots):
        yield Task(number, "papers to print", reverse("print-queue", args=[depot]), f"depot {depot}")


def _counting(asked: Asked) -> Iterator[Task]:
    """What stores count, count again, explain, look for and post; what waits for an approval is among the decisions."""
    if not asked.actor.may("count", DO):
        return
    for state in list_states(depots=asked.actor.depots):
        one, waits = state.counted, state.waits
        again = [line for line in state.waiting(RECOUNT) if not same_person(line.counted_by, asked.actor.name)]
        walk, lines = reverse("count", args=[one.number]), reverse("count-lines", args=[one.number])
        note = f"{one}, depot {one.depot}"
        found = (
            (waits[COUNT], "places to count", walk),
            (len(again), "places to count again: another person counted them first", f"{walk}?again=yes"),
            (waits[EXPLAIN], "differences of a count to explain", lines),
            (state.may_post, "count settled: post it", lines),
        )
        yield from (Task(int(number), what, href, note) for number, what, href in found if number)
    lost = [one for one in bags_to_find() if not asked.actor.depots or one.place.depot.depot in asked.actor.depots]
    if lost:
        yield Task(len(lost), "bags to be found", reverse("counts"))


def _lending(asked: Asked) -> Iterator[Task]:
    """Loans that should be given back by now; for stores also those that they have to hand over."""
    stores, depots = asked.actor.may("warehouse", DO), asked.actor.depots
    if not stores and not asked.actor.may("loan", DO):
        return
    stands = loan_stands(today=asked.today, depots=depots)
    found = [one for one in stands if one.is_overdue(asked.today) or (stores and one.is_open and one.to_hand_over)]
    if found:
        what = "loans to hand over or overdue" if stores else "loans overdue"
        yield Task(len(found), what, reverse("loans"), ", ".join(str(one.loan) for one in found[:_NAMED]))


def _hearing(asked: Asked) -> Iterator[Task]:
    new = new_notices(asked.actor, asked.at)
    urgent = [one for one in new if one.kind.is_urgent and not one.settled]
    if urgent:
        unseen = [f"{one.event.name} {one.not_seen}" for one in urgent if one.not_seen]
        note = ", ".join(unseen[:_NAMED])
        yield Task(len(urgent), "notices that change today's work", reverse("notices"), note)
    if new[len(urgent) :]:
        yield Task(len(new) - len(urgent), "other notices", reverse("notices"))


def _storms(asked: Asked) -> Iterator[Task]:
    """Storms that somebody forgot to close, for who asks for them or opens them; for stores those on, lots to name."""
    if asked.actor.may("storm", APPROVE) or asked.actor.may("storm", ASK):
        late = left_on(asked.at)
        if late:
            what = f"storms left on for more than {LONGEST_DAYS} days: close them"
            yield Task(len(late), what, reverse("storms"), ", ".join(one.code for one in late))
    if asked.actor.may("bags", DO):
        for one in open_storms():
            what = "storm on: give kits, issue cartons, take returns"
            yield Task(1, what, reverse("storm", args=[one.code]), f"{one.code} {one.title}")
        for code, number in lots_unnamed(asked.actor.depots).items():
            yield Task(number, f"lots to name in storm {code}", reverse("storm-lots", args=[code]))


def _ahead(asked: Asked) -> Iterator[Task]:
    """Kits to be built ahead, and those to be looked at before they can't go out."""
    if not asked.actor.may("bags", DO):
        return
    here, depots = reverse("premade"), asked.actor.depots
    build = [one for one in to_build() if one.build and (not depots or one.level.depot.depot in depots)]
    for depot in sorted({one.level.depot.depot for one in build}):
        at = [one for one in build if one.level.depot.depot == depot]
        note = f"depot {depot}: {', '.join(f'{one.build} {one.level.recipe}' for one in at)}"
        yield Task(
            sum(one.build for one in at), "pre-made kits to build", f"{here}?{urlencode({'depot': depot})}", note
        )
    filled = [one for one in kits(on=asked.today) if one.bag.state in FILLED and (one.rework or one.soon)]
    for depot in sorted({one.bag.depot.depot for one in filled}):
        at_depot = [one for one in filled if one.bag.depot.depot == depot]
        if not depots or depot in depots:
            note = f"depot {depot}: {', '.join(str(one.bag) for one in at_depot[:_NAMED])}"
            yield Task(len(at_depot), "pre-made kits to look at", f"{here}?{urlencode({'depot': depot})}", note)


KINDS: list[Callable[[Asked], Iterator[Task]]] = [
    _hearing, _storms, _deciding, _planning, _ruling, _approved, _listing, _bags, _ahead, _stores, _counting, _lending,
    _buying, _returning, _printing, _settling,
]  # fmt: skip
