"""Workbooks built part by part, as honest and as dishonest programs write them."""

import zipfile
from collections.abc import Mapping
from pathlib import Path

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_CONTENT = "application/vnd.openxmlformats-officedocument.spreadsheetml"

Parts = dict[str, bytes]


def sheet_xml(rows: str, before: str = "", after: str = "") -> bytes:
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<worksheet xmlns="{_MAIN}">{before}'
        f"<sheetData>{rows}</sheetData>{after}</worksheet>"
    ).encode()


def text_cell(at: str, text: str) -> str:
    return f'<c r="{at}" t="inlineStr"><is><t>{text}</t></is></c>'


def plain_parts(sheet: bytes, name: str = "stock", more: Mapping[str, bytes] | None = None) -> Parts:
    """The least that makes a workbook of one sheet."""
    parts = {
        "[Content_Types].xml": (
            f'<Types xmlns="{_PACKAGE}/content-types">'
            f'<Default Extension="xml" ContentType="{_CONTENT}.sheet.main+xml"/></Types>'
        ).encode(),
        "_rels/.rels": (
            f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="r1" Type="{_OFFICE}/officeDocument" '
            'Target="xl/workbook.xml"/></Relationships>'
        ).encode(),
        "xl/workbook.xml": (
            f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>'
            f'<sheet name="{name}" sheetId="1" r:id="r1"/></sheets></workbook>'
        ).encode(),
        "xl/_rels/workbook.xml.rels": (
            f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="r1" Type="{_OFFICE}/worksheet" '
            f'Target="worksheets/sheet1.xml"/><Relationship Id="r2" Type="{_OFFICE}/sharedStrings" '
            'Target="sharedStrings.xml"/></Relationships>'
        ).encode(),
        "xl/worksheets/sheet1.xml": sheet,
        "xl/sharedStrings.xml": f'<sst xmlns="{_MAIN}"><si><t>shared</t></si></sst>'.encode(),
    }
    return {**parts, **(more or {})}


def good_rows() -> str:
    header = "".join(text_cell(f"{letter}1", title) for letter, title in (("A", "stock code"), ("B", "depot")))
    return f'<row r="1">{header}</row><row r="2">{text_cell("A2", "EL15-1")}{text_cell("B2", "N")}</row>'


def packed(folder: Path, parts: Mapping[str, bytes], name: str = "received.xlsx") -> Path:
    """Write parts as an archive."""
    path = folder / name
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part, content in parts.items():
            archive.writestr(part, content)
    return path
