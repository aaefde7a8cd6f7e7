"""The demo on a desk: its sheets, changed cell by cell, planned, and the plan read in the words of the trade."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

import pandas as pd

from kitting.calculation.plan_result import JobAnswer, Plan
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet

AS_OF = date(2026, 3, 2)


@dataclass(frozen=True)
class Desk:
    """Received sheets that a test changes; every change makes a new desk."""

    raw: RawBook

    def change(self, sheet: str, where: Mapping[str, str], **columns: str) -> "Desk":
        """Change cells of the rows that match; columns are header texts with spaces as underscores."""
        found = self.raw.sheets[sheet]
        cells = found.cells.copy()
        rows = self._rows(found, where)
        assert rows, f"no row of {sheet} matches {where}"
        for column, value in columns.items():
            cells.loc[rows, _place(found, column.replace("_", " "))] = value
        return self._with(replace(found, cells=cells))

    def drop(self, sheet: str, where: Mapping[str, str]) -> "Desk":
        """Drop the rows that match."""
        found = self.raw.sheets[sheet]
        rows = self._rows(found, where)
        assert rows, f"no row of {sheet} matches {where}"
        return self._with(replace(found, cells=found.cells.drop(index=rows)))

    def add(self, sheet: str, **columns: str) -> "Desk":
        """Add a row; a sheet that is not there is made with these columns."""
        named = {column.replace("_", " "): value for column, value in columns.items()}
        found = self.raw.sheets.get(sheet)
        if found is None or not found.headers:
            return self._with(raw_sheet(sheet, tuple(named), [tuple(named.values())]))
        cells = found.cells.copy()
        row = [""] * len(found.headers)
        for column, value in named.items():
            row[_place(found, column)] = value
        cells.loc[(max(cells.index) if len(cells) else 1) + 1] = row
        return self._with(replace(found, cells=cells))

    def plan(self, as_of: date = AS_OF) -> Plan:
        """Plan the sheets as they are now."""
        return plan(read_book(self.raw), as_of=as_of)

    def _with(self, sheet: RawSheet) -> "Desk":
        return Desk(raw_book({**self.raw.sheets, sheet.name: sheet}.values()))

    @staticmethod
    def _rows(sheet: RawSheet, where: Mapping[str, str]) -> list[int]:
        match = pd.Series(True, index=sheet.cells.index)
        for column, value in where.items():
            match &= sheet.cells[_place(sheet, column)] == value
        return [int(row) for row in sheet.cells.index[match]]


def _place(sheet: RawSheet, column: str) -> int:
    plain = [header.partition("(")[0].strip().casefold() for header in sheet.headers]
    return plain.index(column.casefold())


class Reading:
    """A plan read in the words of the trade."""

    def __init__(self, made: Plan) -> None:
        self.made = made

    def job(self, job: str) -> JobAnswer:
        """The answer of one job."""
        return next(answer for answer in self.made.jobs if answer.job == job)

    def line(self, line: str) -> pd.Series:
        """One line by its name."""
        found = self.made.requirements[self.made.requirements["line"] == line]
        assert len(found) == 1, f"{len(found)} lines are named {line}"
        return found.iloc[0]

    def lines(self, **facts: str) -> pd.DataFrame:
        """Lines that carry these facts; spares only when asked for."""
        frame = self.made.requirements
        for column, value in {"spare": "no", **facts}.items():
            frame = frame[(frame[column] == value).to_numpy()]
        return frame

    def pieces(self, **facts: str) -> Decimal:
        """Pieces of the lines that carry these facts."""
        return sum(self.lines(**facts)["quantity"], start=Decimal(0))

    def promised(self, **facts: str) -> dict[tuple[str, str, str], Decimal]:
        """(depot, lot, source) -> pieces promised to the lines with these facts of the promises table."""
        frame = self.made.promises
        for column, value in facts.items():
            frame = frame[(frame[column] == value).to_numpy()]
        taken: dict[tuple[str, str, str], Decimal] = {}
        for depot, lot, source, pieces in zip(
            frame["depot"], frame["lot"], frame["source"], frame["quantity"], strict=True
        ):
            taken[(depot, lot, source)] = taken.get((depot, lot, source), Decimal(0)) + pieces
        return taken

    def from_depots(self, **facts: str) -> dict[str, Decimal]:
        """Depot -> pieces promised."""
        taken: dict[str, Decimal] = {}
        for (depot, _, _), pieces in self.promised(**facts).items():
            taken[depot] = taken.get(depot, Decimal(0)) + pieces
        return taken

    def short(self, **facts: str) -> Decimal:
        """Pieces short of the lines with these facts of the shortages table."""
        frame = self.made.shortages
        for column, value in facts.items():
            frame = frame[(frame[column] == value).to_numpy()]
        return sum(frame["short"], start=Decimal(0))

    def questions(self, *severities: str) -> list[tuple[str, int, str, str]]:
        """(sheet, row, column, read) of the questions of these severities."""
        return [(q.sheet, q.row, q.column, q.read) for q in self.made.questions if q.severity in severities]
