"""Lists in a form that is not ours: read by the column layout kept for their headings, or shown to be told about."""

from collections.abc import Iterable, Mapping
from datetime import date
from functools import cached_property
from typing import Any

from kitting.calculation.sheets.all_sheets import RULES, SHEETS
from kitting.calculation.sheets.headers import find_column
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book
from kitting.errors import Refusal
from kitting.models import KeptLayout
from kitting.selectors.layouts import layouts_by_shape
from kitting.selectors.sheets import sheets_from_records
from kitting.spreadsheets.column_layout import adopted
from kitting.spreadsheets.layout_file import ColumnLayout, parsed_layout
from kitting.spreadsheets.list_headings import shape_of
from kitting.spreadsheets.sheet_frames import FirstRows

MOST_WORDS = 12  # distinct texts of a column that are shown, so that words can be told their meaning
_CELL_SHOWN = 200
Shown = dict[str, Any]


class ForeignLists:
    """The foreign lists of one file while it is read.

    Args:
        numbers: the layouts that a file was looked at with; None: those that are live.
        said: what was said with the file, by our header.
        on: the day whose rules hold.
    """

    def __init__(self, numbers: Iterable[int] | None, said: Mapping[str, str], on: date) -> None:
        self._on = on
        self._kept = layouts_by_shape(numbers)
        self._said = said
        self.is_text = True  # as in CSV files; a workbook keeps numbers as numbers
        self.known: dict[str, frozenset[int]] = {}  # rows of sheets made beside a list that the records have
        self._first: dict[str, FirstRows] = {}
        self._reads: dict[str, KeptLayout] = {}

    @cached_property
    def books(self) -> RawBook:
        """The sheets as the records have them, read once."""
        return sheets_from_records(self._on)

    def header_row(self, name: str, first: FirstRows) -> int:
        """The row whose headings a layout is kept for; else the first one."""
        self._first[name] = first
        for row, texts in first:
            layout = self._kept.get(shape_of(texts))
            if layout is not None:
                self._reads[name] = layout
                return row
        return first[0][0]

    @property
    def used(self) -> list[KeptLayout]:
        """The layouts that read lists of this file."""
        return list({one.pk: one for one in self._reads.values()}.values())

    def adopted(self, raw: RawBook) -> RawBook:
        """The book with each list that a layout is kept for in our own form.

        Raises:
            Refusal: as ``column_layout.adopted``; ``said-with-the-list`` names all that is to be said.
        """
        layouts = {name: _parsed(kept) for name, kept in self._reads.items() if name in raw.sheets}
        absent = dict.fromkeys(header for one in layouts.values() for header in one.asked if not self._said.get(header))
        if absent:
            message = f"Say what is the same in all rows of this list: {', '.join(absent)}."
            raise Refusal("said-with-the-list", message, {"columns": tuple(absent)})
        for name, layout in layouts.items():
            foreign = raw.sheets[name]
            others = raw_book((one for one in raw.sheets.values() if one.name != name), raw.notes)
            base = self._with_known(others, layout)
            raw = adopted(layout, foreign, base, said=self._said, is_text=self.is_text)
        return raw

    def _with_known(self, others: RawBook, layout: ColumnLayout) -> RawBook:
        """The other sheets of the file; those made beside the main one as the records have them, where none came."""
        beside = [name for name in layout.sheets if name != layout.main and name not in others.sheets]
        if not beside:
            return others
        known = self.books.sheets
        added = [known[name] for name in beside if name in known]
        self.known |= {one.name: frozenset(one.cells.index) for one in added}
        return raw_book([*others.sheets.values(), *added], others.notes)

    def not_read(self, raw: RawBook) -> list[Shown]:
        """The lists of the file that no layout is kept for and that are not in our form: their first rows."""
        return [self._shown(sheet) for name, sheet in raw.sheets.items() if not self._is_read(name, sheet)]

    def _is_read(self, name: str, sheet: RawSheet) -> bool:
        return name in self._reads or name.startswith(RULES) or not sheet.headers or is_ours(sheet)

    def read_now(self, raw: RawBook) -> list[Shown]:
        """The lists that a layout read: their first rows as well, so that it can be replaced."""
        return [{**self._shown(raw.sheets[name]), "layout": one.pk} for name, one in self._reads.items()]

    def _shown(self, sheet: RawSheet) -> Shown:
        first = [[row, [text[:_CELL_SHOWN] for text in texts]] for row, texts in self._first[sheet.name]]
        words = []
        for at in sheet.cells:
            distinct = [text for text in sheet.cells[at].drop_duplicates().tolist() if text]
            words.append(distinct if len(distinct) <= MOST_WORDS else [])
        return {"sheet": sheet.name, "rows": len(sheet.cells), "first": first, "words": words}


def is_ours(sheet: RawSheet) -> bool:
    """Whether a sheet has a name of ours and the columns that a sheet of this name must have."""
    declared = SHEETS.get(sheet.name)
    if declared is None:
        return False
    found = {column[0].field for header in sheet.headers if (column := find_column(declared, header))}
    return all(column.field in found for column in declared.columns if column.required)


def _parsed(kept: KeptLayout) -> ColumnLayout:
    return parsed_layout(kept.text.encode(), str(kept))
