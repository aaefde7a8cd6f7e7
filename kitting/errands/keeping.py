"""Sheets and files as bytes that an errand keeps beside it."""

import gzip
import io
import json
import zipfile
from collections.abc import Iterable, Mapping
from pathlib import Path

import pandas as pd

from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet


def packed_sheets(raw: RawBook) -> bytes:
    """Sheets of text, with the row numbers that a person sees, in few bytes."""
    plain = {
        name: {"headers": sheet.headers, "rows": [*sheet.cells.itertuples(index=True, name=None)]}
        for name, sheet in raw.sheets.items()
    }
    return gzip.compress(json.dumps(plain).encode(), mtime=0)


def unpacked_sheets(content: bytes) -> RawBook:
    """The sheets of ``packed_sheets``."""
    plain = json.loads(gzip.decompress(content))
    return raw_book(_sheet(name, one["headers"], one["rows"]) for name, one in plain.items())


def _sheet(name: str, headers: list[str], rows: list[list[str]]) -> RawSheet:
    sheet = raw_sheet(name, headers, (row[1:] for row in rows))
    sheet.cells.index = pd.Index([int(row[0]) for row in rows])
    return sheet


def packed_files(files: Iterable[tuple[str, bytes]]) -> bytes:
    """Files by name as one archive; the same files give the same bytes."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in sorted(files):
            archive.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    return content.getvalue()


def packed_names(content: bytes) -> list[str]:
    """Names of the files in an archive of ours."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return archive.namelist()


def unpacked_file(content: bytes, name: str) -> bytes:
    """One file of an archive of ours.

    Raises:
        KeyError: it holds no such file.
    """
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return archive.read(name)


def unpack_files(content: bytes, folder: Path) -> Mapping[str, Path]:
    """Write the files of an archive of ours into a folder, each under its bare name."""
    found = {}
    for name in packed_names(content):
        path = folder / Path(name).name
        path.write_bytes(unpacked_file(content, name))
        found[name] = path
    return found
