"""The dates of each job and the order in which jobs are served."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from kitting.calculation.calendars import good_through, staged_by, window_hours
from kitting.calculation.natural_order import natural_key
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact, records
from kitting.calculation.sheets.book import Book

LAST_PRIORITY = 10**9


@dataclass(frozen=True, slots=True)
class JobDates:
    """One job: its depot, the local moments of its outage, and the dates that follow from them.

    ``staged_by`` is None where the cutover is blank or in doubt; ``why_undated`` says why. ``window`` is the length
    of the outage window in real hours, '' where its end is not given.

    ``bag_depots`` is the depot of each location whose bag is staged elsewhere; ``days`` the staged-by day at each depot
    then, and ``staged_by`` the earliest of them.
    """

    job: str
    title: str
    depot: str
    cutover: datetime | None
    staged_by: date | None
    good_through: date | None
    priority: int
    window: str
    why_undated: str
    bag_depots: Mapping[str, str] = field(default_factory=dict)
    days: Mapping[str, date] = field(default_factory=dict)

    def depot_of(self, structure: str) -> str:
        """The depot at which the bag of a location is staged."""
        return self.bag_depots.get(structure, self.depot)

    def at(self, depot: str) -> "JobDates":
        """The job as its bags at a depot see it; '' for its own, and for one whose bags are all at one depot."""
        if depot in ("", self.depot) and not self.days:
            return self
        return replace(self, depot=depot or self.depot, staged_by=self.days.get(depot or self.depot, self.staged_by))


def closed_days(book: Book) -> dict[str, frozenset[date]]:
    """Closed days of each depot."""
    return {
        row["depot"]: frozenset(row["closed_days"] if isinstance(row["closed_days"], tuple) else ())
        for row in records(book, "depots")
    }


def depot_days(book: Book, field: str, default: int) -> dict[str, int]:
    """A depot's own number of days, or the default where it is blank."""
    return {row["depot"]: row[field] if isinstance(row[field], int) else default for row in records(book, "depots")}


def read_job_dates(book: Book) -> dict[str, JobDates]:
    """All jobs in the order of service: earliest staged-by, priority (blank last), job number; undated jobs last.

    A job whose bags are staged at several depots is served by the earliest of their staged-by days, as it needs all.
    """
    closed = closed_days(book)
    staging = depot_days(book, "staging_days", book.policies.staging_days)
    zones = {row["depot"]: row["time_zone"] for row in records(book, "depots")}
    jobs = [_job(row, book, closed, staging, zones) for row in records(book, "jobs")]
    jobs = _with_bag_depots(jobs, book, closed, staging)
    jobs.sort(key=lambda job: (job.staged_by or date.max, job.priority, natural_key(job.job)))
    return {job.job: job for job in jobs}


def _job(
    row: Mapping[str, Fact],
    book: Book,
    closed: Mapping[str, frozenset[date]],
    staging: Mapping[str, int],
    zones: Mapping[str, Fact],
) -> JobDates:
    depot, cutover = row["depot"], row["cutover"]
    end = row["cutover_end"] if isinstance(row["cutover_end"], datetime) else None
    why = _undated(row)
    days = row["staging_days"] if isinstance(row["staging_days"], int) else staging.get(depot, 0)
    known = not why
    zone = zones.get(depot)
    window = window_hours(cutover, end, zone) if known and end is not None and isinstance(zone, str) else None
    return JobDates(
        job=row["job"],
        title=row["title"] if isinstance(row["title"], str) else "",
        depot=depot if isinstance(depot, str) else "",
        cutover=cutover if known else None,
        staged_by=staged_by(cutover.date(), days, closed[depot]) if known else None,
        good_through=good_through(cutover, end, book.policies.expiry_margin_days) if known else None,
        priority=row["priority"] if isinstance(row["priority"], int) else LAST_PRIORITY,
        window="" if window is None else f"{window.normalize():f}",
        why_undated=why,
    )


def _with_bag_depots(
    jobs: list[JobDates], book: Book, closed: Mapping[str, frozenset[date]], staging: Mapping[str, int]
) -> list[JobDates]:
    """The jobs with the depots of their bags, where not all are staged at the job's own."""
    elsewhere: dict[str, dict[str, str]] = defaultdict(dict)
    own = {job.job: job.depot for job in jobs}
    for row in records(book, "bag depots"):
        if row["depot"] != own.get(row["job"], row["depot"]):
            elsewhere[row["job"]][row["structure"]] = row["depot"]
    if not elsewhere:
        return jobs
    locations = _locations(book)
    own_days = {row["job"]: row["staging_days"] for row in records(book, "jobs")}
    found = []
    for job in jobs:
        bags = {name: depot for name, depot in elsewhere[job.job].items() if name in locations[job.job]}
        days = {}
        if bags and job.cutover is not None:
            for depot in {*bags.values()} | ({job.depot} if locations[job.job] - bags.keys() else set()):
                given = own_days[job.job]
                ahead = given if isinstance(given, int) else staging.get(depot, 0)
                days[depot] = staged_by(job.cutover.date(), ahead, closed[depot])
        first = min(days.values(), default=job.staged_by)
        found.append(replace(job, staged_by=first, bag_depots=bags, days=dict(sorted(days.items()))))
    return found


def _locations(book: Book) -> dict[str, set[str]]:
    """The locations of each job: where its runs end, where its positions stand, and what is added by hand."""
    found: dict[str, set[str]] = defaultdict(set)
    for sheet, fields in (
        ("schedule", ("from_structure", "to_structure")),
        ("positions", ("structure",)),
        ("added lines", ("structure",)),
    ):
        for row in records(book, sheet):
            if isinstance(row["job"], str):
                found[row["job"]].update(row[name] for name in fields if isinstance(row[name], str))
    return found


def _undated(row: Mapping[str, Fact]) -> str:
    for name, label in (("depot", "depot"), ("cutover", "cutover"), ("cutover_end", "cutover end")):
        if isinstance(row[name], Missing):
            return str(row[name].why)
        if row[name] is None and name != "cutover_end":
            return f"the job has no {label}"
    return ""


def day_text(day: date | None) -> str:
    """ISO text of a date, '' for none."""
    return "" if day is None else day.isoformat()
