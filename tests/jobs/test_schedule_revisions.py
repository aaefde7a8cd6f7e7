"""Revisions of cable schedules: letters, what differs, and what the database itself refuses."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from jobs.models import CableType, Job, Position, Run, ScheduleRevision, Structure, System
from jobs.selectors.schedules import FACT_PATHS, Facts, compare_schedules, live_schedules
from jobs.services.revise_schedules import Revised, revise_schedules

AT = datetime(2026, 3, 2, 14, 30, tzinfo=UTC)


def facts(remarks: str = "", *, system: str = "S12", end: str = "P2") -> Facts:
    known = {
        "system__system": system,
        "phases": "ABC",
        "cables_per_phase": 1,
        "jacketed": None,
        "wall_nm": None,
        "doi_low_nm": None,
        "doi_high_nm": None,
        "jacket_low_nm": None,
        "jacket_high_nm": None,
        "length_nm": None,
        "from_position__structure__structure": "P1",
        "from_position__position": "a",
        "to_position__structure__structure": end,
        "to_position__position": "a",
        "remarks": remarks,
    }
    return tuple(known.get(path, "") for path in FACT_PATHS)


def revise(**schedules: dict[str, Facts]) -> tuple[Revised, ...]:
    return revise_schedules(schedules=schedules, file_digest="f" * 64, by="R. Tolley", at=AT)


@pytest.fixture
def _network(db: None) -> None:  # noqa: ARG001  # the records are there
    System.objects.create(system="S12", nominal_kv="12.47", earthing="solid")
    for name in ("P1", "P2", "P3"):
        Position.objects.create(structure=Structure.objects.create(structure=name), position="a", kind="joint")
    for job in ("J1", "J2"):
        Job.objects.create(job=job, depot="N")


def test_two_revisions_are_compared_run_by_run() -> None:
    old = {"1": facts(), "2": facts(), "3": facts()}
    new = {"2": facts("moved"), "1": facts(), "4": facts()}
    found = compare_schedules(old, new)
    assert (found.new, found.gone, found.changed, found.same) == (("4",), ("3",), ("2",), ("1",))
    assert str(found) == "1 new, 1 changed, 1 gone, 1 same"


@pytest.mark.usefixtures("_network")
def test_a_changed_schedule_gets_the_next_letter_and_the_former_one_stays_as_it_was() -> None:
    assert [(one.job, one.letter, one.is_new) for one in revise(J1={"1": facts()}, J2={"1": facts()})] == [
        ("J1", "A", True),
        ("J2", "A", True),
    ]
    assert not any(one.is_new for one in revise(J1={"1": facts()}))
    (second,) = revise(J1={"1": facts("rerouted", end="P3")})
    assert (second.letter, second.changes.changed) == ("B", ("1",))
    assert live_schedules() == {"J1": {"1": facts("rerouted", end="P3")}, "J2": {"1": facts()}}
    first = Run.objects.get(revision__job__job="J1", revision__letter="A")
    assert (first.remarks, first.to_position.structure.structure) == ("", "P2")


@pytest.mark.usefixtures("_network")
def test_after_z_comes_aa() -> None:
    ScheduleRevision.objects.create(
        job=Job.objects.get(job="J1"),
        letter="Z",
        digest="0" * 64,
        file_digest="0" * 64,
        loaded_by="R. Tolley",
        loaded_at=AT,
    )
    assert revise(J1={"1": facts()})[0].letter == "AA"
    assert revise(J1={"1": facts("again")})[0].letter == "AB"


@pytest.mark.usefixtures("_network")
def test_many_runs_take_as_many_queries_as_few() -> None:
    def queries(runs: int, remarks: str) -> int:
        with CaptureQueriesContext(connection) as seen:
            revise(J1={str(run): facts(remarks) for run in range(runs)})
        return len(seen)

    queries(1, "first")
    assert queries(2, "second") == queries(25, "third")


@pytest.mark.usefixtures("_network")
@pytest.mark.parametrize(
    "breaks_a_rule",
    [
        lambda: System.objects.create(system="S0", nominal_kv="1", earthing="solid"),
        lambda: System.objects.create(system="S99", nominal_kv="69.1", earthing="solid"),
        lambda: System.objects.create(system="S13", nominal_kv="13.2", earthing="solid", mcov_need_kv="8.4"),
        lambda: System.objects.create(system="S12", nominal_kv="12.47", earthing="solid"),
        lambda: CableType.objects.create(cable_type="CT-X", doi_low_nm=2, doi_high_nm=1),
        lambda: CableType.objects.create(cable_type="CT-X", jacket_low_nm=2, jacket_high_nm=1),
        lambda: Job.objects.create(job="J3", depot="N", cutover="2026-03-05 09:00", cutover_end="2026-03-05 08:00"),
        lambda: Job.objects.create(job="J1", depot="N"),
        lambda: Position.objects.create(structure=Structure.objects.get(structure="P1"), position="a", kind="joint"),
        lambda: ScheduleRevision.objects.filter(letter="A").update(live=True),
        lambda: Run.objects.update(to_position=Position.objects.get(structure__structure="P1")),
        lambda: Run.objects.filter(revision__live=True).update(run="1"),
        lambda: Run.objects.update(doi_low_nm=2, doi_high_nm=1),
    ],
)
def test_the_database_refuses_what_can_not_be(breaks_a_rule: Callable[[], object]) -> None:
    revise(J1={"1": facts()})
    revise(J1={"1": facts("second"), "2": facts("third", end="P3")})
    with pytest.raises(IntegrityError), transaction.atomic():
        breaks_a_rule()
    System.objects.create(
        system="S69", nominal_kv="69", earthing="solid", mcov_need_kv="48", mcov_reason="by the owner"
    )
