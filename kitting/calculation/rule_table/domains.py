"""What a fact can be: its values cut into cells inside which no test of a table changes its answer."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal, localcontext

from kitting.calculation.rule_table.cell_tests import NUMBER, CellTest, Fact, Span, any_of, span_words
from kitting.calculation.rule_table.vocabulary import Condition

_PRECISION = 200
# Stands for a text that no rule names; a person can't type a null character into a cell.
_OTHER = "\0any other"
_WORDS: dict[Fact, str] = {_OTHER: "any other"}


@dataclass(frozen=True, slots=True)
class Domain:
    """The stated values of one fact.

    Args:
        values: texts it can have.
        any_other: texts beside those can occur.
        blank: it can be blank.
        numbers: the span of numbers it can have; None for a fact of texts.
        whole: only whole numbers occur.
    """

    values: tuple[str, ...] = ()
    any_other: bool = False
    blank: bool = False
    numbers: Span | None = None
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """One part of a domain: a value that stands for all of it, and for numbers the span."""

    stands_for: Fact
    span: Span | None = None


@dataclass(frozen=True, slots=True)
class Axis:
    """One fact with the cells of its domain, in order."""

    name: str
    cells: tuple[Cell, ...]
    whole: bool

    def words(self, chosen: Sequence[int]) -> str:
        """The fact and some of its cells, by place in order: ``cables 3 or more``, ``state unused or dead``."""
        texts: list[str] = []
        runs: list[tuple[int, Span]] = []
        for place in chosen:
            cell = self.cells[place]
            if cell.span is None:
                texts.append("blank" if cell.stands_for is None else _WORDS.get(cell.stands_for, str(cell.stands_for)))
            elif runs and runs[-1][0] == place - 1:
                first = runs[-1][1]
                joined = Span(first.low, cell.span.high, first.low_included, cell.span.high_included)
                runs[-1] = (place, joined)
            else:
                runs.append((place, cell.span))
        return f"{self.name} {any_of([*(_run_words(span, whole=self.whole) for _, span in runs), *texts])}"


def stated_domain(condition: Condition) -> Domain:
    """The domain that the vocabulary states for a fact; texts that are not listed count as ``any other``."""
    if condition.type == NUMBER:
        limits = Span(condition.low, condition.high, condition.low is not None, condition.high is not None)
        return Domain(numbers=limits, whole=condition.whole, blank=condition.blank)
    return Domain(condition.values, any_other=not condition.values, blank=condition.blank)


def axis_of(name: str, domain: Domain, tests: Iterable[CellTest]) -> Axis:
    """The domain cut at every value and end point that the tests name, so that no test changes inside a cell.

    Numbers are cut into points and the open intervals between them. An interval without a whole number is left out
    where only whole numbers occur.
    """
    tests = tuple(tests)
    blank = (Cell(None),) if domain.blank else ()
    if domain.numbers is not None:
        numbers = _number_cells(domain.numbers, tests, whole=domain.whole)
        return Axis(name, (*numbers, *blank), domain.whole)
    named = {value for test in tests for value in test.values if isinstance(value, str)} if domain.any_other else set()
    values = dict.fromkeys((*domain.values, *sorted(named)))
    other = (_OTHER,) if domain.any_other else ()
    return Axis(name, (*(Cell(value) for value in (*values, *other)), *blank), whole=False)


def _number_cells(numbers: Span, tests: Sequence[CellTest], *, whole: bool) -> list[Cell]:
    inside = {end for test in tests for end in test.ends() if numbers.holds(end)}
    points = sorted(inside | {end for end in (numbers.low, numbers.high) if end is not None})
    spans = [Span(None, points[0] if points else None)] if numbers.low is None else []
    for point, after in zip(points, [*points, None][1:], strict=True):
        spans += [Span(point, point, low_included=True, high_included=True), Span(point, after)]
    found = ((span, _inside(span, whole=whole)) for span in spans)
    return [Cell(number, span) for span, number in found if number is not None and numbers.holds(number)]


def _inside(span: Span, *, whole: bool) -> Decimal | None:
    """A number inside the span; None if only whole numbers count and it holds none."""
    with localcontext() as context:
        context.prec = _PRECISION
        low, high = span.low, span.high
        if low is None:
            number = Decimal(0) if high is None else high.to_integral_value(ROUND_CEILING) - 1
        elif low == high:
            number = low
        elif whole or high is None:
            number = low.to_integral_value(ROUND_FLOOR) + 1
        else:
            number = (low + high) / 2
        counts = not whole or number == number.to_integral_value()
        return number if counts and span.holds(number) else None


def _run_words(span: Span, *, whole: bool) -> str:
    if not whole:
        return span_words(span)
    low = None if span.low is None else span.low.to_integral_value(ROUND_FLOOR) + (0 if span.low_included else 1)
    high = None if span.high is None else span.high.to_integral_value(ROUND_CEILING) - (0 if span.high_included else 1)
    if low is None or high is None:
        return f"{low} or more" if high is None else f"{high} or less"
    return str(low) if low == high else f"{low} to {high}"
