"""The records always read without a doubt: what would make them read otherwise is not stored."""

from collections.abc import Iterable

from kitting.calculation.questions import NOTE, Question
from kitting.calculation.sheets.book import read_book
from kitting.calculation.sheets.cross_checks import sheets_to_check
from kitting.calculation.sheets.raw import RawBook
from kitting.errors import Refusal
from kitting.selectors.sheets import sheets_from_records, sheets_to_check_from_records


def require_sound_books(changed: str = "") -> None:
    """Read the sheets as the records have them now, inside the transaction that changed them.

    Args:
        changed: the one sheet of which cells beside its keys were changed; only what its checks need is read. '': all.

    Raises:
        Refusal: ``questions-open``: together with what else is in the records, something contradicts something.
    """
    sheets = sheets_to_check_from_records(sheets_to_check(changed)) if changed else sheets_from_records()
    refuse_open_questions(sheets, read_book(sheets).questions)


def refuse_open_questions(sheets: RawBook, questions: Iterable[Question]) -> None:
    """Refuse where a question waits for an answer; the refusal carries all ``questions`` and the ``sheets``.

    Raises:
        Refusal: ``questions-open``.
    """
    found = sorted(questions)
    asked = sum(question.severity != NOTE for question in found)
    if asked:
        words = "1 question must" if asked == 1 else f"{asked} questions must"
        message = f"{words} be settled first; nothing was stored."
        raise Refusal("questions-open", message, {"questions": tuple(found), "sheets": sheets})
