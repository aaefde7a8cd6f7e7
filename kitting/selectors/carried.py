"""What a device carries to where there is no signal: bags with all that their tasks need, and count lists, blind."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import date, timedelta
from typing import Any

from django.db.models import Q

from kitting.calculation.bag_states import (
    BEGIN,
    CHECK,
    FINISH,
    INSTALL,
    ISSUE,
    OUT,
    PICK,
    STAGE,
    TABLE,
    TURN_IN,
    WRITE_OFF,
    BagFacts,
)
from kitting.calculation.fit_matching import fits
from kitting.calculation.lengths import both, parse_length
from kitting.calculation.natural_order import natural_key
from kitting.calculation.short_codes import verified
from kitting.models import Bag
from kitting.models.bags import SHORT_CAUSES
from kitting.roles import DO, Actor
from kitting.selectors.bag_contents import (
    Contents,
    LineStand,
    contents_of,
    facts_of_all,
    label_code,
    live_letters,
    pickers,
)
from kitting.selectors.bag_rows import not_ended
from kitting.selectors.counting import blinded
from kitting.selectors.ends_to_fit import End, ends_to_fit
from kitting.selectors.fit_margins import LEAST, MOST
from kitting.selectors.fits import FitFacts, estimates_policy, fit_facts
from kitting.selectors.open_counts import COUNT, list_states
from kitting.selectors.pick_walk import Step, pick_walk
from kitting.selectors.rule_revisions import rule_book_on

DAYS_AHEAD = 10  # bags are filled and staged some working days before their cutover
MOST_BAGS = 60  # as many as a device keeps without trouble
# What can be done without a signal, and the action of the table of roles that it needs.
TASKS: Mapping[str, str] = {
    PICK: "bags", FINISH: "bags", CHECK: "bags", STAGE: "bags", ISSUE: "bags",
    BEGIN: "as-installed", INSTALL: "as-installed", WRITE_OFF: "turn in", TURN_IN: "turn in",
}  # fmt: skip
_COUNT_RIGHT = "count"

Told = dict[str, Any]  # as JSON holds it


def carried(actor: Actor, today: date, codes: Collection[str] = ()) -> Told:
    """Bags that are out or whose cutover is near, at the person's depots, and those named; and open count lists.

    The number of queries does not grow with bags and lines; a depot of theirs takes one pick walk.

    Args:
        actor: for whom; what they may not do is not among the tasks.
        today: where they are.
        codes: of bags to be carried as well, without check characters; those of nobody's bag are left out.
    """
    bags, left_out = _chosen(actor, today, codes)
    contents = contents_of(bags)
    filled_by = pickers(one.bag for one in contents.values())
    facts, letters = facts_of_all(contents.values()), live_letters(bag.job_id for bag in bags)
    ends, spans, policy = ends_to_fit(contents.values()), _fits(contents.values()), estimates_policy()
    stands = {stand.line.pk: stand for one in contents.values() for stand in one.lines}
    steps: dict[int, list[Step]] = defaultdict(list)
    for depot in sorted({bag.depot.depot for bag in bags if actor.may("bags", DO, bag.depot.depot)}):
        for step in pick_walk(depot=depot, bags=[label_code(bag) for bag in bags if bag.depot.depot == depot]):
            steps[step.bag.pk].append(step)
    return {
        "bags": [
            {
                **_bag(contents[bag.pk], facts[bag.pk]),
                "revision": letters.get(bag.job_id, ""),
                "pickers": sorted(filled_by[bag.pk]),
                "tasks": [name for name, right in TASKS.items() if actor.may(right, DO, bag.depot.depot)],
                "steps": [_step(step) for step in steps[bag.pk]],
                "ends": [_end(end, stands[end.line.pk]) for end in ends[bag.pk]],
                "fits": [*_parts(contents[bag.pk], spans, policy)],
            }
            for bag in bags
        ],
        "left_out": left_out,
        "counts": [*_counts(actor)],
        "causes": [[cause, f"{cause}: {means}"] for cause, means in SHORT_CAUSES.items()],
        "leads": _leads(),
        "cables": _range(parse_length(LEAST, None), parse_length(MOST, None)),
        "rules": rule_book_on(today),
    }


def workable(told: Told) -> dict[str, str]:
    """Of what a device carries, the bags on which its person can do something: the state of each by its code."""
    return {
        verified(one["code"]): one["state"]
        for one in told["bags"]
        if any(task in told["leads"].get(one["state"], {}) for task in one["tasks"])
    }


def _chosen(actor: Actor, today: date, codes: Collection[str]) -> tuple[list[Bag], int]:
    """The bags, those named and the nearest cutovers first, and how many were too many."""
    last = (today + timedelta(days=DAYS_AHEAD + 1)).isoformat()
    near = Q(state__in=OUT) | Q(job__cutover__gt="", job__cutover__lt=last) | Q(code__in=codes)
    found = [*not_ended(actor.depots).filter(near).select_related("job__recipe", "depot", "place__depot")]
    found.sort(key=lambda bag: (bag.code not in codes, bag.job.cutover or "9", natural_key(bag.job.job), bag.number))
    return found[:MOST_BAGS], max(len(found) - MOST_BAGS, 0)


def _bag(one: Contents, facts: BagFacts) -> Told:
    bag = one.bag
    wanted: dict[str, Told] = {}
    inside: dict[tuple[str, str], Told] = {}
    for stand in one.lines:
        item = stand.line.item
        if item is None:
            continue
        what = {"stock_code": item.stock_code, "what": item.called}
        if stand.missing and not stand.line.spare:
            row = wanted.setdefault(item.stock_code, {**what, "quantity": 0})
            row["quantity"] += stand.missing
        for number, pieces in stand.inside.items():
            if pieces > 0:
                lot = one.lots[number].number
                row = inside.setdefault((item.stock_code, lot), {**what, "lot": lot, "quantity": 0})
                row["quantity"] += pieces
    said = (facts.road.upper(), facts.elsewhere, facts.superseded, facts.old_label)
    stops = [*facts.held, *facts.out_of_date, *filter(None, said)]
    return {
        "code": label_code(bag), "name": str(bag), "depot": bag.depot.depot,
        "cutover": bag.job.cutover, "state": bag.state, "why": bag.why,
        "at": bag.whereabouts, "undecided": list(one.undecided()), "stops": stops,
        "missing": [*wanted.values()], "inside": [*inside.values()],
    }  # fmt: skip


def _step(step: Step) -> Told:
    item, place = step.lot.item, step.place
    return {
        "place": [place.depot.depot, place.code, place.kind], "stock_code": item.stock_code,
        "what": item.called, "unit": item.stock_unit, "lot": step.lot.number,
        "use_by": step.lot.use_by.isoformat() if step.lot.use_by else "", "quantity": step.quantity,
        "spare": step.is_spare, "held": step.is_held,
    }  # fmt: skip


def _end(end: End, stand: LineStand) -> Told:
    """``wanted`` and ``fitted`` are thousandths; no spare is wanted."""
    return {
        "line": end.line.line, "stock_code": end.line.item.stock_code if end.line.item else "", "name": end.name,
        "phases": list(end.phases), "each": end.each, "lots": [number for number, _ in end.lots],
        "done": end.done, "asks_where": end.asks_where,
        "wanted": 0 if end.line.spare else end.line.quantity, "fitted": stand.installed,
    }  # fmt: skip


def _fits(found: Collection[Contents]) -> dict[str, list[FitFacts]]:
    lines = [stand.line for one in found for stand in one.lines if stand.line.item_id and not stand.line.dropped]
    return fit_facts({**line.facts, "line": str(line.pk)} for line in lines)


def _parts(one: Contents, spans: Mapping[str, Sequence[FitFacts]], policy: str) -> Iterator[Told]:
    """The parts of a bag that are fitted by a diameter: ranges in nanometres, and how the cable's own band fits."""
    for stand in one.lines:
        for number, told in enumerate(spans.get(str(stand.line.pk), ()), start=1):
            found, facts = fits.fit(told.band, *told.part, estimates=policy), stand.line.facts
            yield {
                "stock_code": stand.line.item.stock_code if stand.line.item else "",
                "where": "-".join(filter(None, (facts.get("structure"), facts.get("position")))), "side": number,
                "over": told.over_what, "word": found.state.upper(), **_range(*told.part),
            }  # fmt: skip


def _range(low: int, high: int) -> Told:
    """Diameters in nanometres, from and to, and how people read them."""
    words = f"{both(low, inches_first=True)} to {both(high, inches_first=True)}"
    return {"low": low, "high": high, "range": words}


def _counts(actor: Actor) -> Iterator[Told]:
    for one in list_states(depots=actor.depots):
        depot = one.counted.depot.depot
        lines = [line for line, waits in one.lines if waits == COUNT]
        if lines and actor.may(_COUNT_RIGHT, DO, depot):
            told = [asdict(line) for line in blinded(lines)]
            yield {"number": one.counted.number, "depot": depot, "lines": told}


def _leads() -> dict[str, dict[str, str]]:
    """By state and task: the state after it."""
    leads: dict[str, dict[str, str]] = defaultdict(dict)
    for row in TABLE:
        if row.action in TASKS:
            leads[row.state][row.action] = row.to or row.state
    return leads
