"""Would today's rules and facts refuse a part that is on the line? Each is checked against what its place asks now."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from kitting.calculation.cable_geometry import GAUGE, Band
from kitting.calculation.doubts import Doubt
from kitting.calculation.expansion.fitting import Fitter
from kitting.calculation.expansion.lines import SIDE_JOINT, SIDE_POSITION, SIDES
from kitting.calculation.expansion.slots import Template
from kitting.calculation.fit_matching import CheckResult, Matcher
from kitting.calculation.job_dates import read_job_dates
from kitting.calculation.lengths import parse_length
from kitting.calculation.needs import Need
from kitting.calculation.planning import Expanded, expand
from kitting.calculation.questions import Missing
from kitting.calculation.sheets.book import Book

SERVES, REFUSED, CANT_CHECK = "serves", "refused", "can't check"
_WORST_FIRST = (REFUSED, CANT_CHECK, SERVES)
_OF_A_POSITION = (SIDES[SIDE_JOINT], SIDES[SIDE_POSITION])  # their lines are the position's, whichever job did them


@dataclass(frozen=True, slots=True, kw_only=True)
class InstalledPart:
    """A stock code on the line, and where, in the words of the requirements table.

    Args:
        job, run, side, structure, position, kind: of the line that it was fitted for.
        phases: letters at which it sits, '' where the line has none.
        stock_code: what was fitted.
        spare: it was fitted from the spares, whose line names no end.
        gauge: what the diameter gauge read then, with its unit; '' for nothing.
        day: local date of the cutover (ISO), for stand-ins that were approved within dates.
    """

    job: str
    run: str = ""
    side: str
    structure: str = ""
    position: str = ""
    phases: str = ""
    kind: str
    stock_code: str
    spare: bool = False
    gauge: str = ""
    day: str = ""

    @property
    def place(self) -> "_Place":
        """What today's lines are found by."""
        return _place(self.job, self.run, self.side, self.structure, self.position)


@dataclass(frozen=True, slots=True)
class Finding:
    """SERVES; REFUSED with the first check that fails; or CANT_CHECK with the fact that is missing; and why."""

    state: str
    check: str = ""
    sentence: str = ""


class _Place(NamedTuple):
    """An end of a run, a joint, a position, a location or a job."""

    job: str
    run: str
    side: str
    structure: str
    position: str


_Asked = list[tuple[str, Template]]  # phases and what is asked there


def recheck(book: Book, parts: Sequence[InstalledPart]) -> tuple[Finding, ...]:
    """Check installed parts against what the rules and facts of a book ask at their places, each in its order.

    The book is expanded once, and equal parts are checked once.

    Raises:
        Refusal: the rule book can't be read.
    """
    expanded = expand(book, read_job_dates(book), fitter=_AsRuled)
    asked = _asked(expanded)
    matcher = expanded.scene.fitter.matcher
    found = {part: _finding(part, asked.get(part.place), matcher) for part in dict.fromkeys(parts)}
    return tuple(found[part] for part in parts)


class _AsRuled(Fitter):
    """Chooses nothing: a set or a one-piece housing that would be chosen today must not hide what others need."""

    def fit(self, templates: Sequence[Template]) -> list[Template]:
        """All that the rules give."""
        return list(templates)


def _place(job: str, run: str, side: str, structure: str, position: str) -> _Place:
    return _Place("" if side in _OF_A_POSITION else job, run, side, structure, position)


def _asked(expanded: Expanded) -> Mapping[_Place, _Asked]:
    """What is asked at each end and position that is on the books, nothing among it, and at locations and jobs."""
    lines, field = expanded.scene.lines, expanded.scene.field
    ends = [_place(run.job, run.run, SIDES[side], *key) for run in field.runs for side, key in enumerate(run.ends)]
    positions = [_place("", "", side, *key) for key in field.positions for side in _OF_A_POSITION]
    found: dict[_Place, _Asked] = {place: [] for place in (*ends, *positions)}
    for owner_number, template in zip(lines.owner_of, lines.template_of, strict=True):
        one = lines.owners[owner_number]
        place = _place(one.job, one.run, SIDES[one.side], one.structure, one.position)
        found.setdefault(place, []).append((one.phases, lines.templates[template]))
    return found


def _finding(part: InstalledPart, asked: _Asked | None, matcher: Matcher) -> Finding:
    """The worst over the phases; at each phase one line that it serves is enough."""
    if part.spare:
        return _cant("end", "it was a spare, and nobody noted the end that it went to")
    if asked is None:
        return _cant("schedule", "no cable or position of the live schedule stands here")
    alike = [(phases, template) for phases, template in asked if template.need and template.kind == part.kind]
    if not alike:
        return _not_asked(part, [template for _, template in asked])
    findings = []
    for phase in part.phases or [""]:
        here = [template for phases, template in alike if phase in phases or not phases]
        findings += [_best([_against(part, template, matcher) for template in here])] if here else []
    if not findings:
        return _cant("phases", f"today's lines are for phases {', '.join(phases for phases, _ in alike)} only")
    return min(findings, key=lambda one: _WORST_FIRST.index(one.state))


def _best(findings: Sequence[Finding]) -> Finding:
    return max(findings, key=lambda one: _WORST_FIRST.index(one.state))


def _not_asked(part: InstalledPart, asked: Sequence[Template]) -> Finding:
    """No line of the kind: nobody can tell which are needed, or the facts of the place have changed since."""
    undecided = next((one for one in asked if one.need is None), None)
    if undecided is not None:
        fact = undecided.missing[0].fact if undecided.missing else undecided.kind
        return _cant(fact, undecided.sentence)
    kinds = ", ".join(dict.fromkeys(one.kind for one in asked)) or "nothing"
    return _cant("rule", f"today's rules ask for no {part.kind} here, but for {kinds}: were the facts changed since?")


def _against(part: InstalledPart, template: Template, matcher: Matcher) -> Finding:
    need = template.need
    if need is None or template.answer:
        return _cant("rule", template.sentence)
    need = _gauged(need, part.gauge)
    serves, results = matcher.serves(need, part.stock_code)
    if serves or _stands_in(part, need, matcher):
        return Finding(SERVES)
    if serves is None:
        first = next(one for one in results if one.passed is None)
        return _cant(first.missing.fact if first.missing else first.check, first.sentence)
    failed = [one for one in results if one.passed is False]
    return Finding(REFUSED, failed[0].check, "; ".join(map(_sentence, failed)))


def _sentence(result: CheckResult) -> str:
    return f"{result.check}: {result.sentence}"


def _gauged(need: Need, gauge: str) -> Need:
    """The need with the diameter that was gauged when the part was fitted: it beats every other origin."""
    if not gauge.strip() or len(need.sides) != 1 or need.sides[0].doi is None:
        return need
    try:
        read = parse_length(gauge, None)
    except Doubt as doubt:
        unread = Missing("gauge reading", f"it was noted as {gauge}: {doubt}", "as-installed", "gauge")
        return replace(need, sides=(replace(need.sides[0], doi=unread),))
    return replace(need, sides=(replace(need.sides[0], doi=Band(read, read, GAUGE)),))


def _stands_in(part: InstalledPart, need: Need, matcher: Matcher) -> bool:
    """Whether it was approved to stand in, on the day of its cutover, for a part that serves."""
    return any(
        one.stock_code == part.stock_code
        and one.valid_from <= part.day
        and (not one.valid_to or part.day <= one.valid_to)
        for one in matcher.match(need).stand_ins
    )


def _cant(fact: str, sentence: str) -> Finding:
    return Finding(CANT_CHECK, fact, sentence)
