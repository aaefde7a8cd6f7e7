"""Where the nearest other pieces lie, for the night when a part does not fit or is lost."""

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal

from kitting.calculation.fit_matching.checks import ACTIVE_STATE
from kitting.calculation.natural_order import natural_key
from kitting.calculation.quantities import as_decimal
from kitting.documents.diameters import Span
from kitting.documents.job_papers import number_text
from kitting.documents.plan_papers import PlanPapers, Row, records

# Places whose pieces a crew may ask for at night; a hold never, a bag only by a borrow note.
PLACE_ORDER = {"bin": 0, "supplier-owned": 1, "van": 2, "truck": 3, "reserve": 4}
RELEASE = {"reserve": " (reserve)", "supplier-owned": " (supplier-owned)"}
FAR = 10**6
MOST_OTHER_RANGES = 3


@dataclass(frozen=True, slots=True)
class OtherRange:
    """A part of the same kind, interface and class with another range."""

    stock_code: str
    spans: tuple[Span, ...]


class NearestPieces:
    """Unpromised pieces by stock code, nearest depot first."""

    def __init__(self, papers: PlanPapers) -> None:
        self._papers = papers
        promised: dict[tuple[str, ...], Decimal] = defaultdict(Decimal)
        for row in records(papers.plan.promises):
            promised[_key(row)] += Decimal(str(row["quantity"]))
        self._free: dict[str, list[tuple[Row, Decimal]]] = defaultdict(list)
        for row in papers.stock:
            there = as_decimal(row["quantity"]) if isinstance(row["quantity"], int) else Decimal()
            taken = min(there, promised[_key(row)])
            promised[_key(row)] -= taken
            free = there - taken
            if row["place_kind"] in PLACE_ORDER and not row["held"] and free > 0:
                self._free[str(row["stock_code"])].append((row, free))
        self._days = {
            (str(row["from_depot"]), str(row["to_depot"])): row["days"]
            for row in records(papers.plan.book.frames["transfers"])
        }
        self._by_kind: dict[str, list[Row]] = defaultdict(list)
        for item in papers.items.values():
            self._by_kind[str(item["kind"])].append(item)

    def places(self, code: str, depot: str) -> str:
        """``N N-10-1: 8; N truck 14: 1; H night box (reserve): 3``; blank where there are none."""
        found = sorted(self._free.get(code, ()), key=lambda one: self._nearness(one[0], depot))
        totals: dict[str, Decimal] = defaultdict(Decimal)
        for row, free in found:
            totals[f"{row['depot']} {row['place']}{RELEASE.get(str(row['place_kind']), '')}"] += free
        return "; ".join(f"{place}: {number_text(free)}" for place, free in totals.items())

    def _nearness(self, row: Row, depot: str) -> tuple[object, ...]:
        there = str(row["depot"])
        days = 0 if there == depot else self._days.get((there, depot), FAR)
        return days, natural_key(there), PLACE_ORDER[str(row["place_kind"])], natural_key(str(row["place"]))

    def other_ranges(self, code: str) -> list[OtherRange]:
        """Parts of the same kind, interface and class whose range differs, those nearest in diameter first."""
        item = self._papers.items.get(code)
        own = self._papers.item_spans(code, "doi")
        if item is None or not own:
            return []
        found = []
        for other in self._by_kind[str(item["kind"])]:
            spans = self._papers.item_spans(str(other["stock_code"]), "doi")
            if spans and spans != own and _alike(item, other):
                found.append(OtherRange(str(other["stock_code"]), spans))
        found.sort(key=lambda one: (abs(sum(one.spans[0]) - sum(own[0])), natural_key(one.stock_code)))
        return found[:MOST_OTHER_RANGES]


def _alike(item: Row, other: Row) -> bool:
    same = all(item.get(fact) == other.get(fact) for fact in ("interface", "classes_kv", "switching", "contains"))
    return same and other.get("state") in (None, ACTIVE_STATE)


def _key(row: Row) -> tuple[str, ...]:
    return tuple(str(row[name] or "") for name in ("stock_code", "depot", "place", "lot"))
