"""Files that lie, bomb or hide something, each built anew, with the code by which it must be refused.

Run as a program with a folder, it builds all there, reads each, and prints the codes and the process's peak memory.
"""

import codecs
import json
import os
import resource
import sys
from collections.abc import Callable
from pathlib import Path

from workbook_parts import good_rows, packed, plain_parts, sheet_xml, text_cell

from kitting.errors import Refusal
from kitting.spreadsheets.reading import read_raw_book

Build = Callable[[Path], Path]

COMPOUND_FILE = bytes.fromhex("D0CF11E0A1B11AE1")
_LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
_BILLION = f'<?xml version="1.0"?><!DOCTYPE worksheet [<!ENTITY l0 "ha">{_LAUGHS}]>'
_READ_A_FILE = '<?xml version="1.0"?><!DOCTYPE w [<!ENTITY x SYSTEM "file:///etc/passwd">]>'


def _bytes(name: str, content: bytes) -> Build:
    def build(folder: Path) -> Path:
        path = folder / name
        path.write_bytes(content)
        return path

    return build


def _csv(content: bytes) -> Build:
    """A folder with one CSV file."""

    def build(folder: Path) -> Path:
        (folder / "stock.csv").write_bytes(content)
        return folder

    return build


def _book(rows: str = "", name: str = "received.xlsx", **more: bytes) -> Build:
    """A workbook of good rows and more; ``more`` gives parts, with ``__`` for the slash and ``_`` before the ending."""
    parts = {part.replace("__", "/"): content for part, content in more.items()}
    return lambda folder: packed(folder, plain_parts(sheet_xml(good_rows() + rows), more=parts), name)


def _with_part(part: str, content: bytes) -> Build:
    return lambda folder: packed(folder, plain_parts(sheet_xml(good_rows()), more={part: content}))


def _with_dtd(part: str, declaration: str) -> Build:
    content = declaration.encode() + plain_parts(sheet_xml(good_rows()))[part].partition(b"?>\n")[2]
    return _with_part(part, content)


def _stored(folder: Path, change: Callable[[bytes], bytes]) -> Path:
    path = packed(folder, plain_parts(sheet_xml(good_rows())))
    path.write_bytes(change(path.read_bytes()))
    return path


def _encrypted_entries(content: bytes) -> bytes:
    """Set the encryption flag of every entry in the directory (ISO/IEC 21320-1: offset 8 of its record)."""
    records = content.split(b"PK\x01\x02")
    return b"PK\x01\x02".join([records[0], *(one[:4] + b"\x01" + one[5:] for one in records[1:])])


def _directory_that_lies(folder: Path) -> Path:
    """A part of 60 MB whose directory entry says 100 bytes."""
    path = packed(folder, plain_parts(sheet_xml(good_rows() + " " * 60_000_000)))
    content = path.read_bytes()
    record = content.index(b"xl/worksheets/sheet1.xml", content.index(b"PK\x01\x02")) - 46
    path.write_bytes(content[: record + 24] + (100).to_bytes(4, "little") + content[record + 28 :])
    return path


def _many_parts(folder: Path) -> Path:
    more = {f"xl/media/{number}.xml": b"" for number in range(2_001)}
    return packed(folder, plain_parts(sheet_xml(good_rows()), more=more))


def _twin_parts(folder: Path) -> Path:
    return packed(folder, plain_parts(sheet_xml(good_rows()), more={"xl/worksheets/SHEET1.xml": b"<worksheet/>"}))


def _shared_text_bomb(folder: Path) -> Path:
    """A text of 30,000 characters, written once and shown in 120,000 cells: 3.6 GB if every cell had its own."""
    cells = "".join(f'<row r="{row}"><c r="A{row}" t="s"><v>0</v></c></row>' for row in range(3, 120_003))
    shared = f'<sst xmlns="x"><si><t>{"x" * 30_000}</t></si></sst>'.encode()
    parts = plain_parts(sheet_xml(good_rows() + cells), more={"xl/sharedStrings.xml": shared})
    return packed(folder, parts)


def _sparse_file(folder: Path) -> Path:
    path = folder / "received.xlsx"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    return path


def _pipe(folder: Path) -> Path:
    os.mkfifo(folder / "stock.csv")
    return folder


def _link_to_nothing(folder: Path) -> Path:
    (folder / "stock.csv").symlink_to(folder / "gone.csv")
    return folder


def _folder_named_csv(folder: Path) -> Path:
    (folder / "stock.csv").mkdir()
    return folder


def _two_of_one_name(folder: Path) -> Path:
    (folder / "cable types.csv").write_text("cable type\n")
    (folder / "Cable_Types.csv").write_text("cable type\n")
    return folder


HARMFUL: dict[str, tuple[str, Build]] = {
    "macros by name": ("macros", _book(name="received.xlsm")),
    "macros by part": ("macros", _with_part("xl/vbaProject.bin", b"x")),
    "macros by declared type": (
        "macros",
        _with_part("[Content_Types].xml", b'<Types><Override ContentType="x.sheet.macroEnabled.main+xml"/></Types>'),
    ),
    "macro sheet": ("macros", _with_part("xl/macrosheets/sheet1.xml", b"<worksheet/>")),
    "old workbook": ("old-workbook", _bytes("received.xls", COMPOUND_FILE + b"\x00" * 600)),
    "password": (
        "encrypted-workbook",
        _bytes("received.xlsx", COMPOUND_FILE + b"\x00" * 600 + "EncryptedPackage".encode("utf-16-le")),
    ),
    "encrypted parts": ("encrypted-workbook", lambda folder: _stored(folder, _encrypted_entries)),
    "binary workbook": ("other-format", lambda folder: packed(folder, {"xl/workbook.bin": b"x"}, "received.xlsb")),
    "open document": (
        "other-format",
        lambda folder: packed(folder, {"mimetype": b"application/vnd.oasis", "content.xml": b"<x/>"}, "received.ods"),
    ),
    "text document": ("not-a-workbook", lambda folder: packed(folder, {"word/document.xml": b"<x/>"})),
    "web page": ("not-a-workbook", _bytes("received.xlsx", b"<html><table></table></html>")),
    "picture": ("not-a-workbook", _bytes("received.xlsx", b"\x89PNG\r\n\x1a\n" + bytes(100))),
    "no content": ("empty-file", _bytes("received.xlsx", b"")),
    "cut in half": ("damaged-workbook", lambda folder: _stored(folder, lambda content: content[: len(content) // 2])),
    "sheet not XML": ("damaged-workbook", _with_part("xl/worksheets/sheet1.xml", b"<worksheet><sheetData><row r='1'>")),
    "list of sheets not XML": ("damaged-workbook", _with_part("xl/workbook.xml", b"<workbook><sheets>")),
    "two parts of one name": ("damaged-workbook", _twin_parts),
    "zip bomb": ("unpacks-too-big", _with_part("xl/media/1.xml", b" " * 60_000_000)),
    "directory that lies": ("damaged-workbook", _directory_that_lies),
    "too many parts": ("too-many-parts", _many_parts),
    "200 MB": ("file-too-big", _sparse_file),
    "billion laughs": ("entities", _with_dtd("xl/worksheets/sheet1.xml", _BILLION)),
    "entity in the shared texts": ("entities", _with_part("xl/sharedStrings.xml", _READ_A_FILE.encode() + b"<sst/>")),
    "entity in the list of sheets": ("entities", _with_part("xl/workbook.xml", _READ_A_FILE.encode() + b"<workbook/>")),
    "entity in UTF-16": (
        "other-encoding",
        _with_part("xl/sharedStrings.xml", codecs.BOM_UTF16_LE + (_READ_A_FILE + "<sst/>").encode("utf-16-le")),
    ),
    "declared encoding": (
        "other-encoding",
        _with_part("xl/sharedStrings.xml", b'<?xml version="1.0" encoding="UTF-7"?><a/>'),
    ),
    "far cell below": ("far-cell", _book(f'<row r="1048576">{text_cell("A1048576", "x")}</row>')),
    "far cell to the right": ("too-many-columns", _book(f'<row r="3">{text_cell("XFD3", "x")}</row>')),
    "far cell in both ways": ("too-many-columns", _book(f'<row r="1048576">{text_cell("XFD1048576", "x")}</row>')),
    "giant text": ("giant-text", _book(f'<row r="3">{text_cell("A3", "x" * 32_768)}</row>')),
    "shared text bomb": ("workbook-too-heavy", _shared_text_bomb),
    "no such file": ("not-found", lambda folder: folder / "gone.xlsx"),
    "one CSV file": ("one-csv-file", _bytes("stock.csv", b"stock code\n")),
    "no CSV file in the folder": ("no-sheets", lambda folder: folder),
    "empty CSV": ("empty-file", _csv(b"")),
    "blank CSV": ("empty-file", _csv(b"\xef\xbb\xbf\r\n ,, \r\n")),
    "one-byte encoding": ("wrong-encoding", _csv("stock code,depot\nEL15-1,Nö\n".encode("cp1252"))),
    "UTF-16 cut": ("wrong-encoding", _csv("stock code".encode("utf-16") + b"\x00")),
    "NUL bytes": ("nul-bytes", _csv(b"stock code,depot\nEL15-1,N\x00\n")),
    "another separator": ("wrong-separator", _csv(b"stock code|depot\nEL15-1|N\n")),
    "quotation mark never closed": ("unbalanced-quotes", _csv(b'stock code,depot\n"EL15-1,N\nEL15-2,N\n')),
    "text behind a quotation mark": ("unbalanced-quotes", _csv(b'stock code,depot\n"EL"15-1,N\n')),
    "giant CSV text": ("giant-text", _csv(b"stock code\n" + b"x" * 40_000)),
    "too many columns in CSV": ("too-many-columns", _csv(b",".join([b"x"] * 401))),
    "pipe": ("not-a-file", _pipe),
    "link to nothing": ("not-found", _link_to_nothing),
    "folder named as a sheet": ("not-a-file", _folder_named_csv),
    "two sheets of one name": ("sheet-twice", _two_of_one_name),
}


def refusal_of(path: Path) -> Refusal | None:
    """How the reader refuses the input; None if it reads it."""
    try:
        read_raw_book(path)
    except Refusal as refusal:
        return refusal
    return None


def _peak_kb() -> int:
    """Most memory of this program alone; getrusage also counts the process that started it, as it stood before."""
    status = Path("/proc/self/status")
    if not status.exists():
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    peak = next(line for line in status.read_text(encoding="ascii").splitlines() if line.startswith("VmHWM:"))
    return int(peak.split()[1])


def _print_all(folder: Path) -> None:
    codes = {}
    for number, (name, (_, build)) in enumerate(HARMFUL.items()):
        place = folder / str(number)
        place.mkdir()
        refusal = refusal_of(build(place))
        codes[name] = refusal.code if refusal else ""
    peak_kb = _peak_kb()
    sys.stdout.write(json.dumps({"codes": codes, "peak_kb": peak_kb}))


if __name__ == "__main__":
    _print_all(Path(sys.argv[1]))
