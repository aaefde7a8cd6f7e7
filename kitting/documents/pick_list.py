"""The pick list: what to take, in walking order, for which bag; one for each job and depot where pieces lie."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pandas as pd

from kitting.calculation.answers import SHORT
from kitting.calculation.natural_order import natural_key
from kitting.calculation.short_codes import make_code
from kitting.documents.cautions import cautions
from kitting.documents.job_papers import (
    ORDER,
    TRANSFER,
    Bag,
    JobPaper,
    Line,
    Piece,
    amount,
    answer_details,
    number_text,
)
from kitting.documents.layout import SECTION, Column, Flow, Frame, Mark, sheet_area
from kitting.documents.marks import draw_answer, draw_tick_box
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.wording import Words
from kitting.spreadsheets.writing import SheetContent, write_people_csv, write_workbook

COLUMNS = (
    Column("Place", 20, bold=True),
    Column("Stock code", 25, bold=True),
    Column("Part", 47),
    Column("Lot to take", 24),
    Column("Use by", 20),
    Column("Take", 17, align="right", bold=True),
    Column("Bag", 9, align="centre"),
    Column("Done", 10, align="centre"),
    Column("For", 18),
)
TAKE_HEADERS = (
    "job", "depot", "place", "stock code", "part", "lot", "use by", "quantity", "unit", "bag", "stand-in for", "spare",
    "for",
)  # fmt: skip
ELSEWHERE = (
    Column("Line", 40),
    Column("What", 37, bold=True),
    Column("State", 27),
    Column("Why, and what must come", 86),
)


@dataclass(frozen=True, slots=True)
class PickRow:
    """Pieces of one lot at one place for one bag."""

    place: str
    stock_code: str
    part: str
    lot: str
    use_by: date | None
    quantity: Decimal
    unit: str
    bag: int
    ends: tuple[str, ...]
    stand_in_for: str
    spare: bool

    @property
    def code_text(self) -> str:
        """The stock code, and what it stands in for."""
        return f"{self.stock_code} STAND-IN for {self.stand_in_for}" if self.stand_in_for else self.stock_code


@dataclass(frozen=True, slots=True)
class PickList:
    """The rows to pick at ``depot`` for bags that are staged at ``to``, and the lines that are not picked there.

    The spares among the rows stand last.
    """

    paper: JobPaper
    depot: str
    to: str
    rows: tuple[PickRow, ...]
    elsewhere: tuple[tuple[str, str, str, str], ...]

    @property
    def home(self) -> bool:
        """True where the bags are staged."""
        return self.depot == self.to

    @property
    def name(self) -> tuple[str, ...]:
        """What tells it from the other lists of the job: its depot, and where it sends to if the job has several."""
        alone = self.home or self.paper.depots == [self.paper.answer.depot]
        return (self.depot,) if alone else (self.depot, self.to)

    @property
    def bags(self) -> list[Bag]:
        """The bags it is for."""
        return [bag for bag in self.paper.bags if bag.depot == self.to]

    @property
    def staged_by(self) -> str:
        """By when they are staged."""
        return next((bag.staged_by for bag in self.bags), self.paper.staged_by)

    @property
    def number(self) -> str:
        """Readable number of this list."""
        return make_code("P", self.paper.answer.job, *self.name)


def pick_lists(papers: PlanPapers, paper: JobPaper, words: Words) -> list[PickList]:
    """The job's pick lists, depot by depot at which its bags are staged: first that one's, then of each that sends."""
    staged_at = {bag.number: bag.depot for bag in paper.bags}
    grouped: dict[tuple[str, str], dict[tuple[object, ...], list[tuple[Line, Piece]]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for line in paper.lines:
        for piece in line.pieces:
            if piece.source != ORDER:
                bag = paper.bag_of[line.line]
                key = (piece.place, piece.stock_code, piece.lot, bag, line.spare, piece.stand_in_for)
                grouped[staged_at[bag], piece.depot][key].append((line, piece))
    found = []
    for to in paper.depots:
        senders = sorted((depot for there, depot in grouped if there == to and depot != to), key=natural_key)
        for depot in (to, *senders):
            rows = sorted((_row(papers, words, key, taken) for key, taken in grouped[to, depot].items()), key=_walk)
            found.append(PickList(paper, depot, to, tuple(rows), ()))
    return [replace(one, elsewhere=tuple(_elsewhere(one, words))) if one.home else one for one in found]


def _row(papers: PlanPapers, words: Words, key: tuple[object, ...], found: Sequence[tuple[Line, Piece]]) -> PickRow:
    line, piece = found[0]
    return PickRow(
        place=piece.place,
        stock_code=piece.stock_code,
        part=_part(papers, words, piece.stock_code, line.kind),
        lot=piece.lot,
        use_by=piece.use_by,
        quantity=sum((one.quantity for _, one in found), Decimal()),
        unit=line.unit,
        bag=int(str(key[3])),
        ends=tuple(dict.fromkeys(one.place_name for one, _ in found)),
        stand_in_for=piece.stand_in_for,
        spare=line.spare,
    )


def _part(papers: PlanPapers, words: Words, code: str, kind: str) -> str:
    return papers.noun(code, words(kind))


def _walk(row: PickRow) -> tuple[object, ...]:
    return row.spare, natural_key(row.place), natural_key(row.stock_code), natural_key(row.lot), row.bag


def _elsewhere(pick: PickList, words: Words) -> list[tuple[str, str, str, str]]:
    """Line, what, state and reason of everything that is not taken from a shelf here."""
    rows: list[tuple[str, str, str, str]] = []
    by, numbers = pick.staged_by, {bag.number for bag in pick.bags}
    for line in pick.paper.lines:
        if numbers and pick.paper.bag_of[line.line] not in numbers:
            continue
        for piece in line.pieces:
            what = f"{number_text(piece.quantity)} {piece.stock_code}"
            if piece.source == TRANSFER:
                rows.append(
                    (line.place_name, what, "transfer", f"from {piece.depot} {piece.place}; must be here by {by}")
                )
            elif piece.source == ORDER:
                rows.append(
                    (line.place_name, what, "on order", f"order {piece.order}, {piece.ready_on}; must be here by {by}")
                )
        if line.open:
            rows.append((line.place_name, words(line.kind), line.answer, words(line.reason)))
        elif line.missing > 0:
            spare = "spare; " if line.spare else ""
            rows.append(
                (
                    line.place_name,
                    f"{number_text(line.missing)} {line.stock_code or words(line.kind)}",
                    SHORT,
                    spare + words(line.reason),
                )
            )
    return rows


def _facts(papers: PlanPapers, pick: PickList) -> tuple[str, ...]:
    """The lines that stand under the job."""
    paper = pick.paper
    return (
        f"Cutover {paper.cutover} · staged by {pick.staged_by} · depot {papers.depot_text(pick.to)}",
        papers.stand_text(paper.revision),
    )


def pick_flow(papers: PlanPapers, pick: PickList, words: Words) -> Flow:
    """The pick list as pages."""
    paper, policies = pick.paper, papers.plan.book.policies
    name = papers.depots.get(pick.depot, {}).get("name") or ""
    errand = "" if pick.home else f" · send to {pick.to}, there by {pick.staged_by}"
    frame = Frame(
        title=papers.titled(f"PICK LIST · {pick.depot} {name}{errand}"),
        subject=f"{paper.answer.job} {paper.answer.title}",
        facts=_facts(papers, pick),
        number=pick.number,
        code=f"{pick.number} REV {paper.revision}",
        cautions=cautions(words),
        demo=policies.demo,
    )
    flow = Flow(sheet_area(policies.paper), frame)
    if pick.home:
        _bags(flow, pick, words)
    rows = [row for row in pick.rows if not row.spare]
    flow.text("Take, in walking order", SECTION, keep_mm=20)
    if rows:
        flow.table(_columns(words), _take_cells(rows))
    else:
        flow.text(f"Nothing to pick at {pick.depot} for this job.")
    spares = [row for row in pick.rows if row.spare]
    if spares:
        flow.gap(4)
        flow.text("Spares (mark them as spares)", SECTION, keep_mm=20)
        flow.table(_columns(words), _take_cells(spares))
    if pick.elsewhere:
        flow.gap(4)
        flow.text("Not on a shelf here", SECTION, keep_mm=20)
        flow.table(ELSEWHERE, [_state_cells(row) for row in pick.elsewhere])
    return flow


def _columns(words: Words) -> list[Column]:
    return [Column(words(column.heading), column.width_mm, column.align, column.bold) for column in COLUMNS]


def _take_cells(rows: Sequence[PickRow]) -> list[list[str | Mark]]:
    """The rows as cells; what the part is stands once where one place serves several bags."""
    before = [("", ""), *((row.place, row.stock_code) for row in rows)]
    return [_cells(row, repeated=(row.place, row.stock_code) == last) for row, last in zip(rows, before, strict=False)]


def _cells(row: PickRow, *, repeated: bool) -> list[str | Mark]:
    use_by = row.use_by.isoformat() if row.use_by else "–"
    return [
        row.place,
        row.code_text,
        "" if repeated else row.part,
        row.lot or "any",
        use_by,
        amount(row.quantity, row.unit),
        str(row.bag),
        Mark(draw_tick_box, side_mm=4.2),
        ", ".join(row.ends),
    ]


def _state_cells(row: tuple[str, str, str, str]) -> list[str | Mark]:
    place, what, state, why = row
    return [
        place,
        what,
        answer_mark(state) if state not in (TRANSFER, "on order") else answer_mark("ready if", state),
        why,
    ]


def answer_mark(answer: str, text: str = "") -> Mark:
    """A cell with the shape of ``answer`` and its word (or ``text``)."""
    return Mark(lambda canvas, x, y, side: draw_answer(canvas, x, y, side, answer), text or answer.upper())


def _bags(flow: Flow, pick: PickList, words: Words) -> None:
    flow.text("Bags", SECTION)
    columns = (
        Column("Bag", 20, bold=True),
        Column("Location", 34, bold=True),
        Column("Number", 40),
        Column("Revision", 20),
        Column("State", 76),
    )
    flow.table(columns, [_bag_cells(bag, words) for bag in pick.bags])
    flow.gap(4)


def _bag_cells(bag: Bag, words: Words) -> list[str | Mark]:
    answer = bag.answers[0]
    details = answer_details([line for line in bag.lines if not line.spare], answer, bag.staged_by, words)
    text = f"{answer.upper()}{': ' if details else ''}{details}"
    return [f"{bag.number} of {bag.total}", bag.structure or "–", bag.code, bag.revision, answer_mark(answer, text)]


def _taken(pick: PickList) -> pd.DataFrame:
    job = pick.paper.answer.job
    rows = [
        (job, pick.depot, row.place, row.stock_code, row.part, row.lot, row.use_by, row.quantity, row.unit, row.bag,
         row.stand_in_for, "yes" if row.spare else "no", ", ".join(row.ends))
        for row in pick.rows
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(TAKE_HEADERS), dtype=object)


def write_pick_csv(path: Path, pick: PickList) -> Path:
    """What to take as CSV that a person opens, in walking order."""
    write_people_csv(_taken(pick), path)
    return path


def write_pick_workbook(path: Path, pick: PickList) -> Path:
    """The pick list as a workbook: what to take, and what is not on a shelf here."""
    missing = pd.DataFrame(pick.elsewhere, columns=["for", "what", "state", "why, and what must come"], dtype=object)
    sheets = {"take": SheetContent(_taken(pick), wrapped=("part",))}
    if pick.home:
        sheets["not here"] = SheetContent(missing, wrapped=("why, and what must come",))
    write_workbook(path, sheets)
    return path
