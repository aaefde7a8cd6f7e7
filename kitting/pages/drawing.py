"""Pictures drawn on the server: a cable run from end to end, and a part's range with the cable's band over it."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from kitting.calculation.cable_geometry import Band
from kitting.calculation.fit_matching import fits
from kitting.calculation.fit_matching.wording import misfit_words
from kitting.calculation.lengths import both, inch_text
from kitting.documents.diameters import Span, metric, span_text
from kitting.selectors.bag_contents import bare

_WIDTH, _LEFT, _RIGHT = 360, 20, 340
_FIT_LEFT, _FIT_RIGHT = 14, 306
_FIGURE = 36  # room that a figure takes; of a narrower span both ends are told in one text
_LINE_HEIGHT = 80


def strip(from_end: str, to_end: str, cable: str, *, from_joint: bool, to_joint: bool, phases: str) -> SafeString:
    """A run: a box for an end at equipment, two cones for a joint, a line a phase between them.

    Args:
        from_end, to_end: names of structure and position.
        cable: in words.
        from_joint, to_joint: whether that end is a joint.
        phases: such as ``ABC``.
    """
    lines = format_html_join(
        "", '<line x1="{}" x2="{}" y1="{}" y2="{}" class="cable"/>',
        ((_LEFT + 12, _RIGHT - 12, y, y) for y in _rows(phases)),
    )  # fmt: skip
    words = f"Run from {from_end} to {to_end}: {cable}"
    return format_html(
        '<svg viewBox="0 0 {w} 66" role="img" aria-label="{words}">{lines}{a}{b}'
        '<text x="{left}" y="62">{from_end}</text><text x="{right}" y="62" text-anchor="end">{to_end}</text></svg>',
        w=_WIDTH, words=words, lines=lines, a=_end(_LEFT, joint=from_joint), b=_end(_RIGHT, joint=to_joint),
        left=_LEFT - 14, right=_RIGHT + 14, from_end=from_end, to_end=to_end,
    )  # fmt: skip


def _rows(phases: str) -> list[int]:
    count = max(1, len(phases))
    return [24 + 10 * at - 5 * (count - 1) for at in range(count)]


def _end(x: int, *, joint: bool) -> SafeString:
    if joint:
        return format_html('<path d="M{} 24l14 -16v32zM{} 24l-14 -16v32z" class="end"/>', x, x)
    return format_html('<rect x="{}" y="6" width="28" height="36" class="end"/>', x - 14)


@dataclass(frozen=True, slots=True)
class Fit:
    """Whether a part's range holds a cable's band, in words, with the gauge reading that would do, and the picture."""

    word: str
    sentence: str
    picture: SafeString


def fit(part: Span, band: Band, *, over_what: str, estimates: str) -> Fit:
    """How a cable's band lies in a part's range.

    Args:
        part: range in nanometres, ends included.
        band: of the cable; an end may be unknown.
        over_what: ``insulation`` or ``jacket``.
        estimates: the policy: ``accept``, or ``measure`` for a gauge reading where the band is calculated.
    """
    found = fits.fit(band, *part, estimates=estimates)
    known = (band.low_nm, band.high_nm) if band.low_nm is not None and band.high_nm is not None else None
    told = f"cable {_band_text(known, part)} by {band.origin}" if known else "the cable's band is not known"
    if found.state == fits.FITS and known:
        low, high = (both(nm, inches_first=not metric(part)) for nm in (known[0] - part[0], part[1] - known[1]))
        why = f"margin {low} below, {high} above"
    else:
        why = misfit_words(found, over_what)
    sentence = f"{why}; {told}, range {span_text(part)}"
    word = found.state.upper()
    return Fit(word, sentence, _picture(part, known, f"{word}: {sentence}"))


def _band_text(band: Span, part: Span) -> str:
    """A band in the units of the part; one reading is told once."""
    return span_text(band) if band[0] != band[1] else both(band[0], inches_first=not metric(part))


def _picture(part: Span, band: Span | None, words: str) -> SafeString:
    low, high = min(part[0], band[0] if band else part[0]), max(part[1], band[1] if band else part[1])
    room = max((high - low) // 8, 1)
    low, high = low - room, high + room

    def x(nm: int) -> str:
        tenths = (nm - low) * (_FIT_RIGHT - _FIT_LEFT) * 10 // (high - low)
        return f"{_FIT_LEFT + tenths // 10}.{tenths % 10}"

    def bar(span: Span, y: int, height: int, kind: str) -> SafeString:
        return format_html(
            '<path d="M{} {}H{}v{}H{}z" class="{}"/>', x(span[0]), y, x(span[1]), height, x(span[0]), kind
        )

    def figures(span: Span, y: int) -> SafeString:
        if (span[1] - span[0]) * (_FIT_RIGHT - _FIT_LEFT) < _FIGURE * (high - low):
            both_ends = "–".join(dict.fromkeys(map(inch_text, span)))
            middle = x((span[0] + span[1]) // 2)
            return format_html('<text x="{}" y="{}" text-anchor="middle">{}</text>', middle, y, both_ends)
        return format_html(
            '<text x="{}" y="{}" text-anchor="middle">{}</text><text x="{}" y="{}" text-anchor="middle">{}</text>',
            x(span[0]), y, inch_text(span[0]), x(span[1]), y, inch_text(span[1]),
        )  # fmt: skip

    def cable_bar(span: Span) -> SafeString:
        if span[0] == span[1]:
            return format_html('<path d="M{} 14v34" class="tick"/>', x(span[0]))
        return bar(span, 26, 10, "band")

    cable = format_html("{}{}", cable_bar(band), figures(band, 58)) if band else ""
    outline = bar(part, 18, 26, "range" if band else "open")
    return format_html(
        '<svg viewBox="0 0 320 64" class="fit" role="img" aria-label="{}">{}{}{}</svg>',
        words, outline, figures(part, 12), cable,
    )  # fmt: skip


def steps(left: Sequence[int]) -> SafeString:
    """Quantities one after the other as steps over a line at nothing; the table beside it says the same in words."""
    high, low = max(0, *left), min(0, *left)
    height = max(high - low, 1)

    def y(quantity: int) -> int:
        return 6 + (high - quantity) * _LINE_HEIGHT // height

    points = [f"M{_LEFT} {y(left[0])}"]
    for at, quantity in enumerate(left):
        points.append(f"V{y(quantity)}H{_LEFT + (at + 1) * (_RIGHT - _LEFT) // len(left)}")
    words = f"Free pieces from {bare(left[0])} to {bare(left[-1])}, at least {bare(min(left))}"
    return format_html(
        '<svg viewBox="0 0 {} {}" class="fit" role="img" aria-label="{}"><path d="M{} {}H{}" class="tick"/>'
        '<path d="{}" class="open"/><text x="0" y="{}">{}</text><text x="{}" y="{}">{}</text></svg>',
        _WIDTH + 20, _LINE_HEIGHT + 12, words, _LEFT, y(0), _RIGHT, " ".join(points),
        y(left[0]) + 4, bare(left[0]), _RIGHT + 4, y(left[-1]) + 4, bare(left[-1]),
    )  # fmt: skip
