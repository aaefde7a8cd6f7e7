"""What a workbook's sheets hold beside their values: hidden rows and columns, error cells, formulas never calculated.

The parts are searched as bytes, not parsed: a part that lies to this search is still read by a child process with
limits, so the worst it can do is to hide a note. Element and attribute names are those of ISO/IEC 29500-1, 18.3.1.
"""

import posixpath
import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree.ElementTree import Element, ParseError  # only the names; defusedxml parses

from defusedxml import ElementTree
from openpyxl.utils.cell import coordinate_to_tuple

from kitting.errors import Refusal
from kitting.spreadsheets.workbook_package import WorkbookPackage

MOST_COLUMNS = 400
_MOST_EMPTY_ROWS = 100_000  # rows left out above the last cell with a value
_WORKBOOK = "xl/workbook.xml"
_LINKS = "xl/_rels/workbook.xml.rels"
_WORKSHEET_LINK = "/worksheet"
_MACRO_LINKS = ("/xlMacrosheet", "/xlIntlMacrosheet", "/vbaProject")

Address = tuple[int, int]
"""Row and column of a cell, both from 1."""


@dataclass(frozen=True, slots=True)
class SheetTraces:
    """What the search found in one sheet.

    Args:
        name: name of the sheet as in the workbook.
        hidden_rows: row numbers.
        hidden_columns: column numbers, from 1.
        errors: text of cells that hold an error, such as ``#N/A``.
        uncalculated: cells with a formula and no saved value.
    """

    name: str
    hidden_rows: tuple[int, ...]
    hidden_columns: tuple[int, ...]
    errors: dict[Address, str]
    uncalculated: tuple[Address, ...]


def workbook_traces(package: WorkbookPackage) -> dict[str, SheetTraces]:
    """Search every worksheet; all XML parts are unpacked and checked on the way.

    Raises:
        Refusal: those of ``WorkbookPackage.part``, and ``macros``, ``far-cell``, ``too-many-columns``.
    """
    sheets = _worksheet_parts(package)
    traces = {}
    for part in package.xml_parts():
        text = package.part(part)
        if part in sheets:
            traces[sheets[part]] = _SheetSearch(package.name, sheets[part], text).traces()
    return traces


def _worksheet_parts(package: WorkbookPackage) -> dict[str, str]:
    """Name of the sheet that each worksheet part holds."""
    links = {}
    for link in _parsed(package, _LINKS):
        kind, target = link.get("Type", ""), link.get("Target", "")
        if kind.endswith(_MACRO_LINKS):
            raise Refusal("macros", f"{package.name} holds macros, which are never opened.", {"file": package.name})
        if kind.endswith(_WORKSHEET_LINK):
            links[link.get("Id", "")] = posixpath.normpath(posixpath.join("/xl", target)).lstrip("/")
    sheets = {}
    for sheet in _parsed(package, _WORKBOOK).iter():
        reference = next((value for key, value in sheet.attrib.items() if key.endswith("}id")), "")
        if sheet.tag.endswith("}sheet") and reference in links:
            sheets[links[reference]] = sheet.get("name", "")
    return sheets


def _parsed(package: WorkbookPackage, part: str) -> Element:
    try:
        root: Element = ElementTree.fromstring(package.part(part), forbid_dtd=True)
    except (ParseError, ValueError):
        message = f"{package.name} is damaged: its part {part} can't be parsed."
        raise Refusal("damaged-workbook", message, {"file": package.name}) from None
    return root


class _SheetSearch:
    """Search of one worksheet part; ``@`` in a pattern stands for the prefix of its element names."""

    def __init__(self, file: str, name: str, text: bytes) -> None:
        self._file, self._name, self._text = file, name, text
        root = re.search(rb"<(\w+:)?worksheet[\s>]", text[:10_000])
        self._prefix = (root and root[1]) or b""  # with the prefix known, a search starts with a literal and is fast

    def traces(self) -> SheetTraces:
        """Everything that is looked for.

        Raises:
            Refusal: ``far-cell``, ``too-many-columns``, ``damaged-workbook``.
        """
        self._refuse_wide_rows()
        self._refuse_far_rows()
        return SheetTraces(
            name=self._name,
            hidden_rows=tuple(self._hidden_rows()),
            hidden_columns=tuple(self._hidden_columns()),
            errors=dict(self._errors()),
            uncalculated=tuple(self._uncalculated()),
        )

    def _find(self, pattern: bytes) -> Iterator[re.Match[bytes]]:
        return re.finditer(pattern.replace(b"@", self._prefix), self._text, re.DOTALL)

    def _refuse_wide_rows(self) -> None:
        # OJ is column 400; a cell that is only formatted has no element inside and does not count
        beyond = rb"""r=["']((?:O[K-Z]|[P-Z][A-Z]|[A-Z]{3,})\d+)["'][^>]*[^/>]>\s*<@(?:v|is|f)[\s>]"""
        for cell in self._find(beyond):
            raise self._refusal(
                "too-many-columns",
                f"has a value in cell {cell[1].decode()}, beyond column {MOST_COLUMNS}; delete what stands there",
            )

    def _refuse_far_rows(self) -> None:
        value = max(self._text.rfind(b"<" + self._prefix + tag) for tag in (b"v", b"is"))
        start = self._text.rfind(b"<" + self._prefix + b"row", 0, max(value, 0))
        number = re.match(rb"""[^>]*?\sr=["'](\d+)""", self._text[start:value]) if start >= 0 else None
        rows = self._text.count(b"<" + self._prefix + b"row")
        if number and int(number[1]) - rows > _MOST_EMPTY_ROWS:
            raise self._refusal(
                "far-cell",
                f"has a value in row {int(number[1]):,}, far below its other {rows:,} rows; delete what stands there",
            )

    def _hidden_rows(self) -> Iterator[int]:
        if b"hidden" in self._text:
            for row in self._find(rb"""<@row(?=\s)(?=[^>]*?\shidden=["'](?:1|true))[^>]*?\sr=["'](\d+)"""):
                yield int(row[1])

    def _hidden_columns(self) -> Iterator[int]:
        for column in self._find(rb"""<@col\s[^>]*?hidden=["'](?:1|true)[^>]*>"""):
            span = dict(re.findall(rb"""(min|max)=["'](\d{1,5})""", column[0]))
            yield from range(int(span.get(b"min", 1)), min(int(span.get(b"max", 0)), MOST_COLUMNS) + 1)

    def _errors(self) -> Iterator[tuple[Address, str]]:
        if b't="e"' in self._text or b"t='e'" in self._text:
            for cell in self._find(rb"""<@c(?=\s)([^>]*?\st=["']e["'][^>]*)>(.*?)</@c>"""):
                shown = re.search(rb">(#[^<]*)<", cell[2])
                yield self._address(cell[1]), shown[1].decode("utf-8", "replace") if shown else "#N/A"

    def _uncalculated(self) -> Iterator[Address]:
        if b"<" + self._prefix + b"f" in self._text:
            formula = rb"<@f(?:\s[^>]*)?(?:/>|>[^<]*</@f>)"
            no_value = rb"(?:<@v\s*/>|<@v>\s*</@v>)?"
            for cell in self._find(rb"<@c(\s[^>]*)>\s*" + formula + rb"\s*" + no_value + rb"\s*</@c>"):
                if not re.search(rb"""\st=["']str["']""", cell[1]):  # a formula may well give an empty text
                    yield self._address(cell[1])

    def _address(self, attributes: bytes) -> Address:
        reference = re.search(rb"""\sr=["']([A-Z]{1,3}\d{1,7})["']""", attributes)
        if not reference:
            raise self._refusal("damaged-workbook", "has cells without an address; open it and save it again")
        return coordinate_to_tuple(reference[1].decode())

    def _refusal(self, code: str, what: str) -> Refusal:
        return Refusal(code, f"{self._file}: sheet {self._name} {what}.", {"file": self._file, "sheet": self._name})
