"""What the papers of one job say: its lines with the pieces promised to them, in bags, split by end and phase."""

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from kitting.calculation.answers import CANT_TELL, CONFLICT, NO_RULE, READY, READY_IF, SHORT, WORST_FIRST
from kitting.calculation.natural_order import natural_key
from kitting.calculation.plan_result import JobAnswer
from kitting.calculation.short_codes import bag_code
from kitting.documents.diameters import Span
from kitting.documents.wording import Words

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
SHELF, TRANSFER, ORDER = "shelf", "transfer", "order"


@dataclass(frozen=True, slots=True)
class Piece:
    """Pieces of one lot promised to one line; ``stand_in_for`` names the code that was wanted, or is blank."""

    stock_code: str
    lot: str
    use_by: date | None
    depot: str
    place: str
    quantity: Decimal
    source: str
    order: str
    ready_on: str
    stand_in_for: str


@dataclass(frozen=True, slots=True)
class Line:
    """One requirement line with its pieces; ``doi`` and ``jacket`` are bands of its cables in nm."""

    line: str
    run: str
    structure: str
    position: str
    side: str
    phases: str
    kind: str
    quantity: Decimal | None
    unit: str
    spare: bool
    answer: str
    stock_code: str
    interface: str
    conductor: str
    doi: tuple[Span, ...]
    doi_origin: str
    jacket: tuple[Span, ...]
    per_phase: bool
    reason: str
    pieces: tuple[Piece, ...]

    @property
    def missing(self) -> Decimal:
        """Pieces of the line that are not promised."""
        return (self.quantity or Decimal()) - sum((piece.quantity for piece in self.pieces), Decimal())

    @property
    def open(self) -> bool:
        """True where no part is chosen: can't tell, no rule or conflict."""
        return self.answer in (CANT_TELL, NO_RULE, CONFLICT)

    @property
    def place_name(self) -> str:
        """Where the line belongs, in short: ``V1-a``, ``V1``, ``whole job``."""
        return "-".join(part for part in (self.structure, self.position) if part) or "whole job"


@dataclass(frozen=True, slots=True)
class Share:
    """What one phase (or the whole end, where ``phase`` is blank) gets of a line; no piece means missing."""

    line: Line
    phase: str
    piece: Piece | None
    quantity: Decimal


@dataclass(frozen=True, slots=True)
class End:
    """A cable end, joint or position in a bag, with its lines."""

    name: str
    run: str
    phases: str
    lines: tuple[Line, ...]

    @property
    def structure(self) -> str:
        """Structure of the end; blank for what serves the whole job."""
        return self.lines[0].structure

    @property
    def conductor(self) -> str:
        """Conductor size and metal, where a line there reads them."""
        return next((line.conductor for line in self.lines if line.conductor), "")


@dataclass(frozen=True, slots=True)
class Bag:
    """Everything for one location of a job, the depot at which it is staged and by when."""

    job: str
    number: int
    total: int
    structure: str
    lines: tuple[Line, ...]
    depot: str
    staged_by: str

    @property
    def code(self) -> str:
        """Readable number with check characters."""
        return bag_code(self.job, self.structure, self.number)

    @property
    def revision(self) -> str:
        """Six characters that change when the bag's content changes, and only then."""
        return revision(self.lines)

    @property
    def answers(self) -> list[str]:
        """Answers of its lines, worst first; spares don't decide."""
        found = {line.answer for line in self.lines if not line.spare}
        return [answer for answer in WORST_FIRST if answer in found] or [READY]

    @property
    def spares(self) -> tuple[Line, ...]:
        """The spare lines that travel in this bag."""
        return tuple(line for line in self.lines if line.spare)

    @property
    def ends(self) -> tuple[End, ...]:
        """Ends in line order; the parts of a position join the one cable end that lands there."""
        runs: dict[str, set[str]] = defaultdict(set)
        for line in self.lines:
            if line.run and not line.spare:
                runs[line.place_name].add(line.run)
        groups: dict[tuple[str, str], list[Line]] = defaultdict(list)
        for line in self.lines:
            if not line.spare:
                sole = next(iter(runs[line.place_name])) if len(runs[line.place_name]) == 1 else ""
                groups[line.place_name, line.run or sole].append(line)
        return tuple(
            End(name, run, max((line.phases for line in lines), key=len), tuple(lines))
            for (name, run), lines in groups.items()
        )


@dataclass(frozen=True, slots=True)
class JobPaper:
    """A job's answer, lines and bags, and the texts its papers share."""

    answer: JobAnswer
    cutover: str
    staged_by: str
    lines: tuple[Line, ...]
    bags: tuple[Bag, ...]
    bag_of: Mapping[str, int]

    @property
    def depots(self) -> list[str]:
        """The depots at which its bags are staged, its own first where one is, or where it has no bag."""
        own = self.answer.depot
        return sorted({bag.depot for bag in self.bags} or {own}, key=lambda depot: (depot != own, natural_key(depot)))

    def elsewhere(self, bag: Bag) -> bool:
        """Whether the depot of a bag must be told: it isn't the job's own, or not the only one."""
        return bag.depot != self.answer.depot or len(self.depots) > 1

    @property
    def revision(self) -> str:
        """Six characters that change when any line of the job changes."""
        return revision(self.lines)


def revision(lines: Sequence[Line]) -> str:
    """Six characters made of what the lines ask for and what is promised to them."""
    texts = [
        "|".join((line.line, str(line.quantity), line.answer, line.stock_code, *_piece_texts(line))) for line in lines
    ]
    return hashlib.sha256("\n".join(texts).encode()).hexdigest()[:6].upper()


def _piece_texts(line: Line) -> Iterator[str]:
    for piece in line.pieces:
        yield f"{piece.stock_code}/{piece.lot}/{piece.depot}/{piece.place}/{piece.quantity}"


def shares(line: Line) -> list[Share]:
    """The line split by phase in A, B, C order, its pieces taken in the order they were promised."""
    if line.quantity is None:
        return []
    phases = tuple(line.phases) if line.per_phase else ("",)
    each = line.quantity / len(phases)
    left: list[tuple[Piece | None, Decimal]] = [(piece, piece.quantity) for piece in line.pieces]
    left.append((None, line.missing))
    found: list[Share] = []
    for phase in phases:
        wanted = each
        while wanted > 0 and left:
            piece, there = left.pop(0)
            taken = min(wanted, there)
            wanted -= taken
            if there > taken:
                left.insert(0, (piece, there - taken))
            if taken > 0:
                found.append(Share(line, phase, piece, taken))
    return found


def number_text(quantity: Decimal) -> str:
    """A quantity without trailing zeros and without an exponent."""
    return format(quantity.normalize(), "f")


def amount(quantity: Decimal, unit: str) -> str:
    """A quantity with its unit."""
    return f"{number_text(quantity)} {unit}".strip()


def day_text(day: date | None) -> str:
    """``Thu 2026-03-12``; a dash where there is none."""
    return f"{DAYS[day.weekday()]} {day.isoformat()}" if day else "–"


def answer_details(lines: Sequence[Line], answer: str, staged_by: str, words: Words) -> str:
    """What stands beside an answer's word: what must come, what is short, or the fact that is missing."""
    chosen = [line for line in lines if line.answer == answer]
    if answer == READY_IF:
        return "; ".join(_arrivals(chosen, staged_by))
    if answer == SHORT:
        totals: dict[str, Decimal] = defaultdict(Decimal)
        for line in chosen:
            totals[line.stock_code or f"{words(line.kind)} (no stock code serves)"] += line.missing
        return ", ".join(f"{number_text(missing)} {code}" for code, missing in totals.items())
    if answer in (CANT_TELL, NO_RULE, CONFLICT):
        more = f" (and {len(chosen) - 1} more lines: see the pick list)" if len(chosen) > 1 else ""
        return f"{chosen[0].place_name}: {words(chosen[0].reason)}{more}"
    return ""


def _arrivals(lines: Sequence[Line], staged_by: str) -> list[str]:
    totals: dict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for line in lines:
        for piece in line.pieces:
            if piece.source != SHELF:
                way = f"from {piece.depot}" if piece.source == TRANSFER else f"on order {piece.order}"
                totals[piece.stock_code, way] += piece.quantity
    return [f"{number_text(count)} {code} {way} by {staged_by}" for (code, way), count in totals.items()]
