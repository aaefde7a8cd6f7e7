"""Examples that decision tables must keep: for these facts this kind, class or stock code is given, or refused."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import partial
from typing import Any

from kitting.calculation.cable_geometry import Band
from kitting.calculation.conductor_sizes import parse_size
from kitting.calculation.doubts import Doubt
from kitting.calculation.fit_matching import Matcher
from kitting.calculation.kinds import KINDS
from kitting.calculation.lengths import parse_length
from kitting.calculation.needs import Alternative, Need, Side
from kitting.calculation.questions import Missing
from kitting.calculation.rule_book import RuleBook
from kitting.calculation.rule_table import FORMS, Fact, Hits, Rule, hits
from kitting.calculation.rule_table.cell_tests import NUMBER
from kitting.calculation.rule_table.rule import FREE_WAYS
from kitting.calculation.sheets.answers import BLANK
from kitting.calculation.sheets.book import Book
from kitting.calculation.sheets.raw import RawSheet, trimmed
from kitting.errors import Refusal

SHEET = "rule examples"
GIVE, REFUSE, DROP = "give", "refuse", "drop"
WHEN = "when "
TEXTS = ("example", "table", "must", "gives", "quantity", "stock code", "note")
# What a part is fitted by and no table reads; lengths carry their unit in the cell.
LENGTHS = ("DOI low", "DOI high", "jacket low", "jacket high")
FIT_FACTS = (*LENGTHS, "MCOV kV", "gives interface", "system")


@dataclass(frozen=True, slots=True)
class Example:
    """One example.

    Args:
        name: told apart from others by it.
        table: decision table, such as ``end accessories``.
        must: GIVE or REFUSE; DROP takes the example of that name away.
        gives: kind of part; in the table of classes the class in kV.
        quantity: stock units that must be given; '' for any.
        stock_code: the code that must, or must not, be among those that serve; '' where only the rules are asked.
        facts: text by name of the fact; what is not named is not known, ``(blank)`` is blank.
        note: why it stands.
    """

    name: str
    table: str
    must: str
    gives: str
    quantity: str
    stock_code: str
    facts: Mapping[str, str]
    note: str = ""


@dataclass(frozen=True, slots=True)
class Failed:
    """An example that does not hold, and why in one sentence."""

    name: str
    sentence: str


def read_examples(sheet: RawSheet) -> tuple[Example, ...]:
    """The examples of a sheet with columns ``example, table, must, gives, quantity, stock code, note, when <fact>``.

    Raises:
        Refusal: ``examples-in-doubt``: names row and column of every cell that can't be used.
    """
    headers = [trimmed(header) for header in sheet.headers]
    known = {*TEXTS, *(WHEN + fact for form in FORMS.values() for fact in form.conditions)}
    known |= {WHEN + fact for fact in FIT_FACTS}
    doubts = [f"row 1: there is no column {header}" for header in headers if header and header not in known]
    found: dict[str, Example] = {}
    for row, cells in zip(sheet.cells.index, sheet.cells.itertuples(index=False, name=None), strict=True):
        texts = {header: trimmed(text) for header, text in zip(headers, cells, strict=True) if header}
        if any(texts.values()):
            example = _example(texts)
            doubts += [f"row {row}, {doubt}" for doubt in _doubts(example, found)]
            found[example.name] = example
    if doubts:
        raise Refusal("examples-in-doubt", f"sheet {SHEET} can't be used: {'; '.join(doubts)}", {"doubts": doubts})
    return tuple(found.values())


def _example(texts: Mapping[str, str]) -> Example:
    name, table, must, gives, quantity, code, note = (texts.get(header, "") for header in TEXTS)
    facts = {header.removeprefix(WHEN): text for header, text in texts.items() if header.startswith(WHEN) and text}
    return Example(name, table, must, gives, quantity, code, facts, note)


def _doubts(example: Example, before: Mapping[str, Example]) -> Iterator[str]:
    if not example.name or example.name in before:
        yield f"example: {example.name or 'blank'} must be a name that no other example has"
    if example.must not in (GIVE, REFUSE, DROP):
        yield f"must: {example.must or 'blank'} is none of give, refuse, drop"
    if example.must == DROP:
        return
    form = FORMS.get(example.table)
    if form is None:
        yield f"table: {example.table or 'blank'} is none of {', '.join(FORMS)}"
        return
    if not form.unique and example.gives not in KINDS:
        yield f"gives: {example.gives or 'blank'} is no kind of part"
    readings: list[tuple[str, Callable[[], object]]] = [
        (f"{WHEN}{fact}", partial(fact_of, example.table, fact, text)) for fact, text in example.facts.items()
    ]
    readings += [("quantity", partial(_quantity, example.quantity))] if example.quantity else []
    for header, read in readings:
        try:
            read()
        except Doubt as doubt:
            yield f"{header}: {doubt.problem}"


def fact_of(table: str, fact: str, text: str) -> Fact:
    """The value of a fact's text.

    Raises:
        Doubt: it can't be read, or the table does not know the fact.
    """
    condition = FORMS[table].conditions.get(fact)
    if condition is None and fact not in FIT_FACTS:
        raise Doubt(f"the table {table} does not read {fact}")
    if text == BLANK:
        return None
    if fact in LENGTHS:
        return parse_length(text, None)
    if fact == "conductor size":
        return str(parse_size(text))
    if fact == "MCOV kV" or (condition is not None and condition.type == NUMBER):
        try:
            return Decimal(text)
        except InvalidOperation:
            raise Doubt(f"{text} is no number") from None
    if condition is not None and condition.values and text not in condition.values:
        raise Doubt(f"{text} is none of {', '.join(condition.values)}")
    return text


def failing(examples: Sequence[Example], rules: RuleBook, book: Book) -> tuple[Failed, ...]:
    """The examples that these rules, with the items of the book, do not keep."""
    matcher = Matcher(book.frames["items"], book.frames["stand ins"].iloc[:0], estimates=book.policies.estimates)
    found = ((example.name, _fault(example, rules, matcher)) for example in examples)
    return tuple(Failed(name, fault) for name, fault in found if fault)


def _fault(example: Example, rules: RuleBook, matcher: Matcher) -> str:
    """Why an example does not hold; '' where it does."""
    table = rules.table(example.table)
    stated = {fact: fact_of(example.table, fact, text) for fact, text in example.facts.items()}
    facts = {name: stated[name] if name in stated else _unstated(name) for name in table.form.conditions}
    said = hits(table, facts)
    if table.form.unique:
        return _fault_of_class(example, said)
    giving = [rule for rule in said.definite if rule.kind == example.gives]
    undecided = [one for one in said.possible if one.rule.kind == example.gives]
    if undecided:
        missing = ", ".join(dict.fromkeys(fact.fact for one in undecided for fact in one.missing))
        return f"nobody can tell whether {example.gives} is given: state {missing}"
    if not giving:
        return f"{example.gives} is given by no rule" if example.must == GIVE else ""
    if example.stock_code:
        return _fault_of_code(example, giving, {**facts, **stated}, matcher)
    if example.must == REFUSE:
        return f"{example.gives} is given by {giving[0].sentence}"
    counts = {rule.quantity for rule in giving}
    if example.quantity and counts != {_quantity(example.quantity)}:
        return f"{example.quantity} {example.gives} must be given, not {' or '.join(sorted(map(str, counts)))}"
    return ""


def _quantity(text: str) -> Decimal | str:
    """A count of stock units, or the word for the free ways of a junction.

    Raises:
        Doubt: it is neither.
    """
    if text == FREE_WAYS:
        return text
    try:
        return Decimal(text)
    except InvalidOperation:
        raise Doubt(f"{text} is no quantity") from None


def _unstated(name: str) -> Missing:
    return Missing(name, f"the example does not state {name}", SHEET, WHEN + name)


def _fault_of_class(example: Example, said: Hits) -> str:
    classes = [rule.results["class kV"] for rule in said.definite]
    if said.possible:
        return "nobody can tell the class: state all facts"
    if example.must == REFUSE:
        return f"class {example.gives} kV is given" if example.gives in classes else ""
    return "" if classes == [example.gives] else f"class {' and '.join(classes) or 'none'} is given"


def _fault_of_code(example: Example, giving: Sequence[Rule], facts: Mapping[str, Fact], matcher: Matcher) -> str:
    match = matcher.match(_need(giving, facts))
    serves = example.stock_code in match.codes
    if example.must == GIVE:
        return "" if serves else f"{example.stock_code} does not serve: {match.sentence}"
    return f"{example.stock_code} serves, and must not" if serves else ""


def _need(giving: Sequence[Rule], facts: Mapping[str, Any]) -> Need:
    """What the rules ask of a part where these facts hold."""
    best = min(giving, key=lambda rule: (rule.rank, rule.order))
    kind = KINDS[best.kind]
    at_interface = "interface" in kind.required
    one_phase = facts.get("phases") == 1 and facts.get("earthing") == "multigrounded wye"
    current = facts.get("current A")
    return Need(
        kind=best.kind,
        fitted_by=best.fitted_by,
        sides=() if best.fitted_by == "none" else (_side(best.fitted_by, facts),),
        alternatives=tuple(Alternative(rule.rank, rule.limits, rule.id, rule.reason(facts)) for rule in giving),
        class_kv=facts.get("class kV") if at_interface or "classes_kv" in kind.required else None,
        interface=facts.get("interface") if at_interface else None,
        gives_interface=facts.get("gives interface"),
        current_a=int(current) if at_interface and isinstance(current, Decimal) else None,
        switching=facts.get("switching") if at_interface else None,
        between_phases=not one_phase,
        mcov_kv=facts.get("MCOV kV", _unstated("MCOV kV")) if kind.arrester else None,
    )


def _side(fitted_by: str, facts: Mapping[str, Any]) -> Side:
    if "insulation" in fitted_by:
        return Side(doi=_band(facts, "DOI"))
    if "jacket" in fitted_by:
        return Side(jacket=_band(facts, "jacket"), shield=facts.get("shield"))
    size = facts["conductor size"] if "conductor size" in facts else _unstated("conductor size")
    return Side(
        conductor_size=parse_size(size) if isinstance(size, str) else size,
        metal=facts["metal"] if "metal" in facts else _unstated("metal"),
        strand=facts.get("strand"),
    )


def _band(facts: Mapping[str, Any], name: str) -> Band | Missing:
    low, high = facts.get(f"{name} low"), facts.get(f"{name} high")
    if low is None and high is None:
        return _unstated(f"{name} low")
    return Band(low, high, "schedule")
