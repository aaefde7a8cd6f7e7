"""The live cable schedules of all jobs, and what differs between two revisions of one."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from django.db import models

from jobs.models import Run
from jobs.selectors.references import final_field

# Where each fact of a schedule row stands: fields of a run, and the codes of what it refers to.
RUN_PATHS: Mapping[str, str] = MappingProxyType(
    {
        "job": "revision__job__job",
        "run": "run",
        "system": "system__system",
        "system_after": "system_after__system",
        "phases": "phases",
        "cables_per_phase": "cables_per_phase",
        "cable_type": "cable_type__cable_type",
        "reels": "reels",
        "conductor_size": "conductor_size",
        "metal": "metal",
        "strand": "strand",
        "insulation": "insulation",
        "wall_nm": "wall_nm",
        "insulation_level": "insulation_level",
        "cable_class_kv": "cable_class_kv",
        "doi_low_nm": "doi_low_nm",
        "doi_high_nm": "doi_high_nm",
        "jacketed": "jacketed",
        "jacket_low_nm": "jacket_low_nm",
        "jacket_high_nm": "jacket_high_nm",
        "shield": "shield",
        "length_nm": "length_nm",
        "from_structure": "from_position__structure__structure",
        "from_position": "from_position__position",
        "to_structure": "to_position__structure__structure",
        "to_position": "to_position__position",
        "remarks": "remarks",
    }
)
FACT_PATHS = tuple(path for field, path in RUN_PATHS.items() if field not in {"job", "run"})

Facts = tuple[Any, ...]  # values of FACT_PATHS; '' for blank text, also where a code is blank
Schedule = Mapping[str, Facts]  # facts by run number


@dataclass(frozen=True, slots=True)
class RunChanges:
    """Run numbers of two revisions of a schedule, each in one of four lists, in the order of the newer one."""

    new: tuple[str, ...]
    gone: tuple[str, ...]
    changed: tuple[str, ...]
    same: tuple[str, ...]

    def __str__(self) -> str:
        told = (("new", self.new), ("changed", self.changed), ("gone", self.gone), ("same", self.same))
        return ", ".join(f"{len(runs)} {word}" for word, runs in told if runs)


def compare_schedules(old: Schedule, new: Schedule) -> RunChanges:
    """Two revisions of one job's schedule, compared run by run."""
    both = [run for run in new if run in old]
    return RunChanges(
        new=tuple(run for run in new if run not in old),
        gone=tuple(run for run in old if run not in new),
        changed=tuple(run for run in both if old[run] != new[run]),
        same=tuple(run for run in both if old[run] == new[run]),
    )


def live_schedules() -> dict[str, dict[str, Facts]]:
    """The facts of every live run by job and run number; one query."""
    is_text = [isinstance(final_field(Run, path), models.CharField | models.TextField) for path in FACT_PATHS]
    rows = Run.objects.filter(revision__live=True).order_by("pk")
    found: dict[str, dict[str, Facts]] = {}
    for job, run, *facts in rows.values_list(RUN_PATHS["job"], RUN_PATHS["run"], *FACT_PATHS):
        filled = ("" if fact is None and text else fact for fact, text in zip(facts, is_text, strict=True))
        found.setdefault(job, {})[run] = tuple(filled)
    return found
