"""The one function that strings the calculation together: from the parsed sheets to the plan."""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from time import perf_counter
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from kitting.calculation.answers import SHORT
from kitting.calculation.bag_depots import depots_of_lines, told_depots, unknown_locations, with_waiting
from kitting.calculation.calendars import order_by
from kitting.calculation.cure_table import Facts, cure_sentences, cure_table, find_cures, with_cures
from kitting.calculation.demand import Demand, read_demand
from kitting.calculation.earlier_promises import Piece, moved_table, read_earlier, with_kept
from kitting.calculation.expansion.ends import add_end_lines
from kitting.calculation.expansion.fitting import Fitter
from kitting.calculation.expansion.joints import add_joint_lines, add_planned_joints
from kitting.calculation.expansion.landings import read_field
from kitting.calculation.expansion.lines import SIDE_JOB, line_texts
from kitting.calculation.expansion.locations import (
    add_lines_by_hand,
    add_location_lines,
    add_unusable_rows,
    spare_templates,
)
from kitting.calculation.expansion.pins import Pin, apply_pins
from kitting.calculation.expansion.positions import add_position_lines
from kitting.calculation.expansion.scene import Scene
from kitting.calculation.expansion.settings import read_systems
from kitting.calculation.fit_matching import Matcher
from kitting.calculation.holdings import Holdings
from kitting.calculation.job_answers import job_answers, totals_table
from kitting.calculation.job_dates import JobDates, closed_days, depot_days, read_job_dates
from kitting.calculation.most_kits import most_kits
from kitting.calculation.needs import Need
from kitting.calculation.one_maker import maker_notes
from kitting.calculation.plan_result import SPLIT_COLUMNS, Plan
from kitting.calculation.plan_tables import refusal_sentences, refusal_table, summary
from kitting.calculation.planning_questions import planning_questions
from kitting.calculation.promise_tables import Shares, answer_lines, in_their_bags, promise_table, split_by_line
from kitting.calculation.promising import promise
from kitting.calculation.promising.model import NEVER, Kit, Problem, Promised
from kitting.calculation.promising.promise import without_looking_for_rings
from kitting.calculation.promising.tiers import DAYS_A_WEEK, weight_of
from kitting.calculation.quantities import as_decimal
from kitting.calculation.questions import Question
from kitting.calculation.records import records
from kitting.calculation.reorder_quantities import conversion_missing, reorder_table
from kitting.calculation.requirement_table import LineAnswers, requirement_table
from kitting.calculation.rule_book import rule_book
from kitting.calculation.sheets.book import Book
from kitting.calculation.shortages import Buying, ShortLine, shortage_table
from kitting.calculation.supply import PastDate, Supply, good_reserve, read_supply

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Expanded:
    """Lines in line order with the scene they came from, and the depot of each, None where each job has one."""

    scene: Scene
    frame: pd.DataFrame
    pins: tuple[Pin, ...]
    notes: tuple[Question, ...]
    depots: list[str] | None = None


class _Clock:
    """Times of the stages in seconds; they go beside the plan, never into it."""

    def __init__(self, progress: Progress | None) -> None:
        self.progress = progress
        self.times: dict[str, float] = {}
        self._last = perf_counter()

    def done(self, stage: str) -> None:
        now = perf_counter()
        self.times[stage] = now - self._last
        self._last = now
        if self.progress is not None:
            self.progress(stage)


def plan(
    book: Book,
    *,
    as_of: date,
    earlier: pd.DataFrame | None = None,
    progress: Progress | None = None,
    count_most: bool = False,
    due_back: Mapping[tuple[str, str], int] = MappingProxyType({}),
    past_dates: Sequence[PastDate] = (),
) -> Plan:
    """Plan every job of a book together.

    The same book and day give the same tables, whatever the order of the rows.

    Args:
        book: the parsed sheets.
        as_of: the day of planning: transfers start on it, nothing can be ordered before it.
        earlier: the promises of an earlier plan; its pieces stay with their lines where that costs no kit anything.
        progress: told the name of each stage when it is done.
        count_most: also ask how many kits could be completed if nothing but their number counted.
        due_back: (stock code, depot) -> thousandths that crews are to bring back: less is bought for shelves.
        past_dates: pieces that two persons have let go for a job though they are past their date.

    Raises:
        Refusal: the rule book or the earlier promises can't be read, or the audit of the promises fails.
    """
    clock = _Clock(progress)
    with without_looking_for_rings():
        jobs = read_job_dates(book)
        expanded = expand(book, jobs)
        clock.done("expansion and fit")
        items = {code: index for index, code in enumerate(sorted(book.frames["items"]["stock_code"]))}
        problem, demand, supply = _problem(book, expanded, jobs, items, as_of, _still_let_go(past_dates, jobs))
        former = None if earlier is None else read_earlier(earlier)
        if former:
            names = line_texts(expanded.frame, expanded.scene.lines.templates)
            cell_of_line = dict(zip(names, demand.cell_of_line.tolist(), strict=True))
            problem = replace(problem, cells=with_kept(problem.cells, former, cell_of_line, supply))
        promised = promise(problem)
        most = most_kits(problem, promised) if count_most else None
        clock.done("promising")
        made = _Made(book, expanded, jobs, problem, demand, supply, promised, as_of, due_back)
        result = _tables(made)
        if former is not None:
            result["moved"] = _moved(made, former, result["promises"])
            pieces = as_decimal(sum(piece.quantity for piece in former))
            result["summary"]["earlier"] = {"pieces": str(pieces), "moved": str(result["moved"]["quantity"].sum())}
        clock.done("tables")
    return Plan(as_of=as_of, book=book, timings=clock.times, most_kits=most, **result)


def _moved(made: "_Made", former: tuple[Piece, ...], promises: pd.DataFrame) -> pd.DataFrame:
    kits = {kit.job: place for place, kit in enumerate(made.problem.kits)}
    return moved_table(former, read_earlier(promises), problem=made.problem, supply=made.supply, kits=kits)


def expand(book: Book, jobs: Mapping[str, JobDates], fitter: type[Fitter] = Fitter) -> Expanded:
    """All lines of all jobs with their choice of stock codes, in line order; ``fitter`` makes the choice."""
    rules = rule_book(book.rules)
    service_order = {job: place for place, job in enumerate(jobs)}
    items = {record["stock_code"]: record for record in records(book, "items")}
    matcher = Matcher(book.frames["items"], book.frames["stand ins"], estimates=book.policies.estimates)
    scene = Scene(
        book=book,
        field=read_field(book, service_order),
        rules=rules,
        systems=read_systems(book, rules),
        fitter=fitter(matcher, items),
    )
    for add in (
        add_end_lines,
        add_joint_lines,
        add_planned_joints,
        add_position_lines,
        add_location_lines,
        add_unusable_rows,
        add_lines_by_hand,
    ):
        add(scene)
    pins, notes = apply_pins(scene)
    if book.policies.spares:
        _add_spares(scene)
    frame = scene.lines.frame()
    notes = (*notes, *unknown_locations(book, frame))
    return Expanded(scene, frame, pins, notes, depots_of_lines(frame, scene.lines.templates, jobs.values()))


def _add_spares(scene: Scene) -> None:
    """Spare lines of each job, for the stock codes that its lines choose."""
    chosen: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    templates = scene.lines.templates
    jobs = [owner.job for owner in scene.lines.owners]
    for job, number in {
        (jobs[owner], number) for owner, number in zip(scene.lines.owner_of, scene.lines.template_of, strict=True)
    }:
        template = templates[number]
        if template.codes:
            chosen[job][template.kind].add(template.codes[0])
    for job in sorted(chosen):
        codes = {kind: sorted(found) for kind, found in chosen[job].items()}
        scene.lines.add(scene.lines.keep(spare_templates(scene, codes)), job=job, side=SIDE_JOB)


def _still_let_go(past_dates: Sequence[PastDate], jobs: Mapping[str, JobDates]) -> list[PastDate]:
    """What covers the day through which its job needs the pieces now, each good through just that day."""
    found = []
    for one in past_dates:
        needed = jobs[one.job].good_through if one.job in jobs else None
        if needed is not None and needed <= one.good_to:
            found.append(replace(one, good_to=needed))
    return found


def _problem(
    book: Book,
    expanded: Expanded,
    jobs: Mapping[str, JobDates],
    items: Mapping[str, int],
    as_of: date,
    past_dates: Sequence[PastDate],
) -> tuple[Problem, Demand, Supply]:
    depots = sorted(book.frames["depots"]["depot"])
    kit_numbers = {job: place for place, job in enumerate(jobs)}
    supply = read_supply(book, as_of=as_of, items=items, depots=depots, kits=kit_numbers, past_dates=past_dates)
    kits = _kits(book, jobs, depots, items, as_of)
    demand = read_demand(
        expanded.frame,
        expanded.scene.lines.templates,
        jobs=jobs,
        kits=kits,
        items=items,
        supply=supply,
        pins=expanded.pins,
        depots=_depot_numbers(expanded, depots),
    )
    problem = Problem(
        kits=kits,
        cells=demand.cells,
        lots=supply.lots,
        items=tuple(items),
        depots=tuple(depots),
        as_of_day=as_of.toordinal(),
        stand_in_caps=demand.stand_in_caps,
        tier_days=DAYS_A_WEEK * book.policies.tier_weeks,
    )
    return problem, demand, supply


def _kits(
    book: Book, jobs: Mapping[str, JobDates], depots: Sequence[str], items: Mapping[str, int], as_of: date
) -> tuple[Kit, ...]:
    """Jobs as kits; what can still be bought depends on staged-by and depot only, so it is worked out once for each."""
    closed = closed_days(book)
    receiving = depot_days(book, "receiving_days", 0)
    leads = [
        (items[row["stock_code"]], row["lead_days"])
        for row in records(book, "items")
        if isinstance(row["lead_days"], int) and not conversion_missing(row)
    ]
    by_lead: dict[int, list[int]] = defaultdict(list)
    for item, lead in leads:
        by_lead[lead].append(item)
    known: dict[tuple[date, str], frozenset[int]] = {}

    def buyable(staged: date, depot: str) -> frozenset[int]:
        key = (staged, depot)
        if key not in known:
            known[key] = frozenset(
                item
                for lead, found in by_lead.items()
                if order_by(staged, receiving_days=receiving[depot], lead_days=lead, closed=closed[depot]) >= as_of
                for item in found
            )
        return known[key]

    def kit(job: JobDates) -> Kit:
        if job.staged_by is None or job.good_through is None:
            depot = depots.index(job.depot) if job.depot in depots else 0
            return Kit(job.job, depot, NEVER, NEVER, frozenset(), dated=False)
        return Kit(
            job=job.job,
            depot=depots.index(job.depot),
            staged_by_day=job.staged_by.toordinal(),
            good_through_day=job.good_through.toordinal(),
            buyable=buyable(job.staged_by, job.depot),
            weight=weight_of(job.priority),
        )

    return tuple(replace(kit(job), parts=tuple(kit(job.at(depot)) for depot in job.days)) for job in jobs.values())


def _depot_numbers(expanded: Expanded, depots: Sequence[str]) -> np.ndarray | None:
    """For each line the index of its depot, -1 where its job has one; None where all jobs have."""
    if expanded.depots is None:
        return None
    number = {"": -1, **{depot: place for place, depot in enumerate(depots)}}
    return np.array([number[depot] for depot in expanded.depots], dtype=np.int64)


@dataclass(frozen=True, slots=True)
class _Made:
    """Everything that the tables are written from."""

    book: Book
    expanded: Expanded
    jobs: Mapping[str, JobDates]
    problem: Problem
    demand: Demand
    supply: Supply
    promised: Promised
    as_of: date
    due_back: Mapping[tuple[str, str], int]


def _tables(made: _Made) -> dict[str, Any]:
    """All tables, questions and answers of the plan."""
    book, expanded, jobs = made.book, made.expanded, made.jobs
    frame, templates = expanded.frame, expanded.scene.lines.templates
    items = expanded.scene.fitter.items
    shares = split_by_line(frame, templates, made.demand, made.promised)
    shares = in_their_bags(shares, frame, made.demand, made.supply.sources)
    answers, additions = answer_lines(
        frame, templates, jobs=jobs, shares=shares, sources=made.supply.sources, depots=expanded.depots
    )
    units = {code: item["stock_unit"] or "ea" for code, item in items.items()}
    requirements = requirement_table(frame, templates, units=units, answered=LineAnswers(answers, additions))
    if expanded.depots is not None:
        requirements[SPLIT_COLUMNS["requirements"]] = told_depots(
            expanded.depots, frame["job"].astype(str).tolist(), jobs
        )
    lines = requirements["line"].tolist()
    promises = promise_table(lines, frame["job"].astype(str).tolist(), shares, made.supply.sources)
    facts = _facts_of_cures(made)
    cures = cure_table(facts, find_cures(facts))
    refusals = refusal_table(made.problem, made.promised, {code: item["kind"] for code, item in items.items()})
    refused = refusal_sentences(refusals)
    shortages, reorder, blocked = _short_tables(made, lines, shares, facts.buying, refused)
    with_cures(shortages, cure_sentences(cures), refused)
    job_list = with_waiting(
        job_answers(requirements, shortages, promises, jobs), requirements, shortages, promises, jobs
    )
    questions = planning_questions(expanded.scene, frame, templates, book.questions)
    questions += maker_notes(requirements, promises, items)
    return {
        "requirements": requirements,
        "promises": promises,
        "shortages": shortages,
        "reorder": reorder,
        "refusals": refusals,
        "cures": cures,
        "totals": totals_table(requirements),
        "questions": tuple(sorted({*book.questions, *expanded.notes, *made.demand.questions, *questions, *blocked})),
        "jobs": job_list,
        "summary": summary(book, made.as_of, job_list, requirements, shortages, made.promised, made.problem),
    }


def _facts_of_cures(made: _Made) -> Facts:
    """What the cures are looked for in."""
    fitter = made.expanded.scene.fitter
    buying = Buying(
        lead_days={
            code: item["lead_days"] if isinstance(item["lead_days"], int) and not conversion_missing(item) else None
            for code, item in fitter.items.items()
        },
        receiving=depot_days(made.book, "receiving_days", 0),
        closed=closed_days(made.book),
        as_of=made.as_of,
    )
    return Facts(
        book=made.book,
        jobs=made.jobs,
        problem=made.problem,
        promised=made.promised,
        demand=made.demand,
        supply=made.supply,
        template_of_line=made.expanded.frame["template"].to_numpy(),
        templates=made.expanded.scene.lines.templates,
        matcher=fitter.matcher,
        buying=buying,
    )


def _short_tables(
    made: _Made, lines: Sequence[str], shares: Shares, buying: Buying, refused: Mapping[str, str]
) -> tuple[pd.DataFrame, pd.DataFrame, list[Question]]:
    """Shortages with their reasons, and what purchasing must order for them."""
    book, frame = made.book, made.expanded.frame
    items = made.expanded.scene.fitter.items
    jobs_of_lines = frame["job"].astype(str).tolist()
    short_lines = _short_lines(made, lines, jobs_of_lines, shares)
    holdings = Holdings(book, made.supply, shares, jobs=jobs_of_lines, kits=made.problem.kits)
    shortages = shortage_table(
        short_lines,
        jobs=made.jobs,
        kits={job: place for place, job in enumerate(made.jobs)},
        depots=made.problem.depots,
        holdings=holdings,
        buying=buying,
        refused={job: f"refused, served after all others: {sentence}" for job, sentence in refused.items()},
    )
    reorder, blocked = reorder_table(
        short_lines,
        items=items,
        jobs=made.jobs,
        buying=buying,
        levels=records(book, "levels"),
        left=holdings.bins_left(),
        on_order=holdings.ordered_for_nobody(),
        reserve=good_reserve(book, made.as_of),
        due_back=made.due_back,
    )
    return shortages, reorder, blocked


def _short_lines(made: _Made, lines: Sequence[str], jobs_of_lines: Sequence[str], shares: Shares) -> list[ShortLine]:
    """Lines with pieces that can't be had, and lines that no stock code serves, in line order."""
    templates = made.expanded.scene.lines.templates
    readings = _Readings(made.expanded.scene.fitter.matcher)
    undated = {job.job for job in made.jobs.values() if job.why_undated}
    number_of = made.expanded.frame["template"].to_numpy(dtype=np.int64)
    unserved = np.array([template.answer == SHORT for template in templates], dtype=bool)
    found = []
    for place in np.flatnonzero((shares.short > 0) | unserved[number_of]).tolist():
        template = templates[number_of[place]]
        short = template.quantity if template.answer == SHORT else int(shares.short[place])
        if short and jobs_of_lines[place] not in undated:
            found.append(
                ShortLine(
                    job=jobs_of_lines[place],
                    line=lines[place],
                    kind=template.kind,
                    code=template.codes[0] if template.codes else "",
                    need=template.quantity or 0,
                    short=short,
                    near_misses=template.match.near_misses if template.match else (),
                    others=template.codes[1:],
                    readings=readings[template.need] if template.need and template.codes else (),
                    depot=made.expanded.depots[place] if made.expanded.depots else "",
                )
            )
    return found


class _Readings(dict[Need, tuple[str, ...]]):
    """Need -> items that only a gauge reading keeps from serving; each worked out once."""

    def __init__(self, matcher: Matcher) -> None:
        super().__init__()
        self._matcher = matcher

    def __missing__(self, need: Need) -> tuple[str, ...]:
        told = self[need] = self._matcher.by_reading(need)
        return told
