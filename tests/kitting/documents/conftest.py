"""A small plan made by hand: four jobs, a transfer, a stand-in, spares and a reorder; and how its print is read."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd
import pypdfium2
import pytest
import zxingcpp
from PIL.Image import Image
from pypdfium2 import raw

from kitting.calculation.plan_result import (
    CURE_COLUMNS,
    PROMISE_COLUMNS,
    REFUSAL_COLUMNS,
    REORDER_COLUMNS,
    REQUIREMENT_COLUMNS,
    SHORTAGE_COLUMNS,
    TOTAL_COLUMNS,
    JobAnswer,
    Plan,
)
from kitting.calculation.sheets.book import Book, Policies
from kitting.documents import write_documents

Item = Row = dict[str, object]
MM = Decimal("25.4")
ITEM_FIELDS = (
    "stock_code", "description", "kind", "classes_kv", "interface", "doi_low_nm", "doi_high_nm", "jacket_low_nm",
    "jacket_high_nm", "stock_unit", "price", "price_date", "state",
)  # fmt: skip
STOCK_FIELDS = ("stock_code", "depot", "place", "place_kind", "lot", "use_by", "quantity", "held", "job", "structure")


def inches(text: str) -> int:
    return int(Decimal(text) * MM * 1_000_000)


def item(code: str, kind: str, description: str, **facts: object) -> Item:
    return {"stock_code": code, "kind": kind, "description": description, "stock_unit": "ea", **facts}


def fitted(code: str, kind: str, description: str, low: str, high: str, *, by: str = "doi", **facts: object) -> Item:
    return item(code, kind, description, **{f"{by}_low_nm": inches(low), f"{by}_high_nm": inches(high)}, **facts)


ITEMS = [
    item("T25", "tee", "tee body, 600 A 15/25 kV", interface="600 A 15/25 kV", classes_kv=("15", "25")),
    fitted("CA-3", "cable adapter", "cable adapter, small", "1.280", "1.500", interface="600 A 15/25 kV"),
    fitted("CA-4", "cable adapter", "cable adapter, large", "1.410", "1.640", interface="600 A 15/25 kV"),
    item("LUG-750A", "lug", "lug, 750 kcmil aluminium"),
    item("LUG-750C", "lug", "lug, 750 kcmil copper"),
    item("ST-A", "stud", "stud, aluminium, 600 A"),
    item("IP25", "insulating plug", "insulating plug with cap, 15/25 kV", interface="600 A 15/25 kV"),
    fitted("JS-3", "jacket seal", "jacket seal, 1.55 to 2.10 in", "1.55", "2.10", by="jacket"),
    item("DW-14", "drain wire", "drain wire, tinned copper, 14 AWG", stock_unit="ft"),
    item("CLN-W", "consumable", "=1+1 wipes"),
    fitted("EL15-1", "elbow", "elbow, 15 kV", "0.600", "0.800", interface="200 A 15 kV", classes_kv=("15",)),
    fitted("EL15-2", "elbow", "elbow, 15 kV", "0.780", "0.970", interface="200 A 15 kV", classes_kv=("15",)),
    item("CC-10A", "elbow connector", "elbow connector, 1/0 AWG aluminium"),
    item("CC-10X", "elbow connector", "elbow connector, 1/0 AWG, bimetal"),
    item("EA15-15.3", "elbow arrester", "elbow arrester, MCOV 15.3 kV", price=Decimal("141.50"),
         price_date=date(2026, 1, 15), interface="200 A 15 kV"),
    fitted("CS25-2", "splice", "splice, cold shrink, 25 kV", "0.850", "1.250", classes_kv=("25",)),
]  # fmt: skip


def stock(code: str, depot: str, place: str, quantity: int, *, lot: str | None = None, use_by: date | None = None,
          kind: str = "bin") -> tuple[object, ...]:  # fmt: skip
    return code, depot, place, kind, lot, use_by, quantity * 1000, False, None, None


STOCK = [
    stock("T25", "N", "N-02-1", 12, lot="L-2504T"), stock("CA-4", "N", "N-10-2", 5, lot="L-2501A"),
    stock("CA-4", "N", "N-2-1", 7, lot="L-2509A", use_by=date(2029, 6, 30)), stock("CA-3", "N", "N-10-1", 8),
    stock("CA-4", "H", "H-07-1", 2, lot="L-2402A"), stock("CA-4", "N", "truck 14", 1, kind="truck"),
    stock("LUG-750A", "N", "S-01", 20, kind="supplier-owned"), stock("LUG-750C", "N", "N-11-4", 8),
    stock("ST-A", "N", "N-11-5", 20), stock("IP25", "N", "N-03-1", 12), stock("JS-3", "N", "N-04-2", 8, lot="L-77"),
    stock("JS-3", "H", "H-02-2", 4, lot="L-78"), stock("DW-14", "N", "N-20-1", 500),
    stock("CLN-W", "N", "N-21-3", 4, lot="W-5", use_by=date(2027, 6, 30)), stock("EL15-2", "N", "N-01-2", 4),
    stock("EL15-2", "H", "H-01-2", 6), stock("EL15-1", "N", "N-01-1", 24), stock("CC-10A", "N", "N-12-1", 4),
    stock("CC-10X", "N", "N-12-9", 9), stock("EL15-1", "H", "night box", 3, kind="reserve"),
]  # fmt: skip


def requirement(job: str, kind: str, quantity: object, code: str, **facts: object) -> dict[str, object]:
    row: dict[str, object] = dict.fromkeys(REQUIREMENT_COLUMNS, "")
    row |= {"job": job, "kind": kind, "quantity": Decimal(str(quantity)) if quantity != "" else "", "unit": "ea",
            "stock_code": code, "answer": "ready", "spare": "no"}  # fmt: skip
    row |= facts
    place = f"{row['structure']}-{row['position']}".strip("-") or "job"
    row["line"] = (
        row["line"]
        or f"{job}/{place}/{row['side']}/{row['phases']}/{kind}{'/spare' if row['spare'] == 'yes' else ''}/{code}"
    )
    return row


def end(
    job: str, run: str, structure: str, position: str, parts: Sequence[tuple[Any, ...]], **facts: object
) -> list[Row]:
    shared = {"run": run, "structure": structure, "position": position, "side": "from", "phases": "ABC", **facts}
    return [
        requirement(job, str(kind), quantity, str(code), **{**shared, **dict(*more)})
        for kind, quantity, code, *more in parts
    ]


CA = {"doi_low_mm": Decimal("36.4744"), "doi_high_mm": Decimal("38.227"), "doi_origin": "cable type",
      "interface": "600 A 15/25 kV", "margin_mm": Decimal("0.6604"), "rule": "EA-20",
      "reason": "CA-4 fits: 1.436–1.505 in lies inside 1.410–1.640 in, margin 0.66 mm (0.026 in)"}  # fmt: skip
JS = {"jacket_low_mm": Decimal("45.72"), "jacket_high_mm": Decimal("48.768"), "reason": "jacket inside 1.55–2.10 in"}


def tee_end(run: str, structure: str, position: str, metal: str, lug: str) -> list[dict[str, object]]:
    return end("J03", run, structure, position, [
        ("tee", 3, "T25", {"interface": "600 A 15/25 kV"}), ("cable adapter", 3, "CA-4", CA),
        ("lug", 3, lug, {"conductor_size": "750 kcmil", "metal": metal}), ("stud", 3, "ST-A"),
        ("insulating plug", 3, "IP25"), ("jacket seal", 3, "JS-3", JS), ("drain wire", 4, "DW-14", {"unit": "ft"}),
    ])  # fmt: skip


EL = {
    "doi_low_mm": Decimal("20.828"),
    "doi_high_mm": Decimal("22.352"),
    "doi_origin": "gauge",
    "interface": "200 A 15 kV",
}
REQUIREMENTS = [
    *end("J01", "1", "A1", "a", [("elbow", 3, "EL15-2", EL),
         ("elbow connector", 3, "CC-10A", {"conductor_size": "1/0 AWG", "metal": "Al"})]),
    *end("J01", "1", "A2", "a", [("elbow", 3, "EL15-2", {**EL, "answer": "ready if"}),
         ("elbow connector", 3, "CC-10A", {"conductor_size": "1/0 AWG", "metal": "Al",
          "reason": "stand-in CC-10X approved by S. Engineer"})], side="to"),
    *tee_end("1", "V1", "a", "Al", "LUG-750A"), *tee_end("2", "V1", "b", "Cu", "LUG-750C"),
    *tee_end("1", "V2", "a", "Al", "LUG-750A"),
    requirement("J03", "consumable", 1, "CLN-W", side="job"),
    requirement("J03", "lug", 1, "LUG-750C", spare="yes", side="job"),
    requirement("J03", "jacket seal", 1, "JS-3", spare="yes", side="job", answer="short"),
    *end("J10", "4", "V9", "J3", [("end accessories", "", "", {"answer": "no rule",
         "reason": "no rule in joint accessories covers insulation paper, conductor 4/0 AWG Cu"})], side="joint"),
    *end("J10", "3", "V9", "J2", [("end accessories", "", "", {"answer": "can't tell",
         "reason": "can't tell: 1 AWG is no cable here; did you mean 1/0 AWG?"})], side="joint"),
    *end("J11", "1", "JN4", "b", [("elbow arrester", 3, "EA15-15.3", {"answer": "short", "mcov_kv": "13.86",
         "interface": "200 A 15 kV", "reason": "EA15-15.3: MCOV 15.3 kV is at least 13.86 kV"})], side="position"),
    *end("J11", "2", "JN5", "j", [("splice", 3, "CS25-2", {"answer": "short", "doi_low_mm": Decimal("22.86"),
         "doi_high_mm": Decimal("25.019"), "doi_origin": "cable type"})], side="joint"),
]  # fmt: skip
for one in REQUIREMENTS:
    if one["line"] == "J03/V2-a/from/ABC/jacket seal/JS-3":
        one["answer"] = "short"


def promise(line: str, code: str, quantity: int, depot: str, place: str, lot: str = "", source: str = "shelf",
            ready_on: str = "2026-03-02", order: str = "") -> tuple[object, ...]:  # fmt: skip
    return line, line[:3], code, lot, depot, place, Decimal(quantity), source, order, order and "1", ready_on


def shelf_promises() -> list[tuple[object, ...]]:
    places = {str(row[0]): row for row in reversed(STOCK) if row[1] == "N" and row[3] in ("bin", "supplier-owned")}
    found = []
    for row in REQUIREMENTS:
        code, line = str(row["stock_code"]), str(row["line"])
        if row["answer"] == "ready" and code and row["job"] == "J03" and code != "CA-4":
            where = places[code]
            found.append(
                promise(line, code, int(Decimal(str(row["quantity"]))), "N", str(where[2]), str(where[4] or ""))
            )
    return found


PROMISES = [
    *shelf_promises(),
    promise("J03/V1-a/from/ABC/cable adapter/CA-4", "CA-4", 3, "N", "N-2-1", "L-2509A"),
    promise("J03/V1-b/from/ABC/cable adapter/CA-4", "CA-4", 1, "N", "N-2-1", "L-2509A"),
    promise("J03/V1-b/from/ABC/cable adapter/CA-4", "CA-4", 2, "N", "N-10-2", "L-2501A"),
    promise("J03/V2-a/from/ABC/cable adapter/CA-4", "CA-4", 3, "N", "N-10-2", "L-2501A"),
    promise("J03/V2-a/from/ABC/jacket seal/JS-3", "JS-3", 2, "N", "N-04-2", "L-77"),
    promise("J01/A1-a/from/ABC/elbow/EL15-2", "EL15-2", 3, "N", "N-01-2"),
    promise("J01/A2-a/to/ABC/elbow/EL15-2", "EL15-2", 1, "N", "N-01-2"),
    promise("J01/A2-a/to/ABC/elbow/EL15-2", "EL15-2", 2, "H", "H-01-2", source="transfer", ready_on="2026-03-03"),
    promise("J01/A1-a/from/ABC/elbow connector/CC-10A", "CC-10A", 3, "N", "N-12-1"),
    promise("J01/A2-a/to/ABC/elbow connector/CC-10A", "CC-10A", 1, "N", "N-12-1"),
    promise("J01/A2-a/to/ABC/elbow connector/CC-10A", "CC-10X", 2, "N", "N-12-9"),
]
SHORTAGES = [
    ("J11", "J11/JN4-b/position/ABC/elbow arrester/EA15-15.3", "M", "2026-04-16", "elbow arrester", "EA15-15.3",
     Decimal(3), Decimal(0), Decimal(3), "promised to J02 (staged by 2026-03-05)", "", "", "2026-04-06", "no",
     "order 6 by 2026-04-06"),
    ("J03", "J03/V2-a/from/ABC/jacket seal/JS-3", "N", "2026-03-10", "jacket seal", "JS-3", Decimal(3), Decimal(2),
     Decimal(1), "8 free at N, all promised to J03", "H 4", "", "2026-02-17", "yes", "transfer 1 from H"),
    ("J11", "J11/JN5-j/joint/ABC/splice/CS25-2", "M", "2026-04-16", "splice", "CS25-2", Decimal(7),
     Decimal(0), Decimal(7), "none free", "", "PO-9 3 on 2026-05-01", "2026-04-02", "no", "order 3 kit by 2026-04-02"),
]  # fmt: skip
REFUSALS = [("J03", "jacket seal", "JS-3", Decimal(8), "J01; J02", Decimal(6), Decimal(1), "2026-03-24")]
CURES = [
    ("J03", 1, "release from reserve", "JS-3", "", Decimal(1), "", "H", "2026-03-10", "", "", "yes"),
    ("J03", 2, "borrow", "JS-3", "", Decimal(1), "J02", "N", "2026-03-10", "", "J02 1 JS-3", "yes"),
    ("J11", "", "not looked for", "", "", "", "", "", "", "", "", "no"),
]
REORDER = [
    ("Invented Supply A", "CS25-2", "00123", "splice, cold shrink, 25 kV", "M", Decimal(7), Decimal(3), Decimal(0),
     Decimal(7), Decimal(3), "kit", Decimal(3), Decimal(9), Decimal(2), "2026-04-16", "2026-04-02", "no", "J11"),
    ("Invented Supply B", "EA15-15.3", "=7-15.3", "elbow arrester, MCOV 15.3 kV", "M", Decimal(3), Decimal(0),
     Decimal(0), Decimal(3), Decimal(2), "pack", Decimal(3), Decimal(6), Decimal(3), "2026-04-16", "2026-04-06", "no",
     "J11"),
]  # fmt: skip
ANSWERS = (
    JobAnswer("J01", "Alder Loop", "N", "ready if", "J01/A2-a/to/ABC/elbow/EL15-2", "2 come from H",
              {"ready if": 2, "ready": 2}, "0", date(2026, 3, 3), datetime(2026, 3, 5, 9, 0), ""),
    JobAnswer("J03", "Birch Street Feeder (600 A)", "N", "short", "J03/V2-a/from/ABC/jacket seal/JS-3", "1 JS-3 short",
              {"short": 1, "ready": 20}, "1", date(2026, 3, 10), datetime(2026, 3, 12, 8, 0), ""),
    JobAnswer("J10", "Ironbridge Vault 9", "H", "no rule", "J10/V9-J3/joint/ABC/joint accessories", "no rule",
              {"no rule": 1, "can't tell": 1}, "0", date(2026, 4, 9), datetime(2026, 4, 11, 23, 0), ""),
    JobAnswer("J11", "Junction Road conversion", "M", "short", "J11/JN4-b/position/ABC/elbow arrester/EA15-15.3",
              "3 short", {"short": 2}, "10", date(2026, 4, 16), None, ""),
)  # fmt: skip


def table(columns: Sequence[str], rows: Sequence[object]) -> pd.DataFrame:
    return pd.DataFrame(list(rows), columns=list(columns), dtype=object)


def hand_made_book(policies: Policies) -> Book:
    blank_items = [{**dict.fromkeys(ITEM_FIELDS), **one} for one in ITEMS]
    hours, desk = "Mon-Fri 06:30-16:30", "night desk 555-0142"
    depots = [
        ("N", "North Yard", "America/Chicago", hours, desk),
        ("H", "Harbor", "America/Chicago", hours, None),
        ("M", "Mill Lane", "America/Chicago", None, None),
    ]
    runs = [("J03", "1", "V1", "V2"), ("J03", "2", "V1", "V3"), ("J01", "1", "A1", "A2")]
    frames = {
        "items": table(ITEM_FIELDS, [tuple(one[field] for field in ITEM_FIELDS) for one in blank_items]),
        "stock": table(STOCK_FIELDS, STOCK),
        "depots": table(("depot", "name", "time_zone", "hours", "night_contact"), depots),
        "positions": table(("structure", "feeder"), [("V1", "F-12"), ("V1", None), ("V1", "F-14"), ("V2", None)]),
        "transfers": table(("from_depot", "to_depot", "days"), [("H", "N", 1), ("M", "N", 2)]),
        "systems": table(("system", "nominal_kv", "earthing"), [("S12", Decimal("12.47"), "multigrounded wye")]),
        "schedule": table(
            ("job", "run", "system", "system_after", "from_structure", "to_structure"),
            [(job, run, "S12", None, start, stop) for job, run, start, stop in runs],
        ),
        "stand ins": table(("wanted", "allowed"), [("CC-10A", "CC-10X")]),
    }
    return Book(frames=frames, policies=policies, rules={}, questions=(), answers_used=(), digest="3f2a9c71" * 8)


def hand_made_plan(policies: Policies) -> Plan:
    requirements = table(
        REQUIREMENT_COLUMNS, [tuple(row[name] for name in REQUIREMENT_COLUMNS) for row in REQUIREMENTS]
    )
    return Plan(
        as_of=date(2026, 3, 2),
        book=hand_made_book(policies),
        requirements=requirements,
        promises=table(PROMISE_COLUMNS, PROMISES),
        shortages=table(SHORTAGE_COLUMNS, SHORTAGES),
        reorder=table(REORDER_COLUMNS, REORDER),
        refusals=table(REFUSAL_COLUMNS, REFUSALS),
        cures=table(CURE_COLUMNS, CURES),
        totals=table(TOTAL_COLUMNS, []),
        questions=(),
        jobs=ANSWERS,
        summary={},
        timings={},
    )


@dataclass(frozen=True)
class PrintedLetter:
    """A letter on paper: the character, its height in mm as drawn, the size of its font in points, its foot in mm."""

    text: str
    height_mm: float
    size_pt: float
    foot_mm: float


@dataclass(frozen=True)
class PrintedCode:
    """A two-dimensional code read from the picture of a page; ``side_mm`` is without the quiet zone."""

    text: str
    side_mm: float


class PrintedPage:
    """One page as a printer would put it on paper; picture and letters are made when they are looked at."""

    def __init__(self, page: pypdfium2.PdfPage) -> None:
        self._page = page
        width, height = page.get_size()
        self.size_mm = (round(width / 72 * 25.4, 1), round(height / 72 * 25.4, 1))
        self._scale = 4 if width < 300 else 3
        self.text: str = page.get_textpage().get_text_range().replace("\ufffe", "-")  # a hyphen at the end of a line

    @cached_property
    def picture(self) -> Image:
        """The page in colours."""
        return self._page.render(scale=self._scale).to_pil()

    @cached_property
    def letters(self) -> list[PrintedLetter]:
        """Every letter on the page."""
        letters = self._page.get_textpage()
        return [self._letter(letters, at) for at in range(letters.count_chars())]

    @staticmethod
    def _letter(letters: pypdfium2.PdfTextPage, at: int) -> PrintedLetter:
        _, bottom, _, top = letters.get_charbox(at)
        text, size = chr(raw.FPDFText_GetUnicode(letters, at)), raw.FPDFText_GetFontSize(letters, at)
        return PrintedLetter(text, (top - bottom) / 72 * 25.4, size, bottom / 72 * 25.4)

    @property
    def one_line(self) -> str:
        """All text with single spaces, so that a wrapped sentence is found."""
        return " ".join(self.text.split())

    def codes(self) -> list[PrintedCode]:
        found = zxingcpp.read_barcodes(self.picture)
        return [PrintedCode(code.text, self._side(code.position)) for code in found]

    def _side(self, corners: Any) -> float:
        return float((corners.top_right.x - corners.top_left.x) / self._scale / 72 * 25.4)


def printed_pages(path: Path) -> list[PrintedPage]:
    return [PrintedPage(page) for page in pypdfium2.PdfDocument(path)]


@pytest.fixture
def plan() -> Plan:
    return hand_made_plan(Policies())


@pytest.fixture
def plan_with() -> Callable[..., Plan]:
    """The plan with other policies."""
    return lambda **choices: hand_made_plan(replace(Policies(), **choices))


@pytest.fixture
def pages_of() -> Callable[[Path], list[PrintedPage]]:
    return printed_pages


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """All documents of the plan by file name."""
    paths = write_documents(hand_made_plan(Policies()), tmp_path_factory.mktemp("documents"))
    return {path.name: path for path in paths}


@pytest.fixture(scope="session")
def prints(written: dict[str, Path]) -> dict[str, list[PrintedPage]]:
    """All printed pages of the plan by file name."""
    return {name: printed_pages(path) for name, path in written.items() if path.suffix == ".pdf"}
