"""Questions that a person answers by asking again with them confirmed: all at once, each in words."""

from collections.abc import Collection

from inventory.errors import Doubt


class Doubts:
    """Collects the questions of one use case.

    Args:
        confirmed: keys of questions that the person has answered with yes, such as ``each-or-kit/1``.
    """

    def __init__(self, confirmed: Collection[str] = ()) -> None:
        self._confirmed = frozenset(confirmed)
        self._open: dict[str, str] = {}

    def ask(self, name: str, line: int, question: str) -> None:
        """Put a question about a line, unless it is answered."""
        key = f"{name}/{line}"
        if key not in self._confirmed:
            self._open[key] = question

    def settle(self) -> None:
        """Go on only without open questions.

        Raises:
            Doubt: ``to-confirm`` with all open questions by key.
        """
        if self._open:
            raise Doubt("to-confirm", " ".join(self._open.values()), {"questions": self._open})
