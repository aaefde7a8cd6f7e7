"""Until when what a job lacks can still be ordered, as marks beside its date."""

from collections.abc import Iterable
from dataclasses import dataclass

from kitting.calculation.shortages import CANT_TELL_ORDER_BY, YES

LATE = "TOO LATE"


@dataclass(frozen=True, slots=True)
class OrderMark:
    """A stock code that a job lacks: its last order day as text, ``can't tell`` without lead days; whether it is past.

    Args:
        stock_code: what is lacking.
        day: ISO text.
        too_late: whether it can't be bought in time any more.
    """

    stock_code: str
    day: str
    too_late: bool

    @property
    def words(self) -> str:
        """``CS25-2 by 2026-03-18``, or ``TOO LATE: BI35L, last day was 2026-01-08``."""
        if self.day == CANT_TELL_ORDER_BY:
            return f"{self.stock_code}: can't tell, its lead days are not known"
        return f"{LATE}: {self.stock_code}, last day was {self.day}" if self.too_late else (
            f"{self.stock_code} by {self.day}"
        )  # fmt: skip


def order_marks(rows: Iterable[tuple[str, str, str, str]]) -> dict[str, list[OrderMark]]:
    """The marks of each job: what is too late first, then what is unknown, then by day; one a stock code.

    Args:
        rows: job, stock code, order-by and too late of short lines, as the table of shortages has them.
    """
    found: dict[str, dict[str, OrderMark]] = {}
    for job, code, day, late in rows:
        if code and day:
            mark = OrderMark(code, day, late == YES)
            before = found.setdefault(job, {}).setdefault(code, mark)
            found[job][code] = min(before, mark, key=_urgency)
    return {job: sorted(marks.values(), key=_urgency) for job, marks in found.items()}


def _urgency(mark: OrderMark) -> tuple[bool, bool, str, str]:
    return not mark.too_late, mark.day != CANT_TELL_ORDER_BY, mark.day, mark.stock_code
