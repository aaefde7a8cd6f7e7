"""What the rules ask at a place that no schedule names, for a cable and a system that somebody chooses.

Rows are imagined beside the owner's own items, rules, systems and cables, and read by the same functions as received
ones: nothing is chosen here that planning would not choose.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from kitting.calculation.expansion.lines import SIDES
from kitting.calculation.job_dates import read_job_dates
from kitting.calculation.planning import expand
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet

JOB = "IMAGINED"
FAR = {"kind": "riser pole", "state": "in use", "environment": "dry"}  # the end that nobody asks about

Row = Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Landing:
    """A cable that lands at an imagined position; ``cable`` are cells of the schedule by field, such as cable_type."""

    position: str
    phases: str
    cable: Row


@dataclass(frozen=True, slots=True, kw_only=True)
class ImaginedPlace:
    """A structure on one system: its positions as cells of the positions sheet by field, and the cables that land."""

    structure: str
    system: str
    positions: Sequence[Row]
    landings: Sequence[Landing]


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedLine:
    """One line that the rules ask at a place.

    Args:
        structure, position: where.
        side: a word of the requirements table: ``from`` for a cable end, ``joint``, ``position``, ``location``.
        phases: letters, '' where the line has none.
        kind: of part; the name of the rule table where it can't be told.
        quantity: thousandths for all phases; None where it can't be told.
        each_phase: whether the quantity is for each phase, times their number.
        codes: stock codes that serve, in the order of choice.
        answer: '' where it is decided; else ``can't tell``, ``no rule``, ``conflict`` or ``short``.
        missing: the facts that are missing.
        sentence: why, in words.
        rule: its id and the revision of its table.
    """

    structure: str
    position: str
    side: str
    phases: str
    kind: str
    quantity: int | None
    each_phase: bool
    codes: tuple[str, ...]
    answer: str
    missing: tuple[str, ...]
    sentence: str
    rule: str


def asked_at(raw: RawBook, places: Sequence[ImaginedPlace], *, depot: str, on: date) -> list[AskedLine]:
    """What the rules ask at imagined places, in their order; spares and far ends are left out.

    Args:
        raw: the owner's sheets; jobs, positions and schedule are not read.
        places: with structures of different names.
        depot: on the sheet of depots.
        on: the day for which stand-ins count.

    Raises:
        Refusal: the rule book can't be read.
    """
    book = read_book(_with(raw, places, depot, on))
    lines = expand(book, read_job_dates(book)).scene.lines
    named = {place.structure for place in places}
    found = []
    for owner_number, template_number in zip(lines.owner_of, lines.template_of, strict=True):
        owner, template = lines.owners[owner_number], lines.templates[template_number]
        if owner.structure not in named or template.spare:
            continue
        found.append(
            AskedLine(
                structure=owner.structure,
                position=owner.position,
                side=SIDES[owner.side],
                phases=owner.phases,
                kind=template.kind,
                quantity=template.quantity,
                each_phase=template.per == "phase",
                codes=template.codes,
                answer=template.answer,
                missing=tuple(one.fact for one in template.missing),
                sentence=template.sentence,
                rule=" ".join(filter(None, (template.rule, template.revision))),
            )
        )
    return found


def _with(raw: RawBook, places: Sequence[ImaginedPlace], depot: str, on: date) -> RawBook:
    rows: dict[str, Sequence[Row]] = {
        "jobs": [{"job": JOB, "depot": depot, "cutover": f"{on} 12:00"}],
        "positions": [row for place in places for row in _positions(place)],
        "schedule": [row for place in places for row in _runs(place)],
    }
    of_jobs = ("bag depots", "pins", "added lines", "stock", "orders")
    kept = {name: sheet for name, sheet in raw.sheets.items() if name not in of_jobs}
    made = {name: _sheet(name, given) for name, given in rows.items()}
    return raw_book({**kept, **made, "stock": _sheet("stock", [])}.values())


def _positions(place: ImaginedPlace) -> Iterator[Row]:
    yield from ({**row, "structure": place.structure, "job": JOB} for row in place.positions)
    for number, landing in enumerate(place.landings, 1):
        yield {**FAR, "structure": _far(place), "position": str(number), "phases": landing.phases}


def _runs(place: ImaginedPlace) -> Iterator[Row]:
    for number, landing in enumerate(place.landings, 1):
        yield {
            **landing.cable,
            "job": JOB,
            "run": f"{place.structure}-{number}",
            "system": place.system,
            "phases": landing.phases,
            "from_structure": place.structure,
            "from_position": landing.position,
            "to_structure": _far(place),
            "to_position": str(number),
        }


def _far(place: ImaginedPlace) -> str:
    return f"{place.structure}-far"


def _sheet(name: str, rows: Sequence[Row]) -> RawSheet:
    columns = SHEETS[name].columns
    cells = [[row.get(column.field, "") for column in columns] for row in rows]
    return raw_sheet(name, [column.header for column in columns], cells)
