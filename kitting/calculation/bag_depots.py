"""At which depot the bags of a job are staged, where that is not the job's own.

A line is staged where its bag is, also a spare and what belongs to the whole job (``assign_bags``).
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

import pandas as pd

from kitting.calculation.answers import READY, READY_IF, SHORT
from kitting.calculation.bags import NO, YES, assign_bags
from kitting.calculation.expansion.slots import Template
from kitting.calculation.job_dates import JobDates
from kitting.calculation.natural_order import natural_key
from kitting.calculation.plan_result import SPLIT_COLUMNS, JobAnswer
from kitting.calculation.promising.model import SHELF
from kitting.calculation.questions import ASK, Question
from kitting.calculation.records import records
from kitting.calculation.sheets.book import Book

OWN = ""  # of a line: the job's own depot


def depots_of_lines(frame: pd.DataFrame, templates: Sequence[Template], jobs: Iterable[JobDates]) -> list[str] | None:
    """For each line the depot at which its bag is staged; None where every job has one depot.

    Args:
        frame: lines in line order (``Lines.frame``).
        templates: the templates they point to.
        jobs: the jobs.
    """
    split = {job.job: job for job in jobs if job.bag_depots}
    if not split:
        return None
    found = [OWN] * len(frame)
    chosen = frame["job"].isin(set(split)).to_numpy()
    for name, lines in frame[chosen].groupby("job", sort=False, observed=True):
        job = split[str(name)]
        made = [templates[number] for number in lines["template"].tolist()]
        told = pd.DataFrame(
            {
                "line": lines.index,
                "structure": lines["structure"].astype(str).to_numpy(),
                "stock_code": [one.codes[0] if one.codes else "" for one in made],
                "quantity": [one.quantity or "" for one in made],
                "spare": [YES if one.spare else NO for one in made],
            }
        )
        for line, structure in zip(lines.index.tolist(), assign_bags(told)["structure"].tolist(), strict=True):
            found[line] = job.depot_of(structure)
    return found


def unknown_locations(book: Book, frame: pd.DataFrame) -> Iterator[Question]:
    """A question for each row of the sheet whose location has no line of its job: the row says nothing."""
    rows = records(book, "bag depots")
    locations: dict[str, set[str]] = defaultdict(set)
    if rows:
        pairs = frame[["job", "structure"]].astype(str).drop_duplicates()
        for job, structure in pairs.itertuples(index=False, name=None):
            locations[job].add(structure)
    for row in rows:
        if row["structure"] not in locations[row["job"]]:
            problem = f"no line of {row['job']} is for this location, so no bag of it goes to {row['depot']}"
            suggestion = f"one of {', '.join(sorted(locations[row['job']] - {''}))}" if locations[row["job"]] else ""
            yield Question("bag depots", row["row"], "structure", row["structure"], problem, suggestion, ASK)


def told_depots(depots: Sequence[str], jobs: Sequence[str], dates: Mapping[str, JobDates]) -> list[str]:
    """The depot of each line by its code, the job's own where it has one depot."""
    return [depot or (dates[job].depot if job in dates else "") for depot, job in zip(depots, jobs, strict=True)]


@dataclass(slots=True)
class _Waiting:
    """What is missing of a job at one depot: where, pieces short, pieces that still come and by when, open lines."""

    locations: dict[str, None] = field(default_factory=dict)
    short: Decimal = Decimal()
    coming: Decimal = Decimal()
    by: str = ""
    open: Counter[str] = field(default_factory=Counter)

    def words(self, depot: str) -> str:
        """``S stages V6 (2 short there, 1 comes there by 2026-03-04)``."""
        told = [f"{self.short:f} short there"] if self.short else []
        told += [f"{self.coming:f} {'comes' if self.coming == 1 else 'come'} there by {self.by}"] if self.coming else []
        told += [f"{lines} line{'s' * (lines > 1)} {answer}" for answer, lines in sorted(self.open.items())]
        bags = ", ".join(sorted(self.locations, key=natural_key)) or "its bag"
        return f"{depot} stages {bags} ({', '.join(told)})"


def with_waiting(
    answers: Sequence[JobAnswer],
    requirements: pd.DataFrame,
    shortages: pd.DataFrame,
    promises: pd.DataFrame,
    jobs: Mapping[str, JobDates],
) -> tuple[JobAnswer, ...]:
    """The answers; of a job whose bags are staged at several depots also which depot is still to stage what."""
    split = {job.job for job in jobs.values() if job.days}
    if not split:
        return tuple(answers)
    waiting: dict[str, dict[str, _Waiting]] = defaultdict(lambda: defaultdict(_Waiting))
    counted = requirements[(requirements["spare"] == NO) & requirements["job"].isin(split)]
    of_line: dict[str, _Waiting] = {}
    columns = (
        counted[name].astype(str) for name in ("line", "job", "structure", "answer", SPLIT_COLUMNS["requirements"])
    )
    for line, job, structure, answer, depot in zip(*columns, strict=True):
        if answer != READY:
            here = of_line[line] = waiting[job][depot]
            here.locations |= {structure: None} if structure else {}
            here.open[answer] += answer not in (READY_IF, SHORT)
            here.open += Counter()  # drops what is 0
    for line, short in zip(shortages["line"].astype(str), shortages["short"], strict=True):
        if line in of_line:
            of_line[line].short += short
    columns = (promises[name] for name in ("line", "quantity", "source", "ready_on"))
    for line, quantity, source, day in zip(*columns, strict=True):
        if source != SHELF and line in of_line:
            of_line[line].coming += quantity
            of_line[line].by = max(of_line[line].by, day)
    return tuple(_told(answer, waiting[answer.job], jobs[answer.job]) for answer in answers)


def _told(answer: JobAnswer, waiting: Mapping[str, _Waiting], job: JobDates) -> JobAnswer:
    words = [one.words(depot) for depot, one in sorted(waiting.items())]
    begins = "ready if" if answer.answer == READY_IF else "waits until"
    return replace(answer, days=job.days, waits_for=f"{begins} {' and '.join(words)}" if words else "")
