"""Does it fit, and where is one that does: by a gauge reading, or by bag and reel; for the night, in one word."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot, Item
from kitting.calculation.cable_geometry import CABLE_TYPE, GAUGE, MAKER, Band
from kitting.calculation.doubts import Doubt
from kitting.calculation.fit_matching.fits import FITS
from kitting.calculation.lengths import both, parse_length
from kitting.errors import Refusal
from kitting.pages.asked import ANY_REFUSAL, Asked, page, split_loud
from kitting.pages.bag_forms import Field
from kitting.pages.drawing import Fit, fit
from kitting.pages.fact_pages import reel_by_number
from kitting.pages.scanned_parts import Part, parts_of
from kitting.pages.tables import Cell, Table, figure, link
from kitting.selectors.bag_contents import bare, label_code
from kitting.selectors.fit_margins import LEAST, MOST
from kitting.selectors.fits import INSULATION, estimates_policy, fit_facts
from kitting.selectors.nearest import Near, others_that_fit, where_is
from kitting.selectors.stock_search import ranges_over_insulation

_OTHER = {"in": "mm", "mm": "in"}
_MOST_OTHERS = 3
_SIDES = ("first side", "second side")


@dataclass(frozen=True, slots=True)
class Answer:
    """How a part takes the cable: a word, and each of its sides (one without a name where both are alike)."""

    item: Item
    where: str
    sides: Sequence[tuple[str, Fit]]

    @property
    def word(self) -> str:
        """FITS where any side does; else the first that is not a refusal; else DOES NOT FIT."""
        words = [side.word for _, side in self.sides]
        return min(words, key=("FITS", "MEASURE", "DOES NOT FIT").index)


@dataclass(frozen=True, slots=True)
class UnitInDoubt:
    """A reading that no cable has: what it reads, and the address with the other unit, '' where that is no better."""

    sentence: str
    other: str
    address: str
    as_it_is: str


def fit_check(asked: Asked) -> HttpResponse:
    """Does what was scanned fit this cable? The answer in one word and as a picture, and what fits where it doesn't."""
    names = ("part", "reading", "reel")
    text, reading, number = (asked.text(name) for name in names)
    scanned = [Field("part", "The part", text, scans=True), Field("reel", "The tag of the reel", number, scans=True)]
    context: dict[str, object] = {
        "scanned": scanned, "part": text, "reading": reading, "reel": number, "unit": asked.text("unit") or "in",
        "depot": _depot(asked),
    }  # fmt: skip
    try:
        parts = _sized(parts_of(text, asked.today)) if text else []
        band = _band(asked)
        if isinstance(band, UnitInDoubt):
            return page(asked, "fit_check.html", {**context, "doubt": band})
        answers = [_answer(one, band) for one in parts] if band or len(parts) == 1 else []
        answers = [one for one in answers if one.sides]
        context |= {"answers": answers, "choices": _choices(asked, parts, answers)}
        if len(parts) == 1 and answers and answers[0].word != FITS.upper():
            context["others"] = _others(asked, parts[0].item, band)
    except Doubt as doubt:
        context["problem"] = ("CAN'T TELL", f"{reading}: {doubt.problem}. {doubt.suggestion}")
    except ANY_REFUSAL as refusal:
        word, rest = split_loud(str(refusal))
        context["problem"] = (word, rest) if word else ("CAN'T TELL", str(refusal))
    return page(asked, "fit_check.html", context)


def _sized(parts: Sequence[Part]) -> list[Part]:
    """The parts that are fitted by the diameter over insulation, each stock code once.

    Raises:
        Refusal: ``no-range``: none is.
    """
    found = {part.item.pk: part for part in reversed(parts) if any(ranges_over_insulation(part.item))}
    if not found:
        named = ", ".join(dict.fromkeys(f"{part.item} ({part.item.kind})" for part in parts)) or "nothing"
        raise Refusal("no-range", f"{named}: not fitted by the diameter over insulation.", {})
    return [*reversed(found.values())]


def _band(asked: Asked) -> Band | UnitInDoubt | None:
    """The cable's band by the gauge, else by the reel; None where neither is said.

    Raises:
        Doubt: the reading is no length.
        Refusal: ``unknown-reel``.
    """
    reading, unit = asked.text("reading"), asked.text("unit") or "in"
    if not reading:
        return _by_reel(asked.text("reel")) if asked.text("reel") else None
    nm = parse_length(reading, unit)
    least, most = parse_length(LEAST, None), parse_length(MOST, None)
    if least <= nm <= most or asked.text("sure"):
        return Band(nm, nm, GAUGE)
    typed = {name: asked.text(name) for name in ("part", "reading", "reel", "unit") if asked.text(name)}
    other = _OTHER.get(unit, "in")
    better = reading.replace(".", "").isdecimal() and least <= parse_length(reading, other) <= most
    sentence = f"{both(nm, inches_first=unit == 'in')} is outside {both(least, inches_first=True)} to "
    return UnitInDoubt(
        f"{sentence}{both(most, inches_first=True)}, what cables measure over insulation.",
        f"{reading} {other}" if better else "", _address({**typed, "unit": other}), _address({**typed, "sure": "yes"}),
    )  # fmt: skip


def _address(asked: dict[str, str]) -> str:
    return f"{reverse('fit-check')}?{urlencode(asked)}"


def _by_reel(number: str) -> Band:
    found = reel_by_number(number)
    if found.doi_low_nm is not None:
        return Band(found.doi_low_nm, found.doi_high_nm, found.origin or MAKER)
    return Band(found.cable_type.doi_low_nm, found.cable_type.doi_high_nm, CABLE_TYPE)


def _answer(part: Part, band: Band | None) -> Answer:
    """By the band that was measured, else by that of the line's own cable."""
    spans, policy = [*ranges_over_insulation(part.item)], estimates_policy()
    if band:
        fitted = [fit(span, band, over_what=INSULATION, estimates=policy) for span in spans]
    else:
        facts = fit_facts([part.facts]) if part.facts else {}
        told = next(iter(facts.values()), [])
        fitted = [fit(one.part, one.band, over_what=one.over_what, estimates=policy) for one in told]
    names = _SIDES if len(fitted) > 1 else ("",)
    return Answer(part.item, part.where, [*zip(names, fitted, strict=False)])


def _choices(asked: Asked, parts: Sequence[Part], answers: Sequence[Answer]) -> Table | None:
    """Where several parts were meant: each with its answer, and the way to see it alone."""
    if len(parts) < 2:
        return None
    words = {one.item.pk: one.word for one in answers}
    kept = {name: asked.text(name) for name in ("reading", "reel", "unit") if asked.text(name)}
    rows = [
        [
            Cell(one.item.stock_code, _address({"part": one.item.stock_code, **kept}), note=one.item.description),
            Cell(one.where or "–"),
            Cell(words.get(one.item.pk, "scan the reel's tag, or give a reading")),
        ]
        for one in parts
    ]
    return Table("Parts in it that are fitted by a diameter", ("Part", "For", "Answer"), rows, "")


def _others(asked: Asked, item: Item, band: Band | None) -> dict[str, object]:
    """What does fit, and where the nearest of it is."""
    found = others_that_fit(item, band)[:_MOST_OTHERS] if band else []
    places = where_is(found, depot=_depot(asked), today=asked.today)
    return {
        "found": [(one, near_table(asked, f"Where {one} is", places.get(one.pk, ()))) for one in found],
        "known": band is not None,
    }


def where_is_one(asked: Asked) -> HttpResponse:
    """Where pieces of what was scanned are, the nearest first, and when somebody saw them there."""
    text, depot = asked.text("item"), _depot(asked)
    depots = [(one.depot, f"{one.depot} {one.name}") for one in Depot.objects.order_by("depot")]
    context: dict[str, object] = {"item": text, "depot": depot, "depots": depots, "asks": bool(text)}
    if text:
        try:
            items = {part.item.pk: part.item for part in parts_of(text, asked.today)}
            places = where_is([*items.values()], depot=depot, today=asked.today)
            context["tables"] = [
                near_table(asked, f"{one} {one.called}", places.get(one.pk, ())) for one in items.values()
            ]
        except ANY_REFUSAL as refusal:
            context["problem"] = split_loud(str(refusal))[0] or "NOT FOUND", str(refusal)
    return page(asked, "where.html", context)


def _depot(asked: Asked) -> str:
    """The depot that is meant by here: that which was asked for, else one's own, else the first."""
    known = [*Depot.objects.order_by("depot").values_list("depot", flat=True)]
    wanted = asked.text("depot")
    return wanted if wanted in known else next(iter([*sorted(asked.actor.depots), *known]), "")


def near_table(asked: Asked, caption: str, found: Sequence[Near]) -> Table:
    """Places with pieces that nobody is promised, the nearest first."""
    rows = [
        [
            _place(one),
            figure(bare(one.free)),
            Cell(one.way, note=one.seen(asked.today)),
            Cell(one.balance.lot.number or "unknown", note=one.balance.lot.date_words),
        ]
        for one in found
    ]
    empty = "None that is free: ask the supplier, or the planner for one that is promised."
    return Table(caption, ("Where", "Pieces", "Way", "Lot"), rows, empty)


def _place(near: Near) -> Cell:
    if near.bag is None:
        return Cell(f"{near.balance.place.depot.depot} {near.balance.place.code}", note=near.kind)
    note = f"{near.kind}, {near.bag.whereabouts or near.bag.state}{f', {near.bag.crew}' if near.bag.crew else ''}"
    return link(near.bag, "bag", label_code(near.bag), note=note)
