"""May one part stand in for another? Both compared fact by fact, for one line or for a whole system."""

from dataclasses import dataclass

from kitting.calculation.expansion.lines import line_texts
from kitting.calculation.expansion.settings import read_systems
from kitting.calculation.expansion.slots import Template
from kitting.calculation.fit_matching.comparing import FactBeside, compare_parts, need_of_part
from kitting.calculation.fit_matching.parts import Part, read_parts
from kitting.calculation.job_dates import read_job_dates
from kitting.calculation.needs import Need
from kitting.calculation.planning import expand
from kitting.calculation.rule_book import rule_book
from kitting.calculation.sheets.book import Book
from kitting.errors import Refusal


@dataclass(frozen=True, slots=True)
class Comparison:
    """All facts of two stock codes beside each other."""

    wanted: str
    stand_in: str
    facts: tuple[FactBeside, ...]

    @property
    def forbidden_by(self) -> tuple[FactBeside, ...]:
        """The checks for whose sake nobody may approve it, in the order of checks."""
        return tuple(fact for fact in self.facts if fact.forbids)


def compare_stand_in(book: Book, *, wanted: str, stand_in: str, line: str = "", system: str = "") -> Comparison:
    """Compare a stand-in with the stock code it would be taken for.

    Args:
        book: the sheets.
        wanted: the stock code that serves.
        stand_in: the one that would be taken instead.
        line: the line for which it is asked, judged with its cables; '' for all lines of the code.
        system: the only system on which it would be used; '' for any.

    Raises:
        Refusal: ``unknown-stock-code``; ``same-code``; ``unknown-system``; ``no-such-line``; ``not-its-code``: the
            wanted code does not serve the line, so nothing can stand in for it there.
    """
    parts = {part.stock_code: part for part in read_parts(book.frames["items"])}
    for code in (wanted, stand_in):
        if code not in parts:
            raise Refusal("unknown-stock-code", f"There is no stock code {code}.", {"stock_code": code})
    if wanted == stand_in:
        raise Refusal("same-code", f"{wanted} does not stand in for itself.", {"stock_code": wanted})
    need = _need_of_line(book, line, wanted) if line else _need_on_system(book, parts[wanted], system)
    facts = compare_parts(parts[wanted], parts[stand_in], need, at_a_line=bool(line), estimates=book.policies.estimates)
    return Comparison(wanted, stand_in, facts)


def templates_by_line(book: Book) -> dict[str, Template]:
    """What each line asks and which codes serve it, by the line's name."""
    expanded = expand(book, read_job_dates(book))
    templates = expanded.scene.lines.templates
    names = line_texts(expanded.frame, templates)
    return {name: templates[place] for name, place in zip(names, expanded.frame["template"].tolist(), strict=True)}


def template_of_line(book: Book, line: str) -> Template:
    """What one line asks and which codes serve it.

    Raises:
        Refusal: ``no-such-line``.
    """
    found = templates_by_line(book).get(line)
    if found is None:
        message = f"No open line is named {line}; copy its name from the requirements."
        raise Refusal("no-such-line", message, {"line": line})
    return found


def _need_of_line(book: Book, line: str, wanted: str) -> Need:
    template = template_of_line(book, line)
    if template.need is None or wanted not in template.codes:
        served = f"; it takes {' or '.join(template.codes)}" if template.codes else f": {template.sentence}"
        message = f"{wanted} does not serve {line}, so nothing can stand in for it there{served}."
        raise Refusal("not-its-code", message, {"line": line, "stock_code": wanted, "codes": template.codes})
    return template.need


def _need_on_system(book: Book, part: Part, system: str) -> Need:
    if not system:
        return need_of_part(part, class_kv=None, mcov_kv=None)
    found = read_systems(book, rule_book(book.rules)).get(system)
    if found is None:
        raise Refusal("unknown-system", f"There is no system {system}.", {"system": system})
    return need_of_part(part, class_kv=found.class_kv, mcov_kv=found.mcov_need_kv)
