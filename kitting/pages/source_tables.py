"""Where pieces can come from, as tables that pages share."""

from collections.abc import Sequence
from datetime import date

from kitting.models import Bag
from kitting.pages.tables import Cell, Table, figure, link
from kitting.selectors.bag_contents import bare, label_code
from kitting.selectors.sources import Source


def _of_bag(bag: Bag) -> str:
    """The state of a bag, its cutover, and whose job it is where that is known."""
    owner = f", owner {bag.job.owner}" if bag.job.owner else ""
    return f"{bag.state}, cutover {bag.job.cutover}{owner}"


def source_table(caption: str, found: Sequence[Source], today: date, empty: str = "None.") -> Table:
    """Sources in the order in which they are to be taken."""
    rows = [
        [
            Cell(one.balance.lot.number or "unknown", note=one.balance.lot.date_words),
            figure(bare(one.free)),
            link(one.bag, "bag", label_code(one.bag), note=_of_bag(one.bag))
            if one.bag else Cell(one.balance.place),
            Cell(one.kind, note="not seen for a week" if one.is_old(today) else f"seen {one.seen}"),
        ]
        for one in found
    ]  # fmt: skip
    return Table(caption, ("Lot", "Pieces", "Where", "Kind"), rows, empty)
