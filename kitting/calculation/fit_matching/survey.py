"""Parts judged once for all needs that differ only in diameters, then searched by diameter.

The ranges stand in arrays of whole nanometres, so a need costs a few comparisons however many parts there are.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from kitting.calculation.cable_geometry import Band
from kitting.calculation.fit_matching.checks import Standing, fit_margin, judge, stand
from kitting.calculation.fit_matching.fits import may_fit
from kitting.calculation.fit_matching.parts import Length, Part
from kitting.calculation.fit_matching.results import MILLIONTHS, CheckResult
from kitting.calculation.needs import Need
from kitting.calculation.questions import Missing

Lengths = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]
Judged = tuple[Standing, tuple[CheckResult, ...]]

OPEN = 2**60  # beyond any diameter: an end that the part doesn't limit, or that the cable leaves unknown
NO_MARGIN = OPEN // 2  # a margin to ends that are all open
NEAREST = 3


class Ranges:
    """Lowest and highest diameter of each part, in the parts' order.

    A part without limits reaches past every band; one with a limit on one side ends a step short of that, so that a
    band with an unknown end never lies inside it.
    """

    def __init__(self, pairs: Iterable[tuple[Length, Length]]) -> None:
        ends = [
            (-OPEN, OPEN) if low is high is None else (_or(low, 1 - OPEN), _or(high, OPEN - 1)) for low, high in pairs
        ]
        table = np.array(ends, dtype=np.int64).reshape(-1, 2)
        self.lows: Lengths = np.ascontiguousarray(table[:, 0])
        self.highs: Lengths = np.ascontiguousarray(table[:, 1])

    def margins(self, low_nm: int, high_nm: int) -> Lengths:
        """The smaller side by which each range holds the band; negative where it doesn't hold it."""
        margins: Lengths = np.minimum(low_nm - self.lows, self.highs - high_nm)
        return margins

    def gaps(self, bands: Sequence[Band]) -> Lengths:
        """How far each range lies from the first band that it doesn't touch, in millionths of the range's end."""
        gaps: Lengths = np.zeros(len(self.lows), dtype=np.int64)
        for band in bands:
            for distance, end in (
                (np.zeros(1, np.int64) if band.low_nm is None else band.low_nm - self.highs, self.highs),
                (np.zeros(1, np.int64) if band.high_nm is None else self.lows - band.high_nm, self.lows),
            ):
                apart = (distance > 0) & (gaps == 0)
                gaps = np.where(apart, np.maximum(distance * MILLIONTHS // np.maximum(end, 1), 1), gaps)
        return gaps


def _or(end: Length, otherwise: int) -> int:
    return end if isinstance(end, int) else otherwise


def outer(bands: Sequence[Band], estimates: str) -> tuple[int, int]:
    """The band around all the bands; endless where one of them can't show a fit."""
    if all(may_fit(band, estimates) for band in bands):
        lows = [band.low_nm for band in bands if band.low_nm is not None]
        highs = [band.high_nm for band in bands if band.high_nm is not None]
        return min(lows), max(highs)
    return -OPEN, OPEN


@dataclass(frozen=True, slots=True)
class Found:
    """The parts that serve with their margins in nanometres, and the nearest that only a diameter refuses."""

    serving: list[tuple[Standing, int | None]]
    refused: Judged | None


def _search(sought: Sequence[tuple[Ranges, int, int]]) -> tuple[Mask, list[int | None]]:
    """Which parts hold all bands, and the smallest margin of those; None for a part without limits."""
    ranges, low_nm, high_nm = sought[0]
    margins = ranges.margins(low_nm, high_nm)
    for ranges, low_nm, high_nm in sought[1:]:
        margins = np.minimum(margins, ranges.margins(low_nm, high_nm))
    held = margins >= 0
    return held, [None if margin >= NO_MARGIN else margin for margin in margins[held].tolist()]


class Survey:
    """The parts of one group, judged on everything but diameters, in the order of choice.

    Parts with two openings or a doubtful range are kept apart and judged one by one.
    """

    def __init__(self, parts: Iterable[Part], need: Need, *, named: bool, estimates: str) -> None:
        self._estimates = estimates
        self.all = sorted((stand(part, need, named=named) for part in parts), key=choice_order)
        self._plain = [standing for standing in self.all if not _one_by_one(standing.part)]
        self._apart = [standing for standing in self.all if _one_by_one(standing.part)]
        self._good = [standing for standing in self._plain if _passes(standing.results)]
        self._good_insulation, self._good_jackets = _ranges(self._good)
        self._insulation, self._jackets = _ranges(self._plain)
        self._fails = np.array([_failing(standing.results) for standing in self._plain], dtype=np.int64)
        self._gaps = np.array([_gap(standing.results) for standing in self._plain], dtype=np.int64)
        self._bare = np.array([standing.shield.passed is not False for standing in self._plain], dtype=np.bool_)

    def find(self, need: Need) -> Found:
        """The parts that pass every check in the order of choice, with their margins, and the nearest refused one."""
        insulations, jackets = bands_of(need)
        if insulations is None or jackets is None:
            return Found(self._judged_one_by_one(self.all, need), None)
        sought = [
            (ranges, *outer(bands, self._estimates))
            for bands, ranges in ((insulations, self._good_insulation), (jackets, self._good_jackets))
            if bands
        ]
        if sought:
            held, margins = _search(sought)
            found = [(self._good[place], margin) for place, margin in zip(held.nonzero()[0], margins, strict=True)]
        else:
            held, found = None, [(standing, None) for standing in self._good]
        if self._apart:
            found += self._judged_one_by_one(self._apart, need)
            found.sort(key=lambda one: choice_order(one[0]))
        refused = self._refused(need, *sought[0][1:], held) if insulations and found and held is not None else None
        return Found(found, refused)

    def _judged_one_by_one(self, standings: list[Standing], need: Need) -> list[tuple[Standing, int | None]]:
        return [
            (standing, fit_margin(standing.part, need))
            for standing in standings
            if _passes(judge(standing, need, estimates=self._estimates))
        ]

    def _refused(self, need: Need, low_nm: int, high_nm: int, held: Mask) -> Judged | None:
        """Of the parts that only a diameter keeps from serving, the one whose range reaches nearest."""
        if held.all():
            return None
        ranges = self._good_insulation
        distance = np.maximum(low_nm - ranges.highs, ranges.lows - high_nm)
        nearest = self._good[int(np.where(held, OPEN, distance).argmin())]
        return nearest, judge(nearest, need, estimates=self._estimates)

    def possible_and_nearest(self, need: Need) -> tuple[list[Judged], list[Judged]]:
        """The parts of which no check fails, in the order of choice, and the three nearest of those that fail."""
        judged = [(each, judge(each, need, estimates=self._estimates)) for each in self._shortlist(need)]
        possible = [one for one in judged if not _failing(one[1])]
        missed = [one for one in judged if _failing(one[1])]
        missed.sort(key=lambda one: (_failing(one[1]), _gap(one[1]), choice_order(one[0])))
        return sorted(possible, key=lambda one: choice_order(one[0])), missed[:NEAREST]

    def _shortlist(self, need: Need) -> list[Standing]:
        insulations, jackets = bands_of(need)
        if insulations is None or jackets is None or not (insulations or jackets):
            return self.all
        insulation, jacket = self._insulation.gaps(insulations), self._jackets.gaps(jackets)
        jacket = np.where(self._bare, jacket, 0)
        fails = self._fails + (insulation > 0) + (jacket > 0)
        nearest = np.lexsort((self._gaps + insulation + jacket, fails))
        missed = nearest[fails[nearest] > 0][:NEAREST]
        return [self._plain[place] for place in (*np.flatnonzero(fails == 0), *missed)] + self._apart


def bands_of(need: Need) -> tuple[list[Band] | None, list[Band] | None]:
    """The bands over insulation and over jacket that the need reads; None where one of them is missing."""
    return _bands([side.doi for side in need.sides]), _bands([side.jacket for side in need.sides])


def _bands(facts: list[Band | Missing | None]) -> list[Band] | None:
    bands = []
    for fact in facts:
        if isinstance(fact, Missing):
            return None
        if fact is not None:
            bands.append(fact)
    return bands


def choice_order(standing: Standing) -> tuple[object, ...]:
    """Order of choice among parts that serve: rank of the rule, then the part's own order."""
    return standing.alternative.rank if standing.alternative else 0, *standing.part.order


def _one_by_one(part: Part) -> bool:
    ends = (part.barrels[0].doi_low_nm, part.barrels[0].doi_high_nm, part.jacket_low_nm, part.jacket_high_nm)
    return part.stepped or any(isinstance(end, Missing) for end in ends)


def _ranges(standings: list[Standing]) -> tuple[Ranges, Ranges]:
    barrels = [standing.part.barrels[0] for standing in standings]
    return (
        Ranges((barrel.doi_low_nm, barrel.doi_high_nm) for barrel in barrels),
        Ranges((standing.part.jacket_low_nm, standing.part.jacket_high_nm) for standing in standings),
    )


def _passes(results: Iterable[CheckResult]) -> bool:
    return all(result.passed is True for result in results)


def _failing(results: Iterable[CheckResult]) -> int:
    return sum(result.passed is False for result in results)


def _gap(results: Iterable[CheckResult]) -> int:
    return sum(result.gap for result in results)
