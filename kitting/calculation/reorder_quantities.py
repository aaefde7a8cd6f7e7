"""From net need to an order: purchase units, minimum, multiple, order-by."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from math import lcm
from types import MappingProxyType
from typing import Any

import pandas as pd

from kitting.calculation.job_dates import JobDates, day_text
from kitting.calculation.natural_order import natural_key
from kitting.calculation.plan_result import REORDER_COLUMNS
from kitting.calculation.quantities import PER_UNIT, as_decimal
from kitting.calculation.questions import ASK, Question
from kitting.calculation.records import Fact, Record
from kitting.calculation.shortages import CANT_TELL_ORDER_BY, NO, YES, Buying, ShortLine


def order_quantity(net: int, *, per_purchase_unit: int, minimum: int, multiple: int) -> int:
    """Thousandths of stock units to order: the fewest whole purchase units that meet net need, minimum and multiple.

    Args:
        net: net need in thousandths of stock units.
        per_purchase_unit: thousandths of stock units in one purchase unit, above zero.
        minimum: least order in thousandths of stock units; 0 for none.
        multiple: the order must be a whole multiple of these thousandths; 0 for none.

    >>> order_quantity(3000, per_purchase_unit=1000, minimum=6000, multiple=3000)
    6000
    >>> order_quantity(7000, per_purchase_unit=3000, minimum=0, multiple=0)
    9000
    """
    if net <= 0:
        return 0
    step = lcm(per_purchase_unit, multiple) if multiple else per_purchase_unit
    return -(-max(net, minimum) // step) * step


def refill(
    *,
    left: int,
    on_order: int,
    reserve: int,
    minimum: int | None,
    maximum: int | None,
    floor: int | None,
    due_back: int = 0,
) -> int:
    """Thousandths that lift the reserve place to its floor, and the shelf from below its minimum to its maximum.

    ``left`` are unpromised pieces in bins, ``on_order`` pieces on open orders that no line is promised, ``due_back``
    pieces that crews are to bring back: a shelf can wait for those, a job can't, as they are free only once sorted.

    >>> refill(left=1000, on_order=0, reserve=0, minimum=6000, maximum=10000, floor=None, due_back=3000)
    6000
    """
    to_floor = max((floor or 0) - reserve, 0)
    shelf = left + on_order + due_back
    to_maximum = max((maximum if maximum is not None else minimum or 0) - shelf, 0)
    return to_floor + (to_maximum if minimum is not None and shelf < minimum else 0)


@dataclass(slots=True)
class _Wanted:
    """Net need of one stock code at one depot; ``jobs`` are in line order, each once."""

    need: int = 0
    refill: int = 0
    jobs: dict[str, None] = field(default_factory=dict)
    needed_by: date | None = None
    order_by: date | None = None
    unknown_lead: bool = False


def reorder_table(
    lines: Sequence[ShortLine],
    *,
    items: Mapping[str, Mapping[str, Fact]],
    jobs: Mapping[str, JobDates],
    buying: Buying,
    levels: Sequence[Record],
    left: Mapping[tuple[str, str], int],
    on_order: Mapping[tuple[str, str], int],
    reserve: Mapping[tuple[str, str], int],
    due_back: Mapping[tuple[str, str], int] = MappingProxyType({}),
) -> tuple[pd.DataFrame, list[Question]]:
    """The reorder table, one row a supplier, stock code and depot, and a question for each item that can't be ordered.

    Args:
        lines: the short lines; those without a stock code are standards' business, not purchasing's.
        items: items by stock code.
        jobs: jobs with their dates.
        buying: leads and calendars.
        levels: rows of the levels sheet.
        left: (stock code, depot) -> unpromised thousandths in bins.
        on_order: (stock code, depot) -> thousandths on open orders promised to no line.
        reserve: (stock code, depot) -> thousandths in reserve.
        due_back: (stock code, depot) -> thousandths that crews are to bring back; they lower a refill, no job's need.
    """
    wanted: dict[tuple[str, str], _Wanted] = defaultdict(_Wanted)
    for line in lines:
        if line.code:
            job = jobs[line.job].at(line.depot)
            code = buying.best(line.codes, job)
            _add(wanted[(code, job.depot)], line, job, buying.order_by(code, job))
    for level in levels:
        place = (level["stock_code"], level["depot"])
        pieces = refill(
            left=left.get(place, 0),
            on_order=on_order.get(place, 0),
            reserve=reserve.get(place, 0),
            due_back=due_back.get(place, 0),
            minimum=_known(level["minimum"]),
            maximum=_known(level["maximum"]),
            floor=_known(level["reserve_floor"]),
        )
        if pieces and level["stock_code"] in items:
            wanted[place].refill += pieces
    rows, questions = [], []
    for (code, depot), want in wanted.items():
        item = items[code]
        if conversion_missing(item):
            questions.append(_blocked(item, want))
        else:
            known = (on_order.get((code, depot), 0), due_back.get((code, depot), 0))
            rows.append(_row(item, depot, want, known, buying.as_of))
    rows.sort(key=lambda row: (natural_key(row[0]), natural_key(row[1]), natural_key(row[4])))
    return pd.DataFrame(rows, columns=list(REORDER_COLUMNS)), questions


def _known(level: Fact) -> int | None:
    return level if isinstance(level, int) else None


def _add(want: _Wanted, line: ShortLine, job: JobDates, order_by: date | None) -> None:
    want.need += line.short
    want.jobs[line.job] = None
    if job.staged_by is not None and (want.needed_by is None or job.staged_by < want.needed_by):
        want.needed_by = job.staged_by
        want.order_by = order_by
        want.unknown_lead = order_by is None


def conversion_missing(item: Mapping[str, Fact]) -> bool:
    """Bought in a unit whose content nobody has given: it can't be put on a reorder sheet."""
    return item["purchase_unit"] not in (None, item["stock_unit"]) and not isinstance(item["per_purchase_unit"], int)


def _blocked(item: Mapping[str, Fact], want: _Wanted) -> Question:
    problem = (
        f"{as_decimal(want.need + want.refill):f} of {item['stock_code']} are needed, but nobody has said how many "
        f"{item['stock_unit'] or 'ea'} a {item['purchase_unit']} holds: not on the reorder sheet"
    )
    return Question("items", item["row"], "per purchase unit", "", problem, "give the pieces in one purchase unit", ASK)


def _row(item: Mapping[str, Fact], depot: str, want: _Wanted, known: tuple[int, int], as_of: date) -> tuple[Any, ...]:
    net = want.need + want.refill
    per = item["per_purchase_unit"] if isinstance(item["per_purchase_unit"], int) else PER_UNIT
    ordered = order_quantity(
        net,
        per_purchase_unit=per,
        minimum=_known(item["minimum_order"]) or 0,
        multiple=_known(item["order_multiple"]) or 0,
    )
    order_by = CANT_TELL_ORDER_BY if want.unknown_lead else day_text(want.order_by)
    too_late = "" if want.order_by is None else YES if want.order_by < as_of else NO
    return (
        item["supplier"] or "",
        item["stock_code"],
        item["supplier_code"] or "",
        item["description"] or "",
        depot,
        as_decimal(want.need),
        *map(as_decimal, known),
        as_decimal(net),
        as_decimal(ordered * PER_UNIT // per),
        item["purchase_unit"] or item["stock_unit"] or "ea",
        as_decimal(per),
        as_decimal(ordered),
        as_decimal(ordered - net),
        day_text(want.needed_by),
        order_by,
        too_late,
        "; ".join(want.jobs),
    )
