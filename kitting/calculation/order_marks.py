"""Until when what a job lacks can still be ordered, as marks beside its date."""

from collections.abc import Iterable
from dataclasses import dataclass

from kitting.calculation.expansion.lines import SPARE_ENDING
from kitting.calculation.shortages import CANT_TELL_ORDER_BY, YES

LATE = "TOO LATE"


@dataclass(frozen=True, slots=True)
class OrderMark:
    """A stock code that a job lacks: its last order day as text, ``can't tell`` without lead days; whether it is past.

    Args:
        stock_code: what is lacking.
        day: ISO text.
        too_late: whether it can't be bought in time any more.
        spare: whether only spares of it are lacking.
    """

    stock_code: str
    day: str
    too_late: bool
    spare: bool = False

    @property
    def words(self) -> str:
        """``CS25-2 by 2026-03-18``, or ``TOO LATE: BI35L, last day was 2026-01-08``."""
        name = f"{'spare ' * self.spare}{self.stock_code}"
        if self.day == CANT_TELL_ORDER_BY:
            return f"{name}: can't tell, its lead days are not known"
        return f"{LATE}: {name}, last day was {self.day}" if self.too_late else f"{name} by {self.day}"


def order_marks(rows: Iterable[tuple[str, str, str, str, str]]) -> dict[str, list[OrderMark]]:
    """The marks of each job: what is too late first, then what is unknown, then by day; spares last; one a stock code.

    Args:
        rows: job, line, stock code, order-by and too late of short lines, as the table of shortages has them.
    """
    found: dict[str, dict[str, OrderMark]] = {}
    for job, line, code, day, late in rows:
        if code and day:
            mark = OrderMark(code, day, late == YES, line.endswith(SPARE_ENDING))
            before = found.setdefault(job, {}).setdefault(code, mark)
            found[job][code] = min(before, mark, key=_urgency)
    return {job: sorted(marks.values(), key=_urgency) for job, marks in found.items()}


def urgency(day: str, too_late: bool) -> tuple[bool, bool, str]:
    """What comes first among pieces that are lacking, by the last day to order them and whether that is past."""
    return not too_late, day != CANT_TELL_ORDER_BY, day


def _urgency(mark: OrderMark) -> tuple[bool, bool, bool, str, str]:
    return mark.spare, *urgency(mark.day, mark.too_late), mark.stock_code
