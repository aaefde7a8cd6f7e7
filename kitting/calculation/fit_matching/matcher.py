"""Which items serve a need, in the order of choice, with the reason; or why none does."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import fields, replace
from operator import attrgetter
from typing import Any

import pandas as pd

from kitting.calculation.cable_geometry import Band
from kitting.calculation.fit_matching import reasons
from kitting.calculation.fit_matching.checks import judge, stand
from kitting.calculation.fit_matching.parts import Part, read_parts
from kitting.calculation.fit_matching.results import ACTIVE, CLASS, INSULATION, JACKET, CheckResult, failed
from kitting.calculation.fit_matching.stand_ins import StandIns, higher_class_may_serve
from kitting.calculation.fit_matching.survey import Found, Judged, Survey
from kitting.calculation.needs import CANT_TELL, CHOSEN, NO_ITEM, Match, NearMiss, Need, Side
from kitting.calculation.questions import Missing

# Check, what the diameter is over, and the column of the schedule where an answer is expected.
TO_MEASURE = ((INSULATION, "insulation", "reel"), (JACKET, "jacket", "jacket low"))
_BESIDE_SIDES = attrgetter(*(field.name for field in fields(Need) if field.name != "sides"))


class Matcher:
    """Answers needs from one items frame; equal needs are answered once.

    Args:
        items: the items frame, one row an item.
        stand_ins: the stand ins frame; only approved rows count.
        estimates: the policy: ``accept`` lets a calculated band fit, ``measure`` asks for a gauge reading.
    """

    def __init__(self, items: pd.DataFrame, stand_ins: pd.DataFrame, *, estimates: str) -> None:
        self._estimates = estimates
        self._parts = {part.stock_code: part for part in read_parts(items)}
        self._by_kind: dict[str, list[Part]] = {}
        for part in self._parts.values():
            self._by_kind.setdefault(part.kind, []).append(part)
        self._stand_ins = StandIns(stand_ins, self._parts, estimates=estimates)
        self._matches: dict[Need, Match] = {}
        self._surveys: dict[tuple[Hashable, bool], Survey] = {}

    def match(self, need: Need) -> Match:
        """The items that serve a need, or the reason that none does or that nobody can tell."""
        match = self._matches.get(need)
        if match is None:
            found = self._survey(need, wide=False).find(need)
            match = self._chosen(need, found) if found.serving else self._not_chosen(need)
            self._matches[need] = match
        return match

    def serves(self, need: Need, stock_code: str) -> tuple[bool | None, tuple[CheckResult, ...]]:
        """Whether one named item serves a need, and every check in order.

        The item counts as named by a person, so a complete set is not refused for being one.

        Returns:
            True, False, or None where a fact is missing or the diameter must be measured; and the results.
        """
        part = self._parts.get(stock_code)
        if part is None:
            return False, (failed(ACTIVE, f"{stock_code} is not on the items sheet"),)
        results = judge(stand(part, need, named=True), need, estimates=self._estimates)
        if any(result.passed is False for result in results):
            return False, results
        return (None if any(result.passed is None for result in results) else True), results

    def near_misses(self, need: Need) -> tuple[NearMiss, ...]:
        """The three nearest items that do not serve a need, also where others do. Not approved for use."""
        _, missed = self._survey(need, wide=True).possible_and_nearest(need)
        return tuple(reasons.near_miss(*one) for one in missed)

    def not_approved(self, need: Need) -> tuple[str, ...]:
        """Items that pass every hard check and that only an approval keeps from serving, in the order of choice.

        Complete sets that nobody named, a class above where no interface is involved, and stand-ins whose approval
        has an end or a date.
        """
        if need.fixed_code is not None:
            return ()
        match = self.match(need)
        ended = {option.stock_code for option in match.stand_ins}
        found = [
            part
            for part in self._by_kind.get(need.kind, ())
            if part.stock_code not in match.codes and (part.stock_code in ended or self._passes_unnamed(part, need))
        ]
        return tuple(part.stock_code for part in sorted(found, key=attrgetter("order")))

    def _passes_unnamed(self, part: Part, need: Need) -> bool:
        results = judge(stand(part, need, named=True), need, estimates=self._estimates)
        waived = CLASS if higher_class_may_serve(part, need) else ""
        return all(result.passed is True or result.check == waived for result in results)

    def by_reading(self, need: Need) -> tuple[str, ...]:
        """Items that nothing but a measurement keeps from serving, each with the gauge reading that would do."""
        possible, _ = self._survey(need, wide=True).possible_and_nearest(need)
        return tuple(
            f"{standing.part.stock_code}: {result.sentence}"
            for standing, results in possible
            for result in results
            if result.passed is None and result.missing is None
        )

    def _survey(self, need: Need, *, wide: bool) -> Survey:
        """The parts that may serve (same interface, or no such limit), or for ``wide`` all parts of the kind."""
        wide = wide or not isinstance(need.interface, str) or need.fixed_code is not None
        key = _without_diameters(need), wide
        survey = self._surveys.get(key)
        if survey is None:
            named = need.fixed_code is not None
            parts = self._named(need.fixed_code) if need.fixed_code is not None else self._by_kind.get(need.kind, [])
            if not wide:
                parts = [part for part in parts if part.interface in {None, need.interface}]
            survey = self._surveys[key] = Survey(parts, need, named=named, estimates=self._estimates)
        return survey

    def _named(self, code: str) -> list[Part]:
        return [self._parts[code]] if code in self._parts else []

    def _chosen(self, need: Need, found: Found) -> Match:
        standings = [standing for standing, _ in found.serving]
        codes = tuple(standing.part.stock_code for standing in standings)
        return Match(
            status=CHOSEN,
            codes=codes,
            stand_ins=self._stand_ins.options(need, codes),
            rules=tuple(standing.alternative.rule if standing.alternative else "" for standing in standings),
            margins_nm=tuple(margin for _, margin in found.serving),
            sentence=reasons.chosen_sentence(standings[0], need, found.refused),
            estimated=_rests_on_estimate(standings[0].part, need),
        )

    def _not_chosen(self, need: Need) -> Match:
        possible, missed = self._survey(need, wide=True).possible_and_nearest(need)
        misses = tuple(reasons.near_miss(*one) for one in missed)
        if not possible:
            sentence = reasons.no_item_sentence(need, misses)
            if need.fixed_code is not None and need.fixed_code not in self._parts:
                sentence = f"{need.fixed_code} is not on the items sheet"
            return Match(NO_ITEM, (), (), (), (), sentence, near_misses=misses)
        missing, measured = _what_is_missing(need, possible)
        options = [self._options(need, fact) for fact in missing if fact.options]
        sentence = reasons.open_sentence(missing, measured, options)
        return Match(CANT_TELL, (), (), (), (), sentence, missing=(*missing, *measured), near_misses=misses)

    def _options(self, need: Need, fact: Missing) -> str:
        """What each possible value of a missing fact would choose."""
        answers = [(label, self._outcome(_settled(need, fact, label))) for label, _ in fact.options]
        return reasons.option_words(answers)

    def _outcome(self, need: Need) -> str:
        match = self.match(need)
        if match.status == CHOSEN:
            return f"would choose {match.codes[0]}"
        return "would find no item" if match.status == NO_ITEM else "would leave more to ask"


def _without_diameters(need: Need) -> Hashable:
    """Equal for needs that differ in nothing but diameters."""
    return _BESIDE_SIDES(need), tuple(_bare(side) for side in need.sides)


def _bare(side: Side) -> Side:
    return Side(side.conductor_size, side.metal, side.strand, None, None, side.shield)


def _rests_on_estimate(part: Part, need: Need) -> bool:
    limited = part.barrels[0].doi_low_nm is not None or part.barrels[0].doi_high_nm is not None
    return limited and any(isinstance(side.doi, Band) and side.doi.estimated for side in need.sides)


def _what_is_missing(need: Need, possible: Sequence[Judged]) -> tuple[tuple[Missing, ...], tuple[Missing, ...]]:
    """The facts that are missing, and those that only a measurement gives; each once."""
    still_open = [(standing, result) for standing, results in possible for result in results if result.passed is None]
    missing = tuple(dict.fromkeys(result.missing for _, result in still_open if result.missing is not None))
    measured = []
    for check, over_what, column in TO_MEASURE:
        told = [(standing.part.stock_code, result) for standing, result in still_open if result.check == check]
        told = [(code, result) for code, result in told if result.missing is None]
        if told:
            why = reasons.measure_words(need, over_what, told)
            measured.append(Missing(f"diameter over {over_what}", why, "schedule", column))
    return missing, tuple(measured)


def _settled(need: Need, fact: Missing, label: str) -> Need:
    """The need with one possible value of a missing fact in its place, wherever the need reads it."""
    return replace(
        need,
        sides=tuple(_replaced(side, fact, label) for side in need.sides),
        **_values(need, fact, label),
    )


def _replaced(side: Side, fact: Missing, label: str) -> Side:
    return replace(side, **_values(side, fact, label))


def _values(holder: Need | Side, fact: Missing, label: str) -> Mapping[str, Any]:
    """Fields that hold this missing fact, each with the value that the label gives it."""
    found = {}
    for field in fields(holder):
        value = getattr(holder, field.name)
        if isinstance(value, Missing) and _same_fact(value, fact) and label in dict(value.options):
            found[field.name] = dict(value.options)[label]
    return found


def _same_fact(one: Missing, other: Missing) -> bool:
    return (one.fact, one.sheet, one.column, one.row) == (other.fact, other.sheet, other.column, other.row)
