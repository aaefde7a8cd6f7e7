"""Take cable schedules in: each job whose runs differ gets a new revision, and the former one stays as it was."""

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from jobs.models import Job, Run, ScheduleRevision
from jobs.selectors.references import attributes_of
from jobs.selectors.schedules import FACT_PATHS, RunChanges, Schedule, compare_schedules, live_schedules

_BATCH = 2_000
_LETTERS = 26


@dataclass(frozen=True, slots=True)
class Revised:
    """What became of one job's schedule; ``letter`` is that of its live revision."""

    job: str
    letter: str
    is_new: bool
    changes: RunChanges


def revise_schedules(
    *, schedules: Mapping[str, Schedule], file_digest: str, by: str, at: datetime
) -> tuple[Revised, ...]:
    """Store the schedules that are not what the live revisions say; every job, position and code is in the records.

    Runs inside the transaction of whoever calls; the number of queries does not grow with the jobs, and with the runs
    only by batches.

    Args:
        schedules: by job, all its runs; other jobs keep theirs.
        file_digest: digest of the sheets that they came with.
        by: the person who loads them.
        at: moment of loading.
    """
    digests = {job: schedule_digest(schedule) for job, schedule in schedules.items()}
    live = {revision.job.job: revision for revision in _live_revisions()}
    differing = [job for job in schedules if job not in live or live[job].digest != digests[job]]
    standing = live_schedules() if any(job in live for job in differing) else {}
    _end([live[job].pk for job in differing if job in live])
    numbers = dict(Job.objects.values_list("job", "pk")) if differing else {}
    revisions = {
        job: ScheduleRevision(
            job_id=numbers[job],
            letter=_letter_after(live[job].letter if job in live else ""),
            digest=digests[job],
            file_digest=file_digest,
            loaded_by=by,
            loaded_at=at,
        )
        for job in differing
    }
    ScheduleRevision.objects.bulk_create(revisions.values(), batch_size=_BATCH)
    if differing:
        Run.objects.bulk_create(_runs(schedules, revisions), batch_size=_BATCH)
    return tuple(
        Revised(
            job=job,
            letter=(revisions.get(job) or live[job]).letter,
            is_new=job in revisions,
            changes=compare_schedules(standing.get(job, {}) if job in revisions else schedule, schedule),
        )
        for job, schedule in schedules.items()
    )


def schedule_digest(schedule: Schedule) -> str:
    """SHA-256 over the runs of a job, in the order of their numbers."""
    plain = json.dumps(sorted(schedule.items()), ensure_ascii=False)
    return hashlib.sha256(plain.encode()).hexdigest()


def _live_revisions() -> Iterable[ScheduleRevision]:
    return ScheduleRevision.objects.select_related("job").select_for_update(of=("self",)).filter(live=True)


def _end(numbers: list[int]) -> None:
    for start in range(0, len(numbers), _BATCH):
        ScheduleRevision.objects.filter(pk__in=numbers[start : start + _BATCH]).update(live=False)


def _runs(schedules: Mapping[str, Schedule], revisions: Mapping[str, ScheduleRevision]) -> Iterator[Run]:
    attributes = attributes_of(Run, FACT_PATHS)
    for job, revision in revisions.items():
        for run, facts in schedules[job].items():
            yield Run(revision=revision, run=run, **attributes(facts))


def _letter_after(letter: str) -> str:
    """A after nothing, B after A, AA after Z."""
    number = 0
    for one in letter:
        number = number * _LETTERS + ord(one) - ord("A") + 1
    letters, number = "", number + 1
    while number:
        number, digit = divmod(number - 1, _LETTERS)
        letters = chr(ord("A") + digit) + letters
    return letters
