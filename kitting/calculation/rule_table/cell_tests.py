"""Cell tests of a decision table: the unary tests of DMN (OMG Decision Model and Notation 1.3, FEEL grammar).

A test is met, not met, or not known (``None``) when the fact is missing. Three rules are our own, where programs that
read the standard differ:

* A blank fact (``None``) meets ``-`` and ``null`` and nothing else; ``not(...)`` is never met by a blank.
* A test never holds of a fact of the other type: ``5`` is not the text ``5``, nor does ``not(5)`` hold of a text.
* A missing fact meets ``-``. Any other test of it is not known, unless every value that it could have gives one answer.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from importlib.resources import files

from lark import Lark, Token, Tree
from lark.exceptions import UnexpectedCharacters, UnexpectedInput, UnexpectedToken

from kitting.calculation.doubts import Doubt
from kitting.calculation.questions import Missing

TEXT = "text"
NUMBER = "number"

Fact = str | bool | int | Decimal | Missing | None

_EXAMPLES = 'write -, a, "a","b", 600, < 10, [1..2], (200..600], not(a) or null'
YES_NO = {True: "yes", False: "no"}


class CellDoubt(Doubt):
    """A cell of a decision table can't be read.

    Args:
        at: character inside the cell where reading stopped, counted from 1.
        problem: what is wrong, as part of a sentence.
        suggestion: what would be right.
    """

    def __init__(self, at: int, problem: str, suggestion: str) -> None:
        super().__init__(problem, suggestion)
        self.at = at


@dataclass(frozen=True, slots=True)
class Span:
    """An interval of numbers; a side without an end is open to infinity."""

    low: Decimal | None
    high: Decimal | None
    low_included: bool = False
    high_included: bool = False

    def holds(self, number: int | Decimal) -> bool:
        """Whether the number lies inside."""
        if self.low is not None and (number < self.low or (number == self.low and not self.low_included)):
            return False
        return self.high is None or number < self.high or (number == self.high and self.high_included)


@dataclass(frozen=True, slots=True)
class CellTest:
    """One cell: the values, spans and blank that it lists, or everything but those.

    Args:
        text: the cell as written.
        anything: the cell is ``-``.
        values: texts, or numbers, that are listed.
        spans: comparisons and intervals that are listed.
        blank: ``null`` is listed.
        negated: the list stands inside ``not(...)``.
        of_text: true for a test of texts, false for one of numbers, None where the cell tells neither.
    """

    text: str
    anything: bool = False
    values: frozenset[str | Decimal] = frozenset()
    spans: tuple[Span, ...] = ()
    blank: bool = False
    negated: bool = False
    of_text: bool | None = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        of_text = False if self.spans else next((isinstance(value, str) for value in self.values), None)
        object.__setattr__(self, "of_text", of_text)

    def met(self, fact: Fact) -> bool | None:
        """Whether the fact meets the test; None when that is not known."""
        if self.anything:
            return True
        if fact is None:
            return self.blank and not self.negated
        if isinstance(fact, Missing):
            return self._met_by_missing(fact)
        return self._met_by_given(YES_NO[fact] if isinstance(fact, bool) else fact)

    def _met_by_given(self, fact: str | int | Decimal) -> bool:
        if self.of_text is not None and isinstance(fact, str) is not self.of_text:
            return False
        found = fact in self.values
        if not found and not isinstance(fact, str):
            found = any(span.holds(fact) for span in self.spans)
        return found is not self.negated

    def _met_by_missing(self, fact: Missing) -> bool | None:
        """One answer if all values that the fact could have agree, else not known."""
        could_be = [value for _, value in fact.options if isinstance(value, str | int | Decimal)]
        if not could_be or len(could_be) < len(fact.options):
            return None
        answers = {self.met(value) for value in could_be}
        return answers.pop() if len(answers) == 1 else None

    def ends(self) -> frozenset[Decimal]:
        """All numbers at which the test may change."""
        numbers = {value for value in self.values if isinstance(value, Decimal)}
        for span in self.spans:
            numbers.update(end for end in (span.low, span.high) if end is not None)
        return frozenset(numbers)

    def words(self) -> str:
        """The test in words, for a sentence: ``1 or 2``, ``above 200 up to 600``, ``not A``."""
        if self.anything:
            return "anything"
        listed = sorted(self.values, key=lambda value: (isinstance(value, str), value))
        parts = [str(value) for value in listed] + [span_words(span) for span in self.spans]
        parts += ["blank"] if self.blank else []
        return f"not {any_of(parts)}" if self.negated else any_of(parts)


ANYTHING = CellTest("-", anything=True)


def any_of(parts: list[str]) -> str:
    """The parts joined as a choice: ``a``, ``a or b``, ``a, b or c``."""
    return " or ".join(filter(None, (", ".join(parts[:-1]), parts[-1])))


def span_words(span: Span) -> str:
    """The span in words: ``below 10``, ``from 1 to 3``, ``above 200 up to 600``, ``between 1 and 2``."""
    low, high = span.low, span.high
    if low is None or high is None:
        above = "" if low is None else f"{'from' if span.low_included else 'above'} {low}"
        return above if high is None else f"{'up to' if span.high_included else 'below'} {high}"
    if span.low_included:
        return f"from {low} to {'' if span.high_included else 'below '}{high}" if low < high else str(low)
    return f"above {low} up to {high}" if span.high_included else f"between {low} and {high}"


@cache
def _parser() -> Lark:
    grammar = files("kitting.calculation.rule_table").joinpath("unary_tests.lark").read_text(encoding="utf-8")
    return Lark(grammar, parser="lalr")


def parse_cell(text: str, kind: str | None = None) -> CellTest:
    """The test that a cell states.

    Args:
        text: the cell; an empty one is ``-``.
        kind: TEXT or NUMBER, the type of the facts in this column; a bare ``15`` is then a text or a number. None takes
            each term as it stands.

    Raises:
        CellDoubt: the cell is no unary test, or one of the other type.
    """
    if not text.strip():
        return ANYTHING
    try:
        tree = _parser().parse(text)
    except UnexpectedInput as problem:
        raise _doubt(text, problem) from None
    if tree.data == "anything":
        return ANYTHING
    return _gather(text, _terms(_terms(tree)[-1]), kind, negated=tree.data == "negation")


def _terms(tree: Tree[Token]) -> list[Tree[Token]]:
    return [child for child in tree.children if isinstance(child, Tree)]


def _gather(text: str, terms: list[Tree[Token]], kind: str | None, *, negated: bool) -> CellTest:
    values: set[str | Decimal] = set()
    spans: list[Span] = []
    blank = False
    for term in terms:
        tokens = [token for token in term.children if isinstance(token, Token)]
        if term.data == "blank":
            blank = True
        elif term.data in _SPANS:
            _refuse_other_type(tokens[0], kind, NUMBER)
            spans.append(_SPANS[term.data](tokens))
        else:
            values.add(_value(term.data, tokens[0], kind))
    test = CellTest(text.strip(), values=frozenset(values), spans=tuple(spans), blank=blank, negated=negated)
    if kind is None and len({isinstance(value, str) for value in values} | ({False} if spans else set())) > 1:
        raise CellDoubt(1, "texts and numbers stand in one list", "put texts in quotes or numbers alone")
    return test


def _value(rule: str, token: Token, kind: str | None) -> str | Decimal:
    if rule == "number":
        return str(token) if kind == TEXT else Decimal(token)
    _refuse_other_type(token, kind, TEXT)
    if rule == "quoted":
        return token[1:-1].replace('\\"', '"').replace("\\\\", "\\")
    return token.strip()


def _refuse_other_type(token: Token, kind: str | None, is_a: str) -> None:
    if kind in (None, is_a):
        return
    at = token.column or 1
    if kind == NUMBER:
        raise CellDoubt(at, f"`{token.strip()}` is a text, this column holds numbers", "write 600, < 10 or [1..2]")
    raise CellDoubt(at, f"`{token.strip()}…` compares numbers, this column holds texts", "write the texts, with commas")


def _comparison(tokens: list[Token]) -> Span:
    end, included = Decimal(tokens[1]), tokens[0].endswith("=")
    return Span(None, end, high_included=included) if tokens[0][0] == "<" else Span(end, None, low_included=included)


def _interval(tokens: list[Token]) -> Span:
    low, high = Decimal(tokens[1]), Decimal(tokens[2])
    if low > high:
        raise CellDoubt(tokens[0].column or 1, f"the interval ends at {high} before it begins", f"[{high}..{low}]?")
    if low == high and (tokens[0] != "[" or tokens[3] != "]"):
        raise CellDoubt(tokens[0].column or 1, "the interval holds no number", f"write {low} alone")
    return Span(low, high, low_included=tokens[0] == "[", high_included=tokens[3] == "]")


_SPANS: dict[str, Callable[[list[Token]], Span]] = {"comparison": _comparison, "interval": _interval}


def _doubt(text: str, problem: UnexpectedInput) -> CellDoubt:
    """The parser's complaint in the words of a person who fills in tables."""
    if isinstance(problem, UnexpectedToken) and problem.token.type == "$END":
        return CellDoubt(len(text.rstrip()) + 1, "the cell ends too early", _EXAMPLES)
    at = max(problem.column, 1)
    read = text[at - 1 : at]
    if isinstance(problem, UnexpectedCharacters | UnexpectedToken) and read == ";":
        return CellDoubt(at, "a list is written with commas, not semicolons", text.replace(";", ",").strip())
    if read in {"“", "”"}:
        return CellDoubt(at, "curly quotes are not read", "straight ones, or none: bare words count as text")
    if read == "=":
        return CellDoubt(at, "an exact value stands alone", "write 600, not = 600; or <= and >=")
    if read == "-" and text.strip() != "-":
        return CellDoubt(at, "- means anything and stands alone in its cell", 'in a text, put it in quotes: "-A"')
    return CellDoubt(at, f"`{text[at - 1 :].strip()}` can't be read here", _EXAMPLES)
