"""Errors that are data: a code for programs, a sentence for people, fields for both."""

from collections.abc import Mapping
from types import MappingProxyType


class Refusal(Exception):  # noqa: N818 - a refusal is the trade's word, and it is not a fault
    """Something was asked of the warehouse that must not be done; nothing was changed.

    Args:
        code: stable short name in lower case with hyphens, such as ``not-enough``.
        message: one sentence for the person, saying what is wrong and what would be right.
        data: the facts behind the sentence.
    """

    def __init__(self, code: str, message: str, data: Mapping[str, object] | None = None) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.data: Mapping[str, object] = MappingProxyType(dict(data or {}))


class Doubt(Refusal):
    """A refusal that ends when a person confirms its code: the message is a question."""
