"""Why each refused kit was refused: the set of classes that it and earlier kits can't leave."""

from kitting.calculation.promising.eligibility import Eligibility, is_buyable
from kitting.calculation.promising.first_days import FirstDays
from kitting.calculation.promising.flow import bits_of
from kitting.calculation.promising.model import Problem, RefusedKit
from kitting.calculation.promising.strict_order import NO_GROUP, Reason, StrictOrder


def refusals(problem: Problem, eligible: Eligibility, order: StrictOrder) -> tuple[RefusedKit, ...]:
    """Each refused kit with its set and first day; to be asked after the last turn, before the rest is served."""
    days = FirstDays(problem, eligible, order)
    return tuple(
        _refused(problem, eligible, order, reason, days.first_day(kit, reason.cell))
        for kit, reason in order.reasons.items()
    )


def _refused(problem: Problem, eligible: Eligibility, order: StrictOrder, reason: Reason, first_day: int) -> RefusedKit:
    kit, flow = problem.cells[reason.cell].kit, order.flow
    classes = [] if reason.group == NO_GROUP else [flow.classes[reason.group][place] for place in bits_of(reason.bits)]
    competitors = _competitors(problem, order, reason)
    competing = sum(eligible.need[cell] - order.missing[cell] for cell in competitors)
    stock = sum(eligible.stock[lot_class] for lot_class in classes)
    asked = sum(eligible.need[cell] for cell in order.required[kit] if _is_inside(order, cell, reason))
    lots = sorted(lot for lot_class in classes for lot in eligible.members[lot_class])
    items = {problem.lots[lot].item for lot in lots} or set(problem.cells[reason.cell].options)
    return RefusedKit(
        kit=kit,
        cell=reason.cell,
        items=tuple(sorted(items)),
        stock=stock,
        competing_kits=tuple(sorted({problem.cells[cell].kit for cell in competitors})),
        competing=competing,
        missing=asked - (stock - competing),
        first_day=first_day,
        lots=tuple(lots),
    )


def _competitors(problem: Problem, order: StrictOrder, reason: Reason) -> list[int]:
    """Cells of kits served before that hold pieces of the set and can use nothing else.

    Of the kits of the same turn only what they require comes before.
    """
    if reason.group == NO_GROUP:
        return []
    turn = order.turn[problem.cells[reason.cell].kit]

    def is_before(cell: int) -> bool:
        other = problem.cells[cell].kit
        same = order.turn[other] == turn and not is_buyable(problem.cells[cell], problem.kits[other])
        return same or order.turn[other] < turn

    holders = order.flow.holders(reason.group, reason.bits)
    return [cell for cell in holders if is_before(cell) and _is_inside(order, cell, reason)]


def _is_inside(order: StrictOrder, cell: int, reason: Reason) -> bool:
    """True where a cell can use nothing outside the reason's set."""
    arcs = order.flow.arcs[cell]
    if not arcs or reason.group == NO_GROUP:
        return not arcs
    return order.flow.group[arcs[0]] == reason.group and not order.flow.reach[cell] & ~reason.bits
