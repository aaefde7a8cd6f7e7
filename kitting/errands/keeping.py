"""Sheets and files as bytes that an errand keeps beside it."""

import gzip
import io
import json
import zipfile
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pandas as pd

from kitting.calculation.plan_result import JobAnswer, Plan
from kitting.calculation.sheets.book import read_book
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


_PRINTED = ("requirements", "promises", "shortages", "reorder", "refusals", "cures")  # tables that papers show


def packed_plan(plan: Plan) -> bytes:
    """What the papers of a plan show beside its sheets, as text."""
    tables = {
        name: {
            "columns": [*map(str, frame.columns)],
            "rows": [*frame.astype(object).itertuples(index=False, name=None)],
        }
        for name, frame in ((name, getattr(plan, name)) for name in _PRINTED)
    }
    plain = {"as_of": plan.as_of, "tables": tables, "jobs": [asdict(one) for one in plan.jobs]}
    return json.dumps(plain, default=_as_plain).encode()


def _as_plain(value: Any) -> Any:
    return {"decimal": str(value)} if isinstance(value, Decimal) else str(value)


def unpacked_plan(content: bytes, sheets: RawBook) -> Plan:
    """The plan of ``packed_plan`` with the sheets it was made from, as far as papers show it."""
    plain = json.loads(content, object_hook=lambda found: Decimal(found["decimal"]) if "decimal" in found else found)
    tables: dict[str, Any] = {
        name: pd.DataFrame(one["rows"], columns=one["columns"], dtype=object) for name, one in plain["tables"].items()
    }
    return Plan(
        as_of=date.fromisoformat(plain["as_of"]), book=read_book(sheets), **tables, totals=pd.DataFrame(), questions=(),
        jobs=tuple(_job(one) for one in plain["jobs"]), summary={}, timings={},
    )  # fmt: skip


def _job(plain: Mapping[str, Any]) -> JobAnswer:
    staged, cutover = plain["staged_by"], plain["cutover"]
    return JobAnswer(**{
        **plain,
        "staged_by": date.fromisoformat(staged) if staged else None,
        "cutover": datetime.fromisoformat(cutover) if cutover else None,
        "days": {depot: date.fromisoformat(day) for depot, day in plain.get("days", {}).items()},
    })  # fmt: skip


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
