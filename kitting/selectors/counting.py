"""Counts as whoever stands before them may see them: blind for the counter, with all that explains it for who settles.

Quantities are thousandths of the stock unit.
"""

import hashlib
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Q, QuerySet

from inventory.models import Item, Movement
from inventory.selectors.balances import Lying, lying
from inventory.selectors.counting import is_pack_ratio, pack_text
from inventory.selectors.receipts import last_receipts
from inventory.selectors.words import quantity_text
from kitting.calculation.bag_states import IN_STORE
from kitting.errors import Refusal
from kitting.models import COUNTED, LISTED, POSTED, TO_FIND, Bag, BagLine, CountLine, CountList, KeptScan
from kitting.selectors.bag_contents import label_code

RECENT = timedelta(days=30)
FEW = 20  # a rate of fewer counts says little: it is shown with their number


def count_list(number: int) -> CountList:
    """The list of this number.

    Raises:
        Refusal: ``unknown-count``.
    """
    found = CountList.objects.filter(number=number).select_related("depot", "listed", "posted").first()
    if found is None:
        raise Refusal("unknown-count", f"There is no count {number}.", {"count": number})
    return found


@dataclass(frozen=True, slots=True)
class BlindLine:
    """What a counter may know of a line: where, what, in which unit, and nothing of books or earlier figures.

    ``bag`` is the number on a bag's label, '' elsewhere; a place that should be empty has neither bag nor stock code.
    """

    position: int
    place: str
    place_kind: str
    bag: str
    stock_code: str
    part: str
    lot: str
    unit: str
    pack: str


def blind_lines(counted: CountList, *, recount: bool = False) -> list[BlindLine]:
    """Lines that wait for a figure, in walk order: those without one, or those that another person counts again."""
    waiting = lines_of(counted).filter(state=COUNTED if recount else LISTED)
    found = [line for line in waiting if not recount or line.difference]
    return [*blinded(found)]


def lines_of(counted: CountList) -> QuerySet[CountLine]:
    """All lines of a list, in walk order."""
    return counted.lines.select_related("place__depot", "lot__item", "count_list__depot").order_by("position")


def sheet_revision(counted: CountList) -> str:
    """Six characters on a printed sheet that change when a line is added to its list."""
    lines = [*counted.lines.order_by("position").values_list("position", "place", "lot")]
    return hashlib.sha256(repr(lines).encode()).hexdigest()[:6].upper()


def blinded(lines: Iterable[CountLine]) -> Iterator[BlindLine]:
    """Lines as their counter sees them; two queries."""
    lines = [*lines]
    bags = {
        bag.place_id: bag
        for bag in Bag.objects.filter(place__in=[line.place_id for line in lines if line.is_bag]).select_related("job")
    }
    for line in lines:
        bag, item = bags.get(line.place_id), line.lot.item if line.lot else None
        yield BlindLine(
            position=line.position,
            place=bag.whereabouts or line.place.code if bag else line.place.code,
            place_kind=line.place.kind,
            bag=label_code(bag) if bag else line.place.code if line.is_bag else "",
            stock_code=item.stock_code if item else "",
            part=item.called if item else "",
            lot=line.lot.number if line.lot else "",
            unit=item.stock_unit if item else "",
            pack=pack_text(item) if item else "",
        )


def bags_to_find() -> list[CountLine]:
    """Bags of the stores that did not stand in their rack places and that nobody has found since, the first one first.

    A bag that has gone out to its crew meanwhile was found.
    """
    in_store = Q(place__bag__state__in=IN_STORE) | Q(place__bag__state_before_hold__in=IN_STORE)
    found = CountLine.objects.filter(in_store | Q(place__bag__isnull=True), state=TO_FIND)
    return [*found.select_related("place__depot", "count_list").order_by("pk")]


@dataclass(frozen=True, slots=True)
class BeforeAdjusting:
    """What is to be looked at before the books are changed for a line.

    Args:
        expected: what the books say of the moment of the count.
        figure: what was counted last.
        recent: movements of the item that touch the place within 30 days before now, the last one first.
        kept: scans of devices that concern the item and wait for a person: papers that are not posted.
        elsewhere: other places of the item at all depots, those with pieces.
        units: the question whether each was taken for kit, '' where the ratio is not exactly that.
    """

    expected: int
    figure: int
    recent: tuple[Movement, ...]
    kept: tuple[KeptScan, ...]
    elsewhere: tuple[Lying, ...]
    units: str


def before_adjusting(line: CountLine, *, at: datetime) -> BeforeAdjusting:
    """What may explain a difference of a lot: recent movements, unposted scans, other places, the ratio of units.

    Args:
        line: with a figure and a lot.
        at: the moment.

    Raises:
        Refusal: ``nothing-counted``.
    """
    if line.lot is None or line.figure is None or line.expected is None:
        raise Refusal("nothing-counted", f"{line} has no figure of pieces.", {"line": line.position})
    item, place = line.lot.item, line.place
    moves = Movement.objects.filter(lot__item=item, action__at__gt=at - RECENT).order_by("-pk")
    moves = moves.select_related("action", "lot__item", "from_place__depot", "to_place__depot")
    there = [one for one in moves if place.pk in (one.from_place_id, one.to_place_id)]
    elsewhere = [
        one
        for one in lying(lot__item=item, quantity__gt=0)
        if (one.depot, one.place, one.place_kind, one.lot)
        != (place.depot.depot, place.code, place.kind, line.lot.number)
    ]
    return BeforeAdjusting(
        expected=line.expected,
        figure=line.figure,
        recent=tuple(there),
        kept=tuple(_kept_scans(item)),
        elsewhere=tuple(elsewhere),
        units=unit_question(line),
    )


def _kept_scans(item: Item) -> Iterator[KeptScan]:
    """Unsettled scans that name the item, fit it, or carry a bag that is to hold it."""
    codes = {item.stock_code, *item.old_codes.values_list("code", flat=True)}
    bags = {*BagLine.objects.filter(item=item).values_list("bag__code", flat=True)}
    for scan in KeptScan.objects.filter(settled_by="").order_by("pk"):
        content = scan.content
        named = {content.get("stock_code"), *(piece.get("stock_code") for piece in content.get("pieces", ()))}
        whole_bag = named == {None} and _plain(content.get("bag", "")) in bags
        if named & codes or whole_bag:
            yield scan


def _plain(code: str) -> str:
    """The number of a bag without its check characters, as records hold it; of a code that is none, nothing."""
    return "".join(character for character in code.upper() if character.isalnum())[:-2]


def unit_question(line: CountLine) -> str:
    """The question whether each was taken for kit, with the receipt; '' where the ratio is not exactly that."""
    lot, figure, expected = line.lot, line.figure, line.expected
    if lot is None or figure is None or expected is None or not is_pack_ratio(lot.item, figure, expected):
        return ""
    unit = lot.item.stock_unit
    receipt = last_receipts([(line.place_id, lot.pk)]).get((line.place_id, lot.pk))
    return (
        f"{lot} at {line.place}: {quantity_text(figure, unit)} counted, {quantity_text(expected, unit)} on the books, "
        f"exactly one {pack_text(lot.item)}: each/kit error{f' on receipt {receipt}' if receipt else ''}? Then put "
        "the receipt right, not the count, and have the place counted again."
    )


def needs_approval(line: CountLine, limit: int) -> bool:
    """Whether another person must approve a difference: above the limit, in thousandths, or of a supplier's pieces."""
    owned = line.lot is not None and line.lot.supplier_owned
    return line.difference != 0 and (abs(line.difference) > limit or owned)


@dataclass(frozen=True, slots=True)
class Accuracy:
    """How many places of a depot agreed with the books when they were counted.

    Args:
        depot: its code.
        kind: of the items; '' for all of them.
        counted: lots at places that were counted and posted.
        causes: how many were wrong, by cause.
    """

    depot: str
    kind: str
    counted: int
    causes: Mapping[str, int]

    @property
    def wrong(self) -> int:
        """How many differed."""
        return sum(self.causes.values())

    @property
    def percent(self) -> Decimal:
        """Those that agreed, in percent to a tenth, rounded down."""
        return Decimal((self.counted - self.wrong) * 1000 // self.counted) / 10

    @property
    def sentence(self) -> str:
        """In words, always with the number counted: ``N: 98 % of 850 right; wrong: 12 not booked, 5 late paper``."""
        causes = ", ".join(f"{count} {cause}" for cause, count in self.causes.items())
        of = f"{self.depot} {self.kind}".strip()
        few = f" (fewer than {FEW}: little to go by)" if self.counted < FEW else ""
        return f"{of}: {self.percent.normalize():f} % of {self.counted} right{few}; wrong: {causes or 'none'}"


def accuracy(*, by_kind: bool = False, since: datetime | None = None, until: datetime | None = None) -> list[Accuracy]:
    """Accuracy by depot and cause, and by kind of item where asked, of what was posted in a time, ends included."""
    lines = CountLine.objects.filter(state=POSTED, lot__isnull=False)
    if since is not None:
        lines = lines.filter(count_list__posted__at__gte=since)
    if until is not None:
        lines = lines.filter(count_list__posted__at__lte=until)
    counted: Counter[tuple[str, str]] = Counter()
    causes: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    for line in lines.select_related("place__depot", "lot__item"):
        kind = line.lot.item.kind if by_kind and line.lot else ""
        group = (line.place.depot.depot, kind)
        counted[group] += 1
        if line.difference:
            causes[group][line.cause] += 1
    return [Accuracy(*group, counted[group], dict(causes[group].most_common())) for group in sorted(counted)]
