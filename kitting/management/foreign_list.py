"""What commands take beside a foreign list and its column layout."""

from argparse import ArgumentTypeError
from typing import Any


def column_and_text(given: str) -> tuple[str, str]:
    """A column of ours and its text, written ``job=J20``.

    Raises:
        ArgumentTypeError: it has no equals sign.
    """
    column, is_there, text = given.partition("=")
    if not is_there:
        raise ArgumentTypeError(f"{given!r} names no text; write a column and its text, such as job=J20")
    return column.strip(), text.strip()


SAID: dict[str, Any] = {
    "nargs": "+", "default": [], "type": column_and_text, "metavar": "COLUMN=TEXT",
    "help": "what is the same in all rows of the foreign list, where its layout asks for it: job=J20",
}  # fmt: skip
