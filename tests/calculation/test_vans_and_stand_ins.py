"""Pieces on the road, approvals of stand-ins, jobs without a date, parts for line-to-earth duty."""

from decimal import Decimal

import pytest
from small_books import BASE, Small, small

POSITIONS = "P1,a,integral 200 A,200 A 15 kV,ABC,,in use\nP2,a,integral 200 A,200 A 15 kV,ABC,,in use"
RUN = "J1,1,S12,ABC,CT-A,P1,a,P2,a"
JOINT = (
    "P1,a,integral 200 A,200 A 15 kV,ABC,,in use\nP2,a,integral 200 A,200 A 15 kV,ABC,,in use\nP3,j,joint,,ABC,,in use"
)
TWO_RUNS = "J1,1,S12,ABC,CT-A,P1,a,P3,j\nJ1,2,S12,ABC,CT-A,P3,j,P2,a"


def taken(made: Small, code: str) -> dict[tuple[str, str], Decimal]:
    """(source, ready on) -> pieces promised of a stock code."""
    frame = made.made.promises
    frame = frame[(frame["stock_code"] == code).to_numpy()]
    found: dict[tuple[str, str], Decimal] = {}
    for source, day, pieces in zip(frame["source"], frame["ready_on"], frame["quantity"], strict=True):
        found[(source, day)] = found.get((source, day), Decimal(0)) + pieces
    return found


@pytest.mark.parametrize(
    ("cutover", "promised"), [("2026-03-05 08:00", {("transfer", "2026-03-03"): Decimal(6)}), ("2026-03-04 08:00", {})]
)
def test_pieces_in_a_van_come_as_a_transfer_and_only_in_time(
    cutover: str, promised: dict[tuple[str, str], Decimal]
) -> None:
    """A van is at its depot one working day after the day of planning, 03-02; staged by 03-03 it serves, 03-02 not."""
    made = small(
        positions=POSITIONS,
        schedule=RUN,
        jobs=f"job,title,depot,cutover\nJ1,First,N,{cutover}",
        stock="EL-1,N,VAN-2,van,6",
    )
    assert taken(made, "EL-1") == promised
    elbow = made.lines(kind="elbow").iloc[0]
    assert elbow["answer"] == ("ready if" if promised else "short")


@pytest.mark.parametrize(
    ("approvals", "pieces"),
    [
        (("2,",), 2),
        (("2,", "2,"), 2),
        (("2,", ","), 2),
        (("2,", "3,"), 2),
        ((",",), 3),
        ((",2026-03-20",), 3),
        ((",2026-03-19",), 0),
        (("1,2026-03-19", "2,"), 2),
        ((), 0),
    ],
)
def test_a_stand_in_serves_up_to_what_is_approved_on_the_day_of_the_cutover(
    approvals: tuple[str, ...], pieces: int
) -> None:
    """Of several approvals in force on 03-20 the least number holds, however often the same is approved."""
    rows = "\n".join(f"CS,CS-W,standards,{approval}" for approval in approvals)
    made = small(
        positions=JOINT,
        schedule=TWO_RUNS,
        items="CS-W,Splice wide,splice,25,,,0.650,1.150,,,,,,,,,,10",
        stand_ins=f"wanted,allowed,approved by,max quantity,to\n{rows}",
        stock="CS-W,N,A-1,bin,9",
    )
    assert sum(taken(made, "CS-W").values()) == pieces


def test_every_open_line_of_a_job_without_a_cutover_cant_be_told() -> None:
    """Also the one whose pinned item does not serve: nothing is promised, nothing is short, nothing is bought."""
    made = small(
        positions=POSITIONS,
        schedule=RUN,
        jobs="job,title,depot,cutover\nJ1,First,N,",
        pins="job,line,stock code,quantity,reason,by\nJ1,J1/P1-a/r1-from/ABC/probe,EL-2,3,agreed,planner",
    )
    assert set(made.made.requirements["answer"]) == {"can't tell"}
    pinned = made.made.requirements.set_index("line").loc["J1/P1-a/r1-from/ABC/probe"]
    assert pinned["stock_code"] == ""
    assert made.made.promises.empty
    assert made.made.shortages.empty
    assert made.made.reorder.empty


@pytest.mark.parametrize(("run", "system", "chosen"), [("A", "S12", "CS"), ("ABC", "S12", ""), ("A", "S13D", "")])
def test_no_part_marked_for_line_to_earth_duty_serves_between_phases(run: str, system: str, chosen: str) -> None:
    """Also a splice: only a run of one phase on a multigrounded wye takes it."""
    made = small(
        positions=JOINT.replace("ABC", run),
        schedule=TWO_RUNS.replace("ABC", run).replace("S12", system),
        items=BASE["items"].replace(
            "CS,Splice,splice,15,,,0.700,1.100,,,,,,,,", "CS,Splice,splice,15,,,0.700,1.100,,,,,,,no,"
        ),
    )
    assert made.lines(kind="splice").iloc[0]["stock_code"] == chosen


def test_pieces_bagged_for_a_job_that_it_does_not_use_are_noted() -> None:
    made = small(
        positions=POSITIONS,
        schedule=RUN,
        stock="stock code,depot,place,place kind,lot,quantity,job,structure\nEL-1,N,BAG-7,bag,L-1,8,J1,P1",
    )
    (noted,) = [question for question in made.made.questions if question.sheet == "stock"]
    assert (noted.severity, noted.row, noted.read) == ("note", 2, "8")
    assert noted.problem == "2 EL-1 in BAG-7 are kept for J1 but not used: no line of the job needs them"
    assert made.lines(kind="elbow")["answer"].tolist() == ["ready", "ready"]
