"""Runs, their ends, and the positions they land on; and which job owns what."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from kitting.calculation.expansion.cables import Cable, CableResolver
from kitting.calculation.natural_order import natural_rank
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact, Record, records
from kitting.calculation.sheets.book import Book

FROM, TO = 0, 1
SIDE_NAMES = ("from", "to")


@dataclass(frozen=True, slots=True)
class Run:
    """One usable row of the schedule: what it is made of and where its two ends are."""

    row: int
    job: str
    run: str
    system: str
    system_after: str
    phases: str
    cables_per_phase: int
    ends: tuple[tuple[str, str], tuple[str, str]]
    cables: tuple[tuple[str, Cable], ...]
    length_nm: Fact
    planned_joints: Fact


@dataclass(slots=True)
class Position:
    """One position and everything that lands on it; ``job`` owns its lines ('' where no job touches it)."""

    facts: Mapping[str, Fact]
    job: str = ""
    landings: list[tuple[int, int]] = field(default_factory=list)

    @property
    def key(self) -> tuple[str, str]:
        """Structure and position number."""
        return self.facts["structure"], self.facts["position"]


@dataclass(frozen=True, slots=True)
class Field:
    """All runs and positions, and the runs at each structure, in the order of the schedule."""

    runs: tuple[Run, ...]
    positions: Mapping[tuple[str, str], Position]
    at_structure: Mapping[str, Sequence[int]]
    unusable: tuple[Mapping[str, Fact], ...]


def read_field(book: Book, service_order: Mapping[str, int]) -> Field:
    """Join schedule and positions, both in the natural order of their numbers: the order of rows must not matter.

    Args:
        book: the parsed sheets.
        service_order: place of each job in the order of service; the first job at a structure owns its positions.
    """
    resolver = CableResolver(book)
    tails_nm = book.policies.tails_nm
    rows = _in_natural_order(records(book, "schedule"), "job", "run")
    runs = tuple(_run(record, resolver, tails_nm) for record in rows if record["usable"])
    places = _in_natural_order(records(book, "positions"), "structure", "position")
    positions = {(record["structure"], record["position"]): Position(record) for record in places}
    at_structure: dict[str, list[int]] = defaultdict(list)
    for index, run in enumerate(runs):
        for side, end in enumerate(run.ends):
            positions[end].landings.append((index, side))
            at_structure[end[0]].append(index)
    for position in positions.values():
        position.job = _owner(position, runs, at_structure, service_order)
    return Field(runs, positions, at_structure, tuple(record for record in rows if not record["usable"]))


def _in_natural_order(rows: Sequence[Record], first: str, second: str) -> list[Record]:
    """Rows by two of their codes; a code that is in doubt comes first."""
    keys = [tuple(row[field] if isinstance(row[field], str) else "" for field in (first, second)) for row in rows]
    ranks = [natural_rank(column) for column in zip(*keys, strict=True)]
    places = sorted(range(len(rows)), key=lambda at: (ranks[0][keys[at][0]], ranks[1][keys[at][1]]))
    return [rows[at] for at in places]


def _owner(
    position: Position, runs: Sequence[Run], at_structure: Mapping[str, Sequence[int]], service_order: Mapping[str, int]
) -> str:
    stated = position.facts["job"]
    if isinstance(stated, str):
        return stated
    jobs = {runs[index].job for index in at_structure.get(position.facts["structure"], ())}
    return min(jobs, key=lambda job: service_order.get(job, len(service_order))) if jobs else ""


def _run(record: Mapping[str, Fact], resolver: CableResolver, tails_nm: int) -> Run:
    cables = _cables_by_phase(record, resolver)
    return Run(
        row=record["row"],
        job=record["job"],
        run=record["run"],
        system=record["system"],
        system_after=record["system_after"] if isinstance(record["system_after"], str) else record["system"],
        phases=record["phases"],
        cables_per_phase=record["cables_per_phase"] or 1,
        ends=(
            (record["from_structure"], record["from_position"]),
            (record["to_structure"], record["to_position"]),
        ),
        cables=cables,
        length_nm=record["length_nm"],
        planned_joints=_planned_joints(record, cables[0][1], resolver, tails_nm),
    )


def _cables_by_phase(record: Mapping[str, Fact], resolver: CableResolver) -> tuple[tuple[str, Cable], ...]:
    """(phases, cable) groups in phase order: one reel for all phases, or one reel a phase."""
    phases, reels = record["phases"], record["reels"]
    if isinstance(reels, Missing) or not reels:
        return ((phases, resolver.of_row(record, reels or None)),)
    if len(reels) == 1:
        return ((phases, resolver.of_row(record, reels[0])),)
    grouped: dict[Cable, str] = {}
    for phase, reel in zip(phases, reels, strict=True):
        cable = resolver.of_row(record, reel)
        grouped[cable] = grouped.get(cable, "") + phase
    return tuple((letters, cable) for cable, letters in grouped.items())


def _planned_joints(record: Mapping[str, Fact], cable: Cable, resolver: CableResolver, tails_nm: int) -> Fact:
    """Joints a conductor needs because no reel is long enough: ceil((length + tails) / reel length) - 1."""
    length = record["length_nm"]
    if isinstance(length, Missing):
        return length
    if length is None:
        return 0
    needed = length + tails_nm
    reels = () if isinstance(record["reels"], Missing) else record["reels"] or ()
    left = [resolver.length_left_nm(reel) for reel in reels]
    if left and all(isinstance(one, int) and one >= needed for one in left):
        return 0
    full = resolver.reel_length_nm(cable)
    if isinstance(full, Missing):
        return full
    return 0 if not full else -(-needed // full) - 1
