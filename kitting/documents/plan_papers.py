"""Reads a plan's tables and the received sheets once, and makes the papers of one job at a time."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from copy import copy
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pandas as pd

from kitting.calculation.bags import YES, assign_bags
from kitting.calculation.lengths import NM_PER_MM
from kitting.calculation.plan_result import SPLIT_COLUMNS, JobAnswer, Plan
from kitting.calculation.rule_book import rule_book
from kitting.documents.diameters import Span
from kitting.documents.job_papers import Bag, JobPaper, Line, Piece, day_text
from kitting.documents.record_papers import Printed

Row = Mapping[str, object]
PHASE = "phase"
TABLE_OF_SIDE = {
    "from": "end accessories",
    "to": "end accessories",
    "joint": "joint accessories",
    "position": "position accessories",
}


class PlanPapers:
    """Reads a plan's tables once and hands out the papers of one job at a time.

    ``printed`` says who prints them and when; None leaves a line to fill in by hand, so that they have no clock.
    """

    def __init__(self, plan: Plan, jobs: Sequence[str]) -> None:
        self.plan = plan
        self.printed: Printed | None = None
        self.answers = {answer.job: answer for answer in plan.jobs}
        self.jobs = {job: self.answers[job] for job in jobs}
        frames = plan.book.frames
        self.items = {str(row["stock_code"]): row for row in records(frames["items"])}
        self.depots = {str(row["depot"]): row for row in records(frames["depots"])}
        self.stock = records(frames["stock"])
        self._use_by = {
            tuple(str(row[name] or "") for name in ("stock_code", "depot", "place", "lot")): row["use_by"]
            for row in self.stock
        }
        self._feeders: dict[str, dict[str, None]] = defaultdict(dict)
        for row in records(frames["positions"]):
            if row.get("feeder"):
                self._feeders[str(row["structure"])][str(row["feeder"])] = None
        self._systems = {str(row["system"]): row for row in records(frames["systems"])}
        self._runs: dict[str, list[Row]] = defaultdict(list)
        self._runs_by_structure: dict[str, dict[str, list[Row]]] = {}
        for row in records(frames["schedule"]):
            self._runs[str(row["job"])].append(row)
        self._stand_ins = {(str(row["wanted"]), str(row["allowed"])) for row in records(frames["stand ins"])}
        tables = rule_book(plan.book.rules).tables
        self._per = {(name, rule.id): rule.per for name in TABLE_OF_SIDE.values() for rule in tables[name].rules}
        wanted = plan.requirements[plan.requirements["job"].isin(list(self.jobs))]
        self._lines = dict(tuple(wanted.groupby("job", sort=False, observed=True)))
        promised = plan.promises[plan.promises["job"].isin(list(self.jobs))]
        self._promises: dict[str, list[Row]] = defaultdict(list)
        for row in records(promised):
            self._promises[str(row["line"])].append(row)

    def as_printed(self, printed: Printed) -> "PlanPapers":
        """The same papers for a person who prints them now."""
        papers = copy(self)
        papers.printed = printed
        return papers

    @property
    def reprint(self) -> str:
        """``REPRINT 2``, or '' on a first print."""
        return self.printed.reprint_text if self.printed else ""

    @property
    def print_text(self) -> str:
        """When and by whom they are printed; blank lines where nobody does."""
        if self.printed is None:
            return "printed at ____________ by ____________"
        return f"printed at {self.printed.moment} by {self.printed.person}"

    def stand_text(self, revision: str) -> str:
        """Revision, day of the stock and printing, as one line of a head."""
        return f"Revision {revision} · stock as of {self.plan.as_of.isoformat()} · {self.print_text}"

    def titled(self, title: str) -> str:
        """A title that says so where the paper is a reprint."""
        return " · ".join(filter(None, (title, self.reprint)))

    def paper(self, job: str) -> JobPaper:
        """The papers of ``job``."""
        answer = self.jobs[job]
        frame = self._lines.get(job, self.plan.requirements.iloc[:0])
        lines = tuple(self._line(row) for row in records(frame))
        placed = assign_bags(frame)
        bag_of = dict(zip(placed["line"], placed["bag"], strict=True))
        structures = dict(zip(placed["bag"], placed["structure"], strict=True))
        split = SPLIT_COLUMNS["requirements"]
        depots = dict(zip(placed["bag"], frame[split], strict=True)) if split in frame else {}
        held: dict[object, list[Line]] = {number: [] for number in structures}
        for line in lines:
            held[bag_of[line.line]].append(line)
        bags = tuple(
            Bag(job, number, len(structures), structure, tuple(held[number]), *_staged(answer, depots.get(number)))
            for number, structure in sorted(structures.items())
        )
        depot = self.depots.get(answer.depot, {})
        return JobPaper(
            answer=answer,
            cutover=_moment(answer.cutover, str(depot.get("time_zone") or "")),
            staged_by=day_text(answer.staged_by),
            lines=lines,
            bags=bags,
            bag_of=bag_of,
        )

    def _line(self, row: Row) -> Line:
        phases, quantity = str(row["phases"]), row["quantity"]
        number = None if quantity == "" else Decimal(str(quantity))
        return Line(
            line=str(row["line"]),
            run=str(row["run"]),
            structure=str(row["structure"]),
            position=str(row["position"]),
            side=str(row["side"]),
            phases=phases,
            kind=str(row["kind"]) or str(row["line"]).rsplit("/", 1)[-1],
            quantity=number,
            unit=str(row["unit"]),
            spare=row["spare"] == YES,
            answer=str(row["answer"]),
            stock_code=str(row["stock_code"]),
            interface=str(row["interface"]),
            conductor=" ".join(part for part in (str(row["conductor_size"]), str(row["metal"])) if part),
            doi=_spans(row, "doi"),
            doi_origin=str(row["doi_origin"]),
            jacket=_spans(row, "jacket"),
            per_phase=self._per_phase(row, number, phases),
            reason=str(row["reason"]),
            pieces=tuple(self._piece(promise, str(row["stock_code"])) for promise in self._promises[str(row["line"])]),
        )

    def _piece(self, row: Row, chosen: str) -> Piece:
        code, lot, depot, place = (str(row[name]) for name in ("stock_code", "lot", "depot", "place"))
        use_by = self._use_by.get((code, depot, place, lot))
        return Piece(
            stock_code=code,
            lot=lot,
            use_by=use_by if isinstance(use_by, date) else None,
            depot=depot,
            place=place,
            quantity=Decimal(str(row["quantity"])),
            source=str(row["source"]),
            order=str(row["order"]),
            ready_on=str(row["ready_on"]),
            stand_in_for=chosen if (chosen, code) in self._stand_ins and chosen != code else "",
        )

    def feeders_at(self, structure: str) -> list[str]:
        """The feeders of a structure's positions, as far as they are known."""
        return list(self._feeders.get(structure, ()))

    def depot_text(self, depot: str) -> str:
        """Code and name of a depot."""
        return f"{depot} {self.depots.get(depot, {}).get('name') or ''}".strip()

    def systems_at(self, job: str, structure: str) -> list[str]:
        """The systems of the job's runs at a structure: ``12.47 kV multigrounded wye``, and what it becomes."""
        found: dict[str, None] = {}
        for run in self._runs_at(job).get(structure, ()):
            after = f" becoming {self._system(run['system_after'])}" if run["system_after"] else ""
            found[self._system(run["system"]) + after] = None
        return list(found)

    def _runs_at(self, job: str) -> dict[str, list[Row]]:
        """The job's runs by structure, '' for all of them; sorted out once a job."""
        if job not in self._runs_by_structure:
            by_structure: dict[str, list[Row]] = defaultdict(list)
            for run in self._runs.get(job, ()):
                for structure in {"", str(run["from_structure"]), str(run["to_structure"])}:
                    by_structure[structure].append(run)
            self._runs_by_structure[job] = by_structure
        return self._runs_by_structure[job]

    def _system(self, code: object) -> str:
        system = self._systems.get(str(code), {})
        return f"{system['nominal_kv']} kV {system['earthing']}" if system else str(code)

    def noun(self, code: str, kind: str) -> str:
        """What the part is: the owner's description, which puts the noun first, or the kind where there is none."""
        return str(self.items.get(code, {}).get("description") or kind)

    def item_spans(self, code: str, field: str) -> tuple[Span, ...]:
        """The item's ranges in nm (``field`` is ``doi`` or ``jacket``): two for a two-sided part."""
        item = self.items.get(code, {})
        ends = ((item.get(f"{field}_low{side}_nm"), item.get(f"{field}_high{side}_nm")) for side in ("", "_2"))
        return tuple((low, high) for low, high in ends if isinstance(low, int) and isinstance(high, int))

    def _per_phase(self, row: Row, quantity: Decimal | None, phases: str) -> bool:
        """Whether the rule counts the line by phase; one that no rule gives is split where it divides."""
        if quantity is None or not phases or quantity % len(phases):
            return False
        return self._per.get((TABLE_OF_SIDE.get(str(row["side"]), ""), str(row["rule"])), PHASE) == PHASE


def _staged(answer: JobAnswer, depot: object) -> tuple[str, str]:
    """The depot of a bag and by when it is staged there; by the job's own where nothing else is said."""
    named = str(depot or answer.depot)
    return named, day_text(answer.days.get(named, answer.staged_by))


def records(frame: pd.DataFrame) -> list[Row]:
    """The rows of a frame as mappings."""
    names = [str(name) for name in frame.columns]
    return [dict(zip(names, cells, strict=True)) for cells in frame.itertuples(index=False, name=None)]


def _spans(row: Row, name: str) -> tuple[Span, ...]:
    """The bands of the cables at a part, one a side where they differ; none where an end of one is not known."""
    lows, highs = (str(row[f"{name}_{end}_mm"]).split("; ") for end in ("low", "high"))
    if lows == [""] or highs == [""] or (len(lows) != len(highs) and 1 not in (len(lows), len(highs))):
        return ()
    count = max(len(lows), len(highs))
    pairs = zip(lows * (count // len(lows)), highs * (count // len(highs)), strict=True)
    return tuple((int(Decimal(low) * NM_PER_MM), int(Decimal(high) * NM_PER_MM)) for low, high in pairs)


def _moment(cutover: datetime | None, zone: str) -> str:
    if cutover is None:
        return "no cutover date"
    try:
        short = cutover.replace(tzinfo=ZoneInfo(zone)).strftime("%Z") if zone else "depot time"
    except (ZoneInfoNotFoundError, ValueError):
        short = zone
    return f"{day_text(cutover.date())} {cutover:%H:%M} {short}"
