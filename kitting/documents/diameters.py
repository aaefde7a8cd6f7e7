"""Diameter ranges as people read them: both units, the unit in which the range is a round number first."""

from collections.abc import Sequence

from kitting.calculation.lengths import NM_PER_IN, NM_PER_MM, both, inch_text

Span = tuple[int, int]


def metric(span: Span) -> bool:
    """True where the range is round in 0.01 mm and not in 0.001 in, so that it was written in mm."""
    return all(side % (NM_PER_MM // 100) == 0 for side in span) and any(side % (NM_PER_IN // 1000) for side in span)


def span_text(span: Span) -> str:
    """``1.410–1.640 in (35.81–41.66 mm)``, or mm first where the range is metric."""
    inches = f"{inch_text(span[0])}–{inch_text(span[1])} in"
    millimetres = f"{_mm(span[0])}–{_mm(span[1])} mm"
    return f"{millimetres} ({inches})" if metric(span) else f"{inches} ({millimetres})"


def spans_text(spans: Sequence[Span]) -> str:
    """Several ranges, one after the other."""
    return " and ".join(span_text(span) for span in spans)


def margin_text(part: Span, cable: Span) -> str:
    """The smaller side of the room that the cable's band has inside the part's range."""
    return both(min(cable[0] - part[0], part[1] - cable[1]), inches_first=not metric(part))


def _mm(nm: int) -> str:
    return both(nm).split(" mm")[0]
