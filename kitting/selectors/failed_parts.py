"""What has failed, and where: which kinds and stock codes would put it right, and where they could come from."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from types import MappingProxyType

from django.db import models
from django.db.models import Q

from inventory.selectors.finding import depot_named, items_by_code
from jobs.models import CableType, Job, Position, Run, System
from kitting.calculation.imagined_places import FAR, AskedLine, ImaginedPlace, Landing, Row, asked_at
from kitting.calculation.kinds import KINDS
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.raw import RawBook
from kitting.errors import Refusal
from kitting.selectors.bag_contents import bare
from kitting.selectors.policies import margin_days
from kitting.selectors.sheets import sheets_of_jobs
from kitting.selectors.sources import Source, sources

ELBOW, SPLICE, TERMINATION, ARRESTER, INSERT = "elbow", "splice", "termination", "arrester", "insert"
_END, _JOINT, _POSITION = "from", "joint", "position"  # words of the requirements table
_JOINT_ROW = {"position": "joint", "kind": "joint", "state": "in use", "environment": "dry"}
_PHASES = "ABC"
_OF_A_RUN = {"job", "run", "system", "system_after", "phases", "length_nm", "remarks"}
_OF_THE_CABLE = {
    column.field
    for column in SHEETS["schedule"].columns
    if column.field not in _OF_A_RUN and not column.field.startswith(("from_", "to_"))
}


@dataclass(frozen=True, slots=True)
class _Failed:
    """Which lines put a part right: those of a side, and the kinds that must be among them.

    ``whole`` takes what is fitted with it as well: an elbow is never put on an old connector.
    """

    side: str
    kinds: Collection[str]
    whole: bool


FAILED: Mapping[str, _Failed] = MappingProxyType(
    {
        ELBOW: _Failed(_END, ("elbow", "fused elbow", "tee"), whole=True),
        SPLICE: _Failed(_JOINT, ("splice",), whole=True),
        TERMINATION: _Failed(_END, ("termination",), whole=True),
        ARRESTER: _Failed(_POSITION, tuple(kind for kind, one in KINDS.items() if one.arrester), whole=False),
        INSERT: _Failed(_POSITION, ("bushing insert", "feed-through insert"), whole=False),
    }
)


@dataclass(frozen=True, slots=True)
class Suggested:
    """One kind that is needed: thousandths, stock codes that serve in the order of choice, and sources of each."""

    kind: str
    quantity: int
    sources: Mapping[str, Sequence[Source]]
    why: str

    @property
    def stock_code(self) -> str:
        """The first code of which enough can be had somewhere, else the first."""
        enough = (code for code, found in self.sources.items() if sum(one.free for one in found) >= self.quantity)
        return next(enough, next(iter(self.sources)))

    @property
    def sentence(self) -> str:
        """In words: ``3 CS15-2 (splice): 3 of CS15-2 lot L-1 at H/H-04-2 (shelf)``."""
        first = self.stock_code
        told = "; ".join(source.sentence for source in self.sources[first]) or "none to be had"
        return f"{bare(self.quantity)} {first} ({self.kind}): {told}"


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What would put a failed part right; ``system`` is '' where nobody knows it: then only what serves on all counts.

    ``left_open`` says in words what can't be suggested, and why.
    """

    system: str
    lines: tuple[Suggested, ...]
    left_open: tuple[str, ...]

    @property
    def wanted(self) -> dict[str, int]:
        """Thousandths by stock code, as an emergency asks for them."""
        found: dict[str, int] = defaultdict(int)
        for line in self.lines:
            found[line.stock_code] += line.quantity
        return dict(found)


def suggest(
    *,
    structure: str,
    position: str,
    failed: str,
    depot: str,
    on: date,
    system: str = "",
    cable_type: str = "",
    phases: str = "",
) -> Suggestion:
    """What to bring for a failed part, by the rules and facts as they are, with where it could come from.

    Args:
        structure, position: on the books; for a splice in the middle of a cable any place, with a cable type.
        failed: one of ``FAILED``.
        depot: from whose stores the sources are seen.
        on: the local day.
        system: '' where nobody knows it: that of the cables there counts, and where there are none every system.
        cable_type: '' for that of the cables on the books.
        phases: letters on which it failed, '' for all that are there.

    Raises:
        Refusal: ``unknown-failure``; ``unknown-depot``; ``unknown-position`` names those there; ``unknown-system``;
            ``other-system``: cables there are on another; ``unknown-cable-type``; ``no-cable``: a splice needs one;
            ``other-phases``; ``nothing-asked``: the rules ask for no such part there, and says for what.
    """
    what = FAILED.get(failed)
    if what is None:
        raise Refusal("unknown-failure", f"Say which failed: {', '.join(FAILED)}; not {failed}.", {"failed": failed})
    depot_named(depot)
    if cable_type and not CableType.objects.filter(cable_type=cable_type).exists():
        raise Refusal("unknown-cable-type", f"There is no cable type {cable_type}.", {"cable_type": cable_type})
    where = "-".join(filter(None, (structure, position)))
    raw = sheets_of_jobs(_jobs_at(structure, position), on)
    row, landing = _row(raw, structure, position, failed), _landings(raw, structure, position)
    known = _systems(system, landing, where)
    rows, landings = _imagined(row, landing, failed, cable_type)
    letters = _letters(phases, "".join(sorted({phase for one in landings for phase in one.phases})), where)
    places = [ImaginedPlace(structure=one, system=one, positions=rows, landings=landings) for one in known]
    asked = asked_at(raw, places, depot=depot, on=on)
    here = [line for line in asked if (line.side, line.position) == (what.side, rows[0]["position"])]
    possible = _possible(here, known, what)
    taken = {one: _taken(lines, what, where, failed) for one, lines in possible.items()}
    common, depends = _common(taken)
    lines, left = _suggested(common, letters, depot, on + timedelta(margin_days()))
    return Suggestion(known[0] if len(known) == 1 else "", tuple(lines), (*depends, *left))


def _jobs_at(structure: str, position: str) -> "models.QuerySet[Job]":
    here = {"structure__structure": structure, "position": position}
    places = Position.objects.filter(**here)
    runs = Run.objects.filter(Q(from_position__in=places) | Q(to_position__in=places), revision__live=True)
    return Job.objects.filter(pk__in=runs.values("revision__job"))


def _rows(raw: RawBook, sheet: str) -> list[dict[str, str]]:
    """Rows of a sheet in our own form, as cells by field."""
    fields = [column.field for column in SHEETS[sheet].columns]
    cells = raw.sheets[sheet].cells if sheet in raw.sheets else None
    return [] if cells is None else [dict(zip(fields, row, strict=True)) for row in cells.itertuples(index=False)]


def _row(raw: RawBook, structure: str, position: str, failed: str) -> Row | None:
    """The row of the place; None for a splice at no position of the books.

    Raises:
        Refusal: ``unknown-position``.
    """
    at_structure = [row for row in _rows(raw, "positions") if row["structure"] == structure]
    found = next((row for row in at_structure if row["position"] == position), None)
    if found is None and failed != SPLICE:
        there = ", ".join(row["position"] for row in at_structure) or "none"
        message = f"{structure} has no position {position or 'without a name'} on the books; its positions: {there}."
        raise Refusal("unknown-position", message, {"structure": structure, "position": position})
    return found


def _landings(raw: RawBook, structure: str, position: str) -> list[Row]:
    """Rows of the schedule that land at a place."""
    ends = [[f"{end}_structure", f"{end}_position"] for end in ("from", "to")]
    here = [structure, position]
    return [row for row in _rows(raw, "schedule") if here in ([row[name] for name in end] for end in ends)]


def _systems(named: str, landing: Sequence[Row], where: str) -> list[str]:
    """The systems that the place may be on: that which is named, else those of its cables, else all."""
    of_cables = sorted({row[field] for row in landing for field in ("system", "system_after") if row[field]})
    known = of_cables or sorted(System.objects.values_list("system", flat=True))
    if named and not System.objects.filter(system=named).exists():
        message = f"There is no system {named}; the systems: {', '.join(known)}."
        raise Refusal("unknown-system", message, {"system": named, "known": known})
    if named and named not in known:
        message = f"The cables at {where} are on {' and '.join(of_cables)}, not on {named}: look again, or correct the "
        raise Refusal("other-system", f"{message}schedule.", {"system": named, "known": known})
    return [named] if named else known


def _imagined(row: Row | None, landing: Sequence[Row], failed: str, cable_type: str) -> tuple[list[Row], list[Landing]]:
    """The row of the place, and the cables that land there, as the failed part leaves them.

    Raises:
        Refusal: ``no-cable``.
    """
    cables = [(one["phases"], {"cable_type": cable_type} if cable_type else _cable(one)) for one in landing]
    phases = (row["phases"] if row else "") or (cables[0][0] if cables else _PHASES)
    known = cable_type or (row["existing_cable_type"] if row else "")
    if row is None or (failed == SPLICE and row["kind"] != "joint"):
        if not cables and not known:
            raise Refusal("no-cable", "Say the cable type: no cable of the books lies there.", {})
        one = cables[0][1] if cables else {"cable_type": known}
        here = {**_JOINT_ROW, "phases": phases}
        return [here], [Landing(position=here["position"], phases=phases, cable=one)] * 2
    if not cables and (failed not in (ARRESTER, INSERT) or row["state"] in ("", "in use")):
        cables = [(phases, {"cable_type": known} if known else {})]
    failing = {"insert_fitted": "no"} if failed == INSERT and row["kind"] == "well 200 A" else {}
    here = {**row, **failing, "stage": ""}
    if cables:
        return [here], [Landing(position=here["position"], phases=each, cable=cable) for each, cable in cables]
    beside = {**FAR, "position": f"beside {here['position']}", "phases": phases}  # it tells the system, nothing else
    return [here, beside], [Landing(position=beside["position"], phases=phases, cable={})]


def _cable(row: Row) -> Row:
    return {name: cell for name, cell in row.items() if name in _OF_THE_CABLE}


def _letters(asked: str, here: str, where: str) -> str:
    """The phases on which it failed.

    Raises:
        Refusal: ``other-phases``.
    """
    if set(asked) - set(here):
        raise Refusal("other-phases", f"{where} has phases {here}, not {asked}.", {"phases": asked, "there": here})
    return asked or here


def _possible(lines: Sequence[AskedLine], systems: Sequence[str], what: _Failed) -> dict[str, list[AskedLine]]:
    """Lines by system, less the systems that the interface of the place rules out; all where it rules out each."""
    by_system = {system: [line for line in lines if line.structure == system] for system in systems}
    possible = {
        system: found
        for system, found in by_system.items()
        if not any("interface" in line.missing for line in found if line.kind in what.kinds)
    }
    return possible or by_system


def _taken(lines: Sequence[AskedLine], what: _Failed, where: str, failed: str) -> list[AskedLine]:
    """The lines that put it right.

    Raises:
        Refusal: ``nothing-asked``.
    """
    open_tables = [line for line in lines if line.quantity is None]
    if not open_tables and not any(line.kind in what.kinds for line in lines):
        asked = ", ".join(dict.fromkeys(line.kind for line in lines)) or "nothing"
        message = f"At {where} the rules ask for {asked}: no {failed} stands there."
        raise Refusal("nothing-asked", message, {"kinds": [line.kind for line in lines]})
    return [line for line in lines if what.whole or line.kind in what.kinds or line.quantity is None]


def _common(by_system: Mapping[str, Sequence[AskedLine]]) -> tuple[list[AskedLine], list[str]]:
    """Lines that every system asks, with the codes that serve on all of them; and in words those it depends on."""
    groups: dict[tuple[str, str, int], dict[str, AskedLine]] = defaultdict(dict)
    for system, lines in by_system.items():
        counted = Counter[tuple[str, str]]()
        for line in lines:
            counted[line.kind, line.phases] += 1
            groups[line.kind, line.phases, counted[line.kind, line.phases]][system] = line
    common, left = [], []
    for (kind, *_), asked in groups.items():
        one = next(iter(asked.values()))
        codes = tuple(code for code in one.codes if all(code in other.codes for other in asked.values()))
        alike = len(asked) == len(by_system) and len({other.quantity for other in asked.values()}) == 1
        if alike and (codes or len(by_system) == 1):
            common.append(replace(one, codes=codes))
        else:
            told = [f"{system}: {' or '.join(other.codes) or other.answer}" for system, other in asked.items()]
            left.append(f"{kind} depends on the system ({'; '.join(told)})")
    return common, left


def _suggested(lines: Sequence[AskedLine], letters: str, depot: str, until: date) -> tuple[list[Suggested], list[str]]:
    """Kinds with their sources, and what can't be suggested; each stock code is looked up once."""
    sums: dict[tuple[str, tuple[str, ...]], int] = defaultdict(int)
    whys: dict[tuple[str, tuple[str, ...]], str] = {}
    left = []
    for line in lines:
        here = len(set(line.phases) & set(letters))
        if line.answer or not line.codes or line.quantity is None:
            left.append(f"{line.kind}: {line.sentence}")
        elif here or not line.phases:
            share = line.quantity * here // len(line.phases) if line.each_phase and line.phases else line.quantity
            sums[line.kind, line.codes] += share
            whys.setdefault((line.kind, line.codes), f"{line.sentence} ({line.rule})")
    codes = {code for _, serving in sums for code in serving}
    items = items_by_code(codes)
    found = {code: sources(item=items[code], depot=depot, until=until) for code in sorted(codes)}
    suggested = [
        Suggested(kind, quantity, {code: found[code] for code in serving}, whys[kind, serving])
        for (kind, serving), quantity in sums.items()
    ]
    return suggested, list(dict.fromkeys(left))
