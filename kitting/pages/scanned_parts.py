"""Parts by whatever is scanned for them: a carton, a stock code, a bag, an inner bag, a line of a bag."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from inventory.models import Item
from inventory.selectors.finding import items_by_code
from kitting.documents.label_records import inner_bag_of
from kitting.errors import Refusal
from kitting.models import Bag, BagLine
from kitting.pages.bag_forms import read_piece
from kitting.selectors.bag_contents import bag_by_code
from kitting.selectors.inner_bags import inner_bag
from kitting.selectors.old_labels import read_label

_NO_BAG = ("unknown-bag", "wrong-check-characters")


@dataclass(frozen=True, slots=True)
class Part:
    """A stock code and where it belongs, in words; ``facts`` are those of its line, None where a code was scanned."""

    item: Item
    where: str = ""
    facts: Mapping[str, str] | None = None


def parts_of(text: str, today: date) -> list[Part]:
    """The parts that a scan means, each stock code and place once.

    Raises:
        Refusal: it is nothing that holds a part; ``superseded-label``.
    """
    inner = inner_bag(text)
    if inner:
        return _of_inner(*inner, today)
    lines = BagLine.objects.filter(line=text.strip(), dropped=False, item__isnull=False).select_related("item")
    if lines:
        return [_of_line(one) for one in lines]
    try:
        bag = bag_by_code(text)
    except Refusal as refusal:
        if refusal.code not in _NO_BAG or read_label(text)[1]:
            raise
        return [Part(read_piece(text, today).item)]
    return _of_bag(bag)


def _of_bag(bag: Bag) -> list[Part]:
    lines = BagLine.objects.filter(bag=bag, dropped=False, item__isnull=False).select_related("item")
    found = {(part.item.pk, part.where): part for part in map(_of_line, lines.order_by("position", "pk"))}
    return [*found.values()]


def _of_line(line: BagLine) -> Part:
    if line.item is None:  # excluded by whoever asked
        raise Refusal("undecided", f"{line.line} is not decided.", {})
    where = "-".join(filter(None, (line.facts.get("structure"), line.facts.get("position"))))
    return Part(line.item, f"{where}{', spare' if line.spare else ''}", line.facts)


def _of_inner(bag: Bag, number: int, today: date) -> list[Part]:
    inner = inner_bag_of(bag, number, today)
    codes = [(share.piece.stock_code if share.piece else share.line.stock_code) for share in inner.shares]
    items = items_by_code({code for code in codes if code})
    return [Part(items[code], inner.title) for code in dict.fromkeys(codes) if code]
