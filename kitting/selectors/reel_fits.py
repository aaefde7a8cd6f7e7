"""Bags that list a part which does not fit the whole of its run's reel, as that was measured since."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

from django.db.models import Q

from jobs.models import Reel, Run
from kitting.calculation.bag_states import IN_STORE, LISTED, ON_HOLD, OUT
from kitting.calculation.cable_geometry import GAUGE, Band
from kitting.calculation.fit_matching.fits import DOES_NOT_FIT, FITS, fit
from kitting.calculation.lengths import both
from kitting.models import BagLine
from kitting.selectors.stock_search import ranges_over_insulation

_Where = tuple[int, str, str]  # job; a run and '', or structure and position of a joint
_JOINT = "joint"  # side of a line whose cables are those of all runs that meet there
_NONE = 0  # no job's; a page asks as often with it where there is nothing to ask about
_BETWEEN = "; "  # the reels of a run, one for each phase


def unfit_for_reels(lines: Iterable[BagLine]) -> dict[int, str]:
    """By the number of a bag's record which parts do not fit the whole measured band of their reel, in words.

    A part of a joint has to fit the cable of every run that meets there. One with two ranges says nothing, nor does a
    reel that nobody measured. Two queries, whatever the lines are.
    """
    on_cable = [line for line in lines if line.item and (line.facts.get("run") or line.facts.get("side") == _JOINT)]
    cables = _cables({line.bag.job_id for line in on_cable})
    bands = _bands({reel for found in cables.values() for reels in found for reel in reels.values()})
    told: dict[int, dict[str, None]] = defaultdict(dict)
    for line in on_cable:
        for reels in cables.get(_where(line), ()):
            told[line.bag_id] |= dict.fromkeys(_refused(line, reels, bands))
    return {bag: "; ".join(words) for bag, words in told.items() if words}


def bags_on_reel(reel: str) -> dict[int, str]:
    """As ``unfit_for_reels``, of the bags that are listed, filled or out for runs of a reel."""
    runs = Run.objects.filter(revision__live=True, reels__contains=reel).values("revision__job")
    states = Q(bag__state__in=(LISTED, *IN_STORE, *OUT, ON_HOLD))
    lines = BagLine.objects.filter(states, bag__job__in=runs, dropped=False).select_related("item", "bag__job")
    return {bag: words for bag, words in unfit_for_reels(lines).items() if f" reel {reel}, " in words}


def _where(line: BagLine) -> _Where:
    facts = line.facts
    return (line.bag.job_id, *((facts["run"], "") if facts.get("run") else (facts["structure"], facts["position"])))


def _cables(jobs: set[int]) -> dict[_Where, list[dict[str, str]]]:
    """By run, and by each position where it ends, the reel of each phase of a cable."""
    runs = Run.objects.filter(revision__live=True, revision__job__in=[*jobs, _NONE]).exclude(reels="").order_by("pk")
    ends = [f"{end}_position__{name}" for end in ("from", "to") for name in ("structure__structure", "position")]
    found: dict[_Where, list[dict[str, str]]] = defaultdict(list)
    for job, run, phases, reels, *places in runs.values_list("revision__job", "run", "phases", "reels", *ends):
        by_phase = _by_phase(phases, reels.split(_BETWEEN))
        for first, second in ((run, ""), (places[0], places[1]), (places[2], places[3])):
            found[job, first, second].append(by_phase)
    return found


def _by_phase(phases: str, reels: Sequence[str]) -> dict[str, str]:
    return dict.fromkeys(phases, reels[0]) if len(reels) == 1 else dict(zip(phases, reels, strict=False))


def _bands(reels: set[str]) -> dict[str, Band]:
    found = Reel.objects.filter(reel__in=[*reels, ""]).values_list("reel", "doi_low_nm", "doi_high_nm")
    return {reel: Band(low or high, high or low, GAUGE) for reel, low, high in found if low or high}


def _refused(line: BagLine, reels: Mapping[str, str], bands: Mapping[str, Band]) -> Iterator[str]:
    spans = {*ranges_over_insulation(line.item)} if line.item else set()
    if len(spans) != 1:
        return
    (low, high) = spans.pop()
    for reel in dict.fromkeys(reels.get(phase, "") for phase in line.facts.get("phases", "")):
        found = fit(bands[reel], low, high, estimates="accept") if reel in bands else None
        if found and found.state != FITS:
            side = "too small" if found.too_small_nm else "too large"
            by = f"{side} by {both(found.too_small_nm or found.too_large_nm)}"
            is_sure = found.state == DOES_NOT_FIT
            word, by = ("DOES NOT FIT", by) if is_sure else ("MEASURE", f"may be {by}")
            yield f"{word}: {line.item} on reel {reel}, {by}"
