"""What depots ask of each other beside the plan, as far as nobody has answered."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from kitting.calculation.quantities import as_decimal
from kitting.models import Event

ASKED, ANSWERED = "transfer asked", "transfer ask answered"


@dataclass(frozen=True, slots=True)
class Ask:
    """Thousandths of a stock code that ``target`` asks of ``source``; ``number`` is that of the event."""

    number: int
    stock_code: str
    quantity: int
    source: str
    target: str
    why: str
    by: str
    at: datetime

    @property
    def pieces(self) -> str:
        """The number as people write it."""
        return str(as_decimal(self.quantity))


def ask_number(number: int) -> str:
    """What an answer names as its subject."""
    return f"transfer ask {number}"


def open_asks(depots: Collection[str] = ()) -> list[Ask]:
    """What is asked and not answered, the oldest first; two queries.

    Args:
        depots: only from or to these; none: all.
    """
    answered = set(Event.objects.filter(name=ANSWERED).values_list("subject", flat=True))
    asks = [
        Ask(one.number, one.subject, one.data["quantity"], one.data["from"], one.data["to"], one.data["why"], one.by,
            one.at)
        for one in Event.objects.filter(name=ASKED).order_by("number")
        if ask_number(one.number) not in answered
    ]  # fmt: skip
    return [one for one in asks if not depots or {one.source, one.target} & {*depots}]
