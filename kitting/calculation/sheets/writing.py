"""Sheets in our own form: from received text, or from the facts of a book. Reading them again changes nothing."""

from collections.abc import Callable, Iterable

import pandas as pd

from kitting.calculation.questions import NOTE
from kitting.calculation.sheets.all_sheets import ANSWERS, RULES, SHEETS
from kitting.calculation.sheets.book import Book
from kitting.calculation.sheets.columns import Column, Sheet
from kitting.calculation.sheets.headers import place_columns
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet, trimmed
from kitting.errors import Refusal


def canonical_sheets(raw: RawBook) -> RawBook:
    """The received text in our own order of sheets and columns, under our own headers, cells as read.

    A length keeps the unit that its header named, a cell keeps its words, a row its number; columns and sheets that are
    not ours follow unchanged.
    """
    order = {name: at for at, name in enumerate(SHEETS)}
    sheets = sorted(raw.sheets.values(), key=lambda sheet: (order.get(sheet.name, len(order)), sheet.name))
    return raw_book((_canonical(sheet) for sheet in sheets), raw.notes)


def _canonical(raw: RawSheet) -> RawSheet:
    declared = SHEETS.get(raw.name)
    if declared is None:
        return raw
    placed, _ = place_columns(declared, raw)
    ours = [placed[column.field] for column in declared.columns if column.field in placed]
    others = [at for at in range(len(raw.headers)) if at not in {one.at for one in ours}]
    headers = [f"{one.column.label} ({one.unit})" if one.unit else one.column.label for one in ours]
    places = [*(one.at for one in ours), *others]
    cells = raw.cells.iloc[:, places].set_axis(range(len(places)), axis=1).map(trimmed).astype(object)
    return RawSheet(raw.name, (*headers, *(raw.headers[at] for at in others)), cells, raw.notes)


def sheets_of(book: Book) -> RawBook:
    """The facts of a book as sheets of text, lengths in the unit of our headers; answers are already in their cells.

    Raises:
        Refusal: some cell is in doubt, so its text is not known here; write the received text instead.
    """
    open_doubts = sum(question.severity != NOTE for question in book.questions)
    if open_doubts:
        raise Refusal("open-doubts", f"{open_doubts} cells are in doubt; settle them first", {"doubts": open_doubts})
    sheets = [_text_sheet(sheet, book.frames[name]) for name, sheet in SHEETS.items() if sheet is not ANSWERS]
    rules = [_rules_sheet(name, frame) for name, frame in book.rules.items()]
    return raw_book([*(sheet for sheet in sheets if len(sheet.cells) or SHEETS[sheet.name].required), *rules])


def _text_sheet(sheet: Sheet, frame: pd.DataFrame) -> RawSheet:
    columns = [_texts(column, frame[column.field]) for column in sheet.columns]
    return raw_sheet(sheet.name, (column.header for column in sheet.columns), zip(*columns, strict=True))


def _texts(column: Column, values: Iterable[object]) -> list[str]:
    write: Callable[[object], str] = column.parser.write
    return ["" if value is None else write(value) for value in values]


def _rules_sheet(name: str, frame: pd.DataFrame) -> RawSheet:
    texts = frame.drop(columns="row")
    return raw_sheet(f"{RULES}{name}", map(str, texts.columns), texts.itertuples(index=False, name=None))
