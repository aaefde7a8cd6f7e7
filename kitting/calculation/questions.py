"""What must be asked of a person: a doubtful cell, or a fact that is not there."""

from dataclasses import dataclass

REFUSE = "refuse"
ASK = "ask"
NOTE = "note"


@dataclass(frozen=True, slots=True, order=True)
class Question:
    """One message about one cell or row.

    ``row`` is the row number a person sees in the sheet (the header is row 1); 0 means the whole sheet.
    ``severity`` is ``refuse`` (can't be used), ``ask`` (not used until settled) or ``note`` (used as read).
    """

    sheet: str
    row: int
    column: str
    read: str
    problem: str
    suggestion: str
    severity: str


@dataclass(frozen=True, slots=True)
class Missing:
    """Stands where a fact should be: blank, doubtful or contradictory. Never a default.

    Args:
        fact: the fact in trade words, such as ``interface``.
        why: why it is missing, as part of a sentence: ``the cell reads 23,6 and is in doubt``.
        sheet: the sheet on which an answer is expected.
        column: the column label on that sheet.
        row: the sheet row; 0 means the row of the line's owner (its run, position, system or item).
        asked: true when reading has already asked about the cell.
        options: what it could be, as (label, value) pairs, when only a few values are possible.
    """

    fact: str
    why: str
    sheet: str
    column: str
    row: int = 0
    asked: bool = False
    options: tuple[tuple[str, object], ...] = ()
