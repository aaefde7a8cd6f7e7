"""Is a received file a plain workbook that can be opened without harm? Decided before anything in it is parsed.

A workbook is a zip archive of XML parts (ISO/IEC 29500-2). Sizes are read from the archive's directory before any part
is unpacked, document type declarations are refused, and macros are refused whatever the file's name says.
"""

import io
import re
import struct
import zipfile
import zlib

from kitting.errors import Refusal
from kitting.spreadsheets.received_file import MEGABYTE

LARGEST_WORKBOOK = 50 * MEGABYTE
LARGEST_UNPACKED = 300 * MEGABYTE
MOST_PARTS = 2_000
STEEPEST_RATIO = 250  # unpacked to packed; sheets of real plans stay below 50
_RATIO_COUNTS_FROM = 10 * MEGABYTE

_COMPOUND_FILE = bytes.fromhex("D0CF11E0A1B11AE1")  # signature of a compound file: old workbooks and encrypted ones
_ENCRYPTED_STREAM = "EncryptedPackage".encode("utf-16-le")  # name of the stream that holds an encrypted workbook
_SAVE_AS = "open it in the spreadsheet program and save it as a workbook without macros (.xlsx)"
_MACRO_SUFFIXES = (".xlsm", ".xltm", ".xlam")
_MACRO_PARTS = re.compile(r"vbaproject|macrosheets/|\.vba", re.IGNORECASE)
_DECLARED_ENCODING = re.compile(rb"""^\s*<\?xml[^>]*?\sencoding\s*=\s*["']([^"']+)["']""")
_UTF_8 = (b"utf-8", b"us-ascii", b"ascii")
# What the archive reader raises on damaged bytes, found by changing bytes at random. No other compression is in use.
_DAMAGES = (zipfile.BadZipFile, zlib.error, struct.error, EOFError, LookupError, OSError, RuntimeError, ValueError)


class WorkbookPackage:
    """The parts of a workbook whose directory has been checked; ``unpacked`` is their size in bytes together."""

    def __init__(self, name: str, content: bytes) -> None:
        """Check what the archive's directory says.

        Raises:
            Refusal: ``macros``, ``encrypted-workbook``, ``old-workbook``, ``other-format``, ``not-a-workbook``,
                ``damaged-workbook``, ``unpacks-too-big``, ``too-many-parts``.
        """
        self.name = name
        self.content = content
        self.unpacked = 0
        self._refuse_other_formats()
        try:
            self._archive = zipfile.ZipFile(io.BytesIO(content))
        except _DAMAGES:
            raise self._refusal("damaged-workbook", "is damaged: its list of parts can't be read") from None
        self._refuse_by_directory(self._archive.infolist())

    def part(self, part: str) -> bytes:
        """One XML part, unpacked, free of document type declarations and in UTF-8.

        Raises:
            Refusal: ``damaged-workbook``, ``entities``, ``other-encoding``.
        """
        try:
            text = self._archive.read(part)
        except _DAMAGES:
            raise self._refusal("damaged-workbook", f"is damaged: its part {part} can't be unpacked") from None
        encoding = _DECLARED_ENCODING.match(text[:200].removeprefix(b"\xef\xbb\xbf"))
        if b"\x00" in text[:64] or (encoding and encoding[1].lower() not in _UTF_8):
            raise self._refusal("other-encoding", f"has a part {part} that is not written in UTF-8")
        if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
            raise self._refusal("entities", f"declares a document type in its part {part}; no workbook needs that")
        return text

    def xml_parts(self) -> tuple[str, ...]:
        """Names of the parts in XML, in the order of the archive."""
        return tuple(one for one in self._archive.namelist() if one.lower().endswith((".xml", ".rels")))

    def _refuse_other_formats(self) -> None:
        if self.name.lower().endswith(_MACRO_SUFFIXES):
            raise self._macros()
        if self.content.startswith(_COMPOUND_FILE):
            if _ENCRYPTED_STREAM in self.content:
                raise self._refusal("encrypted-workbook", "is protected by a password; save it without one")
            raise self._refusal("old-workbook", f"is in an old workbook format; {_SAVE_AS}")
        if not self.content.startswith(b"PK\x03\x04"):
            raise self._refusal("not-a-workbook", f"is not a workbook, whatever its name says; {_SAVE_AS}")

    def _refuse_by_directory(self, parts: list[zipfile.ZipInfo]) -> None:
        self._refuse_sizes(parts)
        names = [part.filename for part in parts]
        if any(map(_MACRO_PARTS.search, names)):
            raise self._macros()
        if "xl/workbook.bin" in names:
            raise self._refusal("other-format", f"is a binary workbook; {_SAVE_AS}")
        if "content.xml" in names and "mimetype" in names:
            raise self._refusal("other-format", f"is an open-document spreadsheet; {_SAVE_AS}")
        if "xl/workbook.xml" not in names or "[Content_Types].xml" not in names:
            raise self._refusal("not-a-workbook", f"is an archive but not a workbook; {_SAVE_AS}")
        if len(set(map(str.lower, names))) < len(names):
            raise self._refusal("damaged-workbook", "is damaged: it holds two parts of one name")
        if b"macroenabled" in self.part("[Content_Types].xml").lower():
            raise self._macros()

    def _refuse_sizes(self, parts: list[zipfile.ZipInfo]) -> None:
        if len(parts) > MOST_PARTS:
            raise self._refusal("too-many-parts", f"has {len(parts):,} parts; a workbook of {MOST_PARTS:,} is the most")
        if any(part.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED) for part in parts):
            raise self._refusal("damaged-workbook", "is damaged: its parts are packed in a way that no workbook is")
        if any(part.flag_bits & 1 for part in parts):
            raise self._refusal("encrypted-workbook", "is protected by a password; save it without one")
        self.unpacked = sum(part.file_size for part in parts)
        if self.unpacked > LARGEST_UNPACKED or any(map(_is_steep, parts)):
            raise self._refusal(
                "unpacks-too-big",
                f"would unpack to {self.unpacked / MEGABYTE:,.0f} MB from {len(self.content) / MEGABYTE:,.1f} MB; "
                f"at most {LARGEST_UNPACKED // MEGABYTE} MB, and {STEEPEST_RATIO} times its packed size, is opened",
            )

    def _macros(self) -> Refusal:
        return self._refusal("macros", f"may hold macros, which are never opened; {_SAVE_AS}")

    def _refusal(self, code: str, what: str) -> Refusal:
        return Refusal(code, f"{self.name} {what}.", {"file": self.name})


def _is_steep(part: zipfile.ZipInfo) -> bool:
    return part.file_size > _RATIO_COUNTS_FROM and part.file_size > STEEPEST_RATIO * part.compress_size
