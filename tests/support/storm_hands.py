"""What goes out in a storm, as tests of several files hand it out."""

from typing import Any

from bag_stores import Stores

from inventory.models import Balance, Item
from kitting.services.storm_issues import Handful, StormIssue, issue_to_storm


def stock(code: str) -> Balance:
    """The bin of N that holds most of a stock code."""
    found = Balance.objects.filter(lot__item__stock_code=code, place__depot__depot="N", place__kind="bin")
    return found.select_related("place__depot", "lot__item").order_by("-quantity")[0]


def give(stores: Stores, *pieces: Handful, **given: Any) -> StormIssue:
    """Give pieces to a visiting crew, whatever is promised of them."""
    asked = {
        "storm": "EV1", "depot": "N", "crew": "Crew 2", "company": "Larkfield Line", "where": "Alder 12",
        "pieces": pieces, "confirmed": [f"promised-to-others/{line}" for line in range(1, 5)], **given,
    }  # fmt: skip
    return issue_to_storm(**{**stores.scan(), **asked})


def inserts(lot: str | None = None) -> Handful:
    """Three inserts; with their lot unless told otherwise."""
    there = stock("BI15")
    return Handful(place=there.place, quantity=3000, stock_code="BI15", lot=there.lot.number if lot is None else lot)


def new_lot(code: str, number: str) -> Any:
    """A lot that came since."""
    return Item.objects.get(stock_code=code).lots.create(number=number)
