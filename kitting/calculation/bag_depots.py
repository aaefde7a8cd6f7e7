"""At which depot the bags of a job are staged, where that is not the job's own.

A line is staged where its bag is, also a spare and what belongs to the whole job (``assign_bags``).
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

import pandas as pd

from kitting.calculation.bags import NO, YES, assign_bags
from kitting.calculation.expansion.slots import Template
from kitting.calculation.job_dates import JobDates
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
    return [
        depot or (dates[job].depot if job in dates else "") for depot, job in zip(depots, jobs, strict=True)
    ]
