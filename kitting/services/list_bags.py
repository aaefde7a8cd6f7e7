"""Make the bags of a job from the applied plan, and look at bags again when a fact has changed under them."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any, Unpack

import pandas as pd
from django.db.models import QuerySet

from inventory.models import BAG, Depot, Item, Place
from inventory.services.actions import begin, use_case
from jobs.models import Job
from kitting.calculation.bag_states import (
    BROKEN,
    DRAFT,
    EMPTIED,
    HOLD,
    IN_STORE,
    LIST,
    LISTED,
    ON_HOLD,
    OUT,
    REOPEN,
    REOPENED,
    BagFacts,
    next_state,
)  # fmt: skip
from kitting.calculation.bags import assign_bags
from kitting.calculation.quantities import thousandths
from kitting.calculation.short_codes import verified
from kitting.errors import Refusal
from kitting.models import AppliedPlan, Bag, BagEntry, BagLine, PlanRow, Promise, StandIn
from kitting.roles import DO, require
from kitting.selectors.bag_contents import Contents, bare, contents_of, facts_of, facts_of_all, label_code, live_letter
from kitting.selectors.bag_depots import bag_depots
from kitting.selectors.old_labels import STAGED_ELSEWHERE, moved_words
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, stamp_of

_NEW = "put on the list"
_OPEN_ALREADY = (REOPENED, BROKEN)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Thousandths of an item (None: not chosen) that a requirement line wants in the bag of a structure."""

    line: str
    item: Item | None
    quantity: int
    instead_of: str
    spare: bool
    facts: Mapping[str, str]


@use_case
def list_bags(*, job: str, **scan: Unpack[Scan]) -> list[Bag]:
    """Make or renew the bag lists of a job from the plan that was applied last.

    A list that nobody has picked from is replaced; a bag with pieces is reopened and says what has changed; one that
    is out with the crew stays as it is.

    Raises:
        Refusal: ``unknown-job``; ``not-planned``: the plan holds no line of it; ``not-allowed``.
    """
    found = Job.objects.filter(job=job).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {job}.", {"job": job})
    require(scan["actor"], "bags", DO, found.depot)
    begin("list bags", {"job": job}, stamp_of(scan))
    relist([found], by=scan["actor"].name, at=scan["at"])
    bags = [*Bag.objects.filter(job=found).select_related("job", "depot").order_by("number")]
    if not bags:
        raise Refusal("not-planned", f"The plan applied last holds no line of {job}: plan and apply.", {"job": job})
    return bags


def relist(jobs: Iterable[Job], *, by: str, at: datetime) -> None:
    """Bring the bags of jobs to the lines of the plan applied last, inside the caller's transaction."""
    plan = AppliedPlan.objects.order_by("-pk").first()
    wanted = {job.job: job for job in jobs}
    if plan is None or not wanted:
        return
    rows: dict[str, list[dict[str, str]]] = defaultdict(list)
    found = PlanRow.objects.filter(plan=plan, table="requirements", job__in=wanted).order_by("position")
    for name, cells in found.values_list("job", "cells"):
        rows[name].append(cells)
    happenings: list[Happening] = []
    stand_ins = {*StandIn.objects.values_list("wanted__stock_code", "allowed__stock_code")}
    for name, job in wanted.items():
        if rows[name]:
            happenings += _relist_one(job, rows[name], stand_ins)
    record_events(happenings, by=by, at=at)
    review(Bag.objects.filter(job__job__in=wanted), by=by, at=at)


def review(bags: QuerySet[Bag], *, by: str, at: datetime) -> list[Bag]:
    """Reopen bags in store that hold what is out of date for the job now, and put on hold those with a held lot.

    Args:
        bags: which; not joined to rows of which a bag may have several.
        by, at: who changed the fact, and when.

    Returns the bags that were changed; their events are written inside the caller's transaction.
    """
    looked = [
        *bags.filter(state__in=(LISTED, *IN_STORE, *OUT)).select_related("job", "depot").select_for_update(of=("self",))
    ]
    found = facts_of_all(contents_of(looked).values())
    happenings, changed = [], []
    for bag in looked:
        facts = replace(found[bag.pk], reason="looked at again")
        if facts.held:
            bag.state_before_hold, bag.why = bag.state, f"on hold: {', '.join(facts.held)}"
            bag.state = next_state(bag.state, HOLD, facts)
        elif facts.out_of_date and bag.state in IN_STORE and bag.state not in _OPEN_ALREADY:
            bag.why = f"expires before cutover: {', '.join(facts.out_of_date)}"
            bag.state = _reopened(bag, facts)
        else:
            continue
        bag.checked_by = ""
        bag.version += 1
        changed.append(bag)
        name = "bag on hold" if bag.state == ON_HOLD else "bag reopened"
        told = {"bag": bag.code, "why": bag.why, "cutover": bag.job.cutover}
        happenings.append(Happening(name, str(bag), told, addressed_to="storekeeper", depot=bag.depot.depot))
    Bag.objects.bulk_update(changed, ["state", "state_before_hold", "why", "checked_by", "version"])
    record_events(happenings, by=by, at=at)
    return changed


def review_moved(happenings: Iterable[Happening], *, by: str, at: datetime) -> None:
    """Look again at the bags of jobs of which ``release_moved`` says that they are moved."""
    jobs = {one.subject for one in happenings}
    if jobs:
        review(Bag.objects.filter(job__job__in=jobs), by=by, at=at)


def _reopened(bag: Bag, facts: BagFacts) -> str:
    """The state of a bag that is looked at again; one that is open already stays so."""
    return bag.state if bag.state in (LISTED, *_OPEN_ALREADY) else next_state(bag.state, REOPEN, facts)


def _relist_one(job: Job, rows: Sequence[Mapping[str, str]], stand_ins: Set[tuple[str, str]]) -> list[Happening]:
    depots = {depot.depot: depot for depot in Depot.objects.all()}
    named = bag_depots([job])
    letter = live_letter(job)
    spots = {row["line"]: row for row in assign_bags(pd.DataFrame(list(rows))).to_dict("records")}
    by_structure: dict[str, list[Wanted]] = defaultdict(list)
    numbers: dict[str, int] = {}
    for one in _wanted(job, rows, stand_ins):
        spot = spots[one.line]
        by_structure[spot["structure"]].append(one)
        numbers[spot["structure"]] = spot["bag"]
    found = Bag.objects.filter(job=job).select_related("depot").select_for_update(of=("self",))
    known = {bag.structure: bag for bag in found}
    contents = contents_of(known.values())
    happenings = []
    for structure in {**by_structure, **known}:
        depot = depots[named.get((job.job, structure), job.depot)]
        bag = known.get(structure) or new_bag(job, depot, structure, numbers[structure])
        bag.job = job
        if bag.depot_id != depot.pk and is_unbegun(contents[bag.pk]):
            happenings.append(stage_at(bag, depot))
        happenings += renew(bag, by_structure.get(structure, []), letter, is_new=structure not in known)
    return happenings


def new_bag(job: Job, depot: Depot, structure: str, number: int) -> Bag:
    """A bag for a location of a job, without lines, and its place, which may be on the books from a sheet."""
    bag = Bag(job=job, structure=structure, number=number, depot=depot, state=DRAFT)
    code = label_code(bag)
    bag.place = bag_place(bag, depot)
    bag.code = verified(code)
    bag.save(force_insert=True)
    return bag


def bag_place(bag: Bag, depot: Depot) -> Place:
    """A bag as a place of a depot."""
    code, job, structure = label_code(bag), bag.job.job, bag.structure
    return Place.objects.get_or_create(depot=depot, code=code, kind=BAG, job=job, structure=structure)[0]


def is_unbegun(one: Contents) -> bool:
    """Whether no piece is in a bag that is to be filled, or none any more: it can still be filled at another depot."""
    begun = one.open() or one.bag.place.balances.filter(quantity__gt=0).exists()  # what a sheet named there too
    return one.bag.state in (DRAFT, LISTED, *EMPTIED) and not begun


def stage_at(bag: Bag, depot: Depot) -> Happening:
    """Let a bag be filled and staged at another depot, where it is a place of its own; what is to be recorded."""
    told = {"bag": bag.code, "changes": [moved_words(depot.depot, bag.depot.depot)]}
    bag.depot, bag.place = depot, bag_place(bag, depot)
    bag.version += 1
    bag.save(update_fields=("depot", "place", "version"))
    return Happening(STAGED_ELSEWHERE, str(bag), told, depot=depot.depot)


def _wanted(job: Job, rows: Sequence[Mapping[str, str]], stand_ins: Set[tuple[str, str]]) -> list[Wanted]:
    """What each line wants of which item: as promised, and what is short as it was chosen.

    Another item than was chosen is a stand-in only where it is approved to be one: others serve by themselves.
    """
    codes = {row["stock_code"] for row in rows if row["stock_code"]}
    chosen = {item.stock_code: item for item in Item.objects.filter(stock_code__in=codes)}
    promised: dict[str, dict[Item, int]] = defaultdict(lambda: defaultdict(int))
    for promise in Promise.objects.filter(job=job, released_at=None).select_related("item"):
        promised[promise.line][promise.item] += promise.quantity
    found = []
    for row in rows:
        left = thousandths(row["quantity"]) if row["quantity"] else 0
        parts = promised.get(row["line"], {})
        spare = row["spare"] == "yes"
        first = chosen.get(row["stock_code"])
        amounts: dict[Item | None, int] = dict(parts.items())
        rest = left - sum(parts.values())
        if rest > 0 or not parts:
            amounts[first] = amounts.get(first, 0) + max(rest, 0)
        for item, quantity in amounts.items():
            other = row["stock_code"] if item and (row["stock_code"], item.stock_code) in stand_ins else ""
            found.append(Wanted(row["line"], item, quantity, other, spare, dict(row)))
    return found


def renew(bag: Bag, wanted: Sequence[Wanted], letter: str, *, is_new: bool) -> list[Happening]:
    """Bring a bag's list to what is wanted; returns what is to be told."""
    if bag.state not in (DRAFT, LISTED, *IN_STORE):
        return []
    before = {(line.line, line.item_id): line for line in BagLine.objects.filter(bag=bag).select_related("item")}
    changes, kept = [], set()
    new: list[BagLine] = []
    for position, one in enumerate(wanted, 1):
        key = (one.line, one.item.pk if one.item else None)
        kept.add(key)
        line = before.get(key)
        if line is None:
            new.append(
                BagLine(
                    bag=bag, line=one.line, position=position, item=one.item, quantity=one.quantity,
                    instead_of=one.instead_of, spare=one.spare, facts=dict(one.facts),
                )
            )  # fmt: skip
            changes.append(f"{bare(one.quantity)} {one.item or 'undecided'} {_NEW} ({one.line})")
            continue
        if line.quantity != one.quantity or line.dropped:
            was = "nothing" if line.dropped else bare(line.quantity)
            changes.append(f"{one.item or 'undecided'}: {bare(one.quantity)} instead of {was} ({one.line})")
        line.quantity, line.dropped, line.position = one.quantity, False, position
        line.instead_of, line.spare, line.facts = one.instead_of, one.spare, dict(one.facts)
    gone = [line for key, line in before.items() if key not in kept and not line.dropped]
    for line in gone:
        changes.append(f"{line.item or 'undecided'} is wanted no more ({line.line})")
        line.dropped = True
    _store(before.values(), new, gone)
    return _state_after(bag, changes, letter, is_new=is_new)


def _store(before: Iterable[BagLine], new: list[BagLine], gone: Sequence[BagLine]) -> None:
    """Store the lines; one that is gone and was never picked is deleted, as nothing refers to it."""
    used = {*BagEntry.objects.filter(line__in=[line.pk for line in gone]).values_list("line", flat=True)}
    unused = {line.pk for line in gone} - used
    BagLine.objects.filter(pk__in=unused).delete()
    columns = ["quantity", "dropped", "position", "instead_of", "spare", "facts"]
    BagLine.objects.bulk_update([line for line in before if line.pk not in unused], columns, batch_size=500)
    BagLine.objects.bulk_create(new, batch_size=500)


def _state_after(bag: Bag, changes: Sequence[str], letter: str, *, is_new: bool) -> list[Happening]:
    before, revised = bag.state, bag.revision != letter
    bag.revision = letter
    if bag.state in (DRAFT, LISTED):
        facts = facts_of(contents_of([bag])[bag.pk])
        bag.state = next_state(DRAFT, LIST, facts) if facts.decided else DRAFT
    elif changes:
        bag.why = "; ".join(changes)
        bag.checked_by = ""
        bag.state = _reopened(bag, facts_of(contents_of([bag])[bag.pk], reason=bag.why))
    if not (changes or revised or bag.state != before):
        return []
    bag.version += 1
    bag.save(update_fields=("state", "revision", "why", "checked_by", "version"))
    name = "bag listed" if is_new or before in (DRAFT, LISTED) else "bag reopened" if changes else "bag still good"
    told = {"bag": bag.code, "before": before, "after": bag.state, "revision": letter, "changes": list(changes)}
    return [Happening(name, str(bag), told, addressed_to="storekeeper" if changes else "", depot=bag.depot.depot)]


def decimal_text(value: Any) -> str:
    """A cell of a plan's table as text."""
    if isinstance(value, Decimal):
        return f"{value:f}"
    return "" if value is None else str(value)


def store_rows(plan: AppliedPlan, tables: Mapping[str, pd.DataFrame]) -> None:
    """Keep the tables of a plan as records, in the place of those of all former plans."""
    PlanRow.objects.all().delete()
    for name, frame in tables.items():
        columns = [str(column) for column in frame.columns]
        jobs = frame["job"].astype(str).tolist() if "job" in columns else [""] * len(frame)
        cells = zip(*(map(decimal_text, frame[column].tolist()) for column in frame.columns), strict=True)
        PlanRow.objects.bulk_create(
            (
                PlanRow(plan=plan, table=name, job=job, position=position, cells=dict(zip(columns, row, strict=True)))
                for position, (job, row) in enumerate(zip(jobs, cells, strict=True), 1)
            ),
            batch_size=1_000,
        )
