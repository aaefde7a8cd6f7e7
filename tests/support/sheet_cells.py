"""A small planning book that reads without a doubt, to be changed cell by cell."""

from kitting.calculation.questions import NOTE, Question
from kitting.calculation.sheets.book import Book, read_book
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet

Rows = list[dict[str, str]]

_SHEETS: dict[str, Rows] = {
    "policies": [{"policy": "staging days", "value": "3"}],
    "depots": [
        {"depot": "N", "name": "North", "time zone": "America/Chicago", "closed days": "2026-04-03; 2026-05-25"},
        {"depot": "H", "name": "Harbor", "time zone": "America/Chicago", "closed days": ""},
    ],
    "transfers": [{"from": "H", "to": "N", "days": "1"}],
    "systems": [{"system": "S12", "nominal kV": "12.47", "earthing": "multigrounded wye", "wires": "4"}],
    "cable types": [
        {
            "cable type": "CT-1", "conductor size": "1/0", "metal": "Al", "insulation": "TR-XLPE", "wall (mil)": "175",
            "DOI low (in)": "0.730", "DOI high (in)": "0.790", "jacket low (in)": "1.00", "jacket high (in)": "1.08",
            "insulation level": "100 %", "cable class kV": "15",
        },
        {
            "cable type": "CT-2", "conductor size": "4/0", "metal": "Al", "insulation": "TR-XLPE", "wall (mil)": "220",
            "DOI low (in)": "0.971", "DOI high (in)": "1.031", "jacket low (in)": "1.27", "jacket high (in)": "1.36",
            "insulation level": "133", "cable class kV": "15 kV",
        },
    ],
    "reels": [
        {"reel": "R-1", "cable type": "CT-1", "origin": "gauge", "DOI low (mm)": "19", "DOI high (mm)": "19.5"},
        {"reel": "R-2", "cable type": "CT-1", "origin": "", "DOI low (mm)": "", "DOI high (mm)": ""},
    ],
    "positions": [
        {"structure": name, "position": "a", "kind": "well 200 A", "interface": "200 A 15 kV", "phases": "ABC"}
        for name in ("P1", "P2", "P3")
    ],
    "jobs": [{"job": "J1", "title": "Loop", "depot": "N", "cutover": "2026-03-05 09:00", "cutover end": ""}],
    "schedule": [
        {
            "job": "J1", "run": run, "system": "S12", "system after": "", "phases": "ABC", "cables per phase": "",
            "cable type": "CT-1", "reel": "", "conductor size": "", "wall (mil)": "", "DOI low (mm)": "",
            "jacket low (mm)": "", "from structure": start, "from position": "a", "to structure": end,
            "to position": "a", "remarks": "",
        }
        for run, start, end in (("1", "P1", "P2"), ("2", "P2", "P3"))
    ],
    "items": [
        {
            "stock code": "EL-1", "description": "Elbow", "kind": "elbow", "class kV": "15", "interface": "200 A 15 kV",
            "DOI low (in)": "0.600", "DOI high (in)": "0.800", "conductor sizes": "", "metal": "", "MCOV kV": "",
            "contains": "CC-1", "old codes": "0457; 0458", "stock unit": "ea", "per purchase unit": "1",
        },
        {
            "stock code": "CC-1", "description": "Connector", "kind": "elbow connector", "class kV": "",
            "interface": "", "DOI low (in)": "", "DOI high (in)": "", "conductor sizes": "1/0; 2/0", "metal": "Al",
            "MCOV kV": "", "contains": "", "old codes": "", "stock unit": "", "per purchase unit": "",
        },
        {
            "stock code": "DW", "description": "Drain wire", "kind": "drain wire", "class kV": "", "interface": "",
            "DOI low (in)": "", "DOI high (in)": "", "conductor sizes": "", "metal": "", "MCOV kV": "",
            "contains": "", "old codes": "", "stock unit": "ft", "per purchase unit": "500",
        },
    ],
    "stock": [
        {"stock code": "EL-1", "depot": "N", "place": "N-1", "place kind": "bin", "lot": "L1", "quantity": "6"},
        {"stock code": "DW", "depot": "N", "place": "N-2", "place kind": "bin", "lot": "", "quantity": "12.5"},
    ],
}  # fmt: skip


class SmallBook:
    """The sheets of one book: change cells, add rows and sheets, read."""

    def __init__(self) -> None:
        self.sheets: dict[str, Rows] = {name: [dict(row) for row in rows] for name, rows in _SHEETS.items()}
        self.notes: dict[str, tuple[Question, ...]] = {}

    def set(self, sheet: str, row: int, /, **cells: str) -> "SmallBook":
        """Change cells of a row by the row's number; blanks of a header are written as underscores."""
        self.sheets[sheet][row - 2] |= {name.replace("_", " "): text for name, text in cells.items()}
        return self

    def put(self, sheet: str, row: int, header: str, text: str) -> "SmallBook":
        """Change one cell whose header holds more than letters."""
        self.sheets[sheet][row - 2][header] = text
        return self

    def add(self, sheet: str, /, **cells: str) -> "SmallBook":
        """Add a row; the cells that are not given repeat the sheet's last row."""
        rows = self.sheets.setdefault(sheet, [])
        rows.append((dict(rows[-1]) if rows else {}) | {name.replace("_", " "): text for name, text in cells.items()})
        return self

    def answer(self, key: str, column: str, read: str, value: str, *, sheet: str = "schedule") -> "SmallBook":
        """Add an answer."""
        return self.add("answers", sheet=sheet, key=key, column=column, read=read, value=value, by="R", on="2026-03-02")

    def raw_sheet(self, name: str) -> RawSheet:
        """One sheet as text."""
        rows = self.sheets[name]
        headers = list(dict.fromkeys(header for row in rows for header in row))
        sheet = raw_sheet(name, headers, [[row.get(header, "") for header in headers] for row in rows])
        return RawSheet(name, sheet.headers, sheet.cells, self.notes.get(name, ()))

    def raw(self) -> RawBook:
        """All sheets as text."""
        return raw_book(map(self.raw_sheet, self.sheets))

    def read(self) -> Book:
        """Read the book."""
        return read_book(self.raw())

    def asked(self) -> list[Question]:
        """What reading asks or refuses."""
        return [question for question in self.read().questions if question.severity != NOTE]

    def addresses(self) -> list[tuple[str, int, str]]:
        """Sheet, row and column of everything that reading asks or refuses."""
        return [(question.sheet, question.row, question.column) for question in self.asked()]

    def only_question(self) -> Question:
        """The one question that reading the book raises, notes included."""
        (question,) = self.read().questions
        return question
