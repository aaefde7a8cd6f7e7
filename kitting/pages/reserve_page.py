"""The emergency reserve: what lies in it, its floor and cover, and which of its pieces are to be used and replaced."""

from collections.abc import Sequence

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Balance
from kitting.errors import Refusal
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.tables import Cell, Table, figure, link
from kitting.roles import APPROVE, ASK, DO
from kitting.selectors.bag_contents import bare
from kitting.selectors.reserve import Reserve, reserves
from kitting.selectors.rotation import Rotation, rotations
from kitting.services.rotate_reserve import WAREHOUSE, rotate_reserve

_NUMBERS = ("old", "fresh", "quantity")


def reserve_list(asked: Asked) -> HttpResponse:
    """Every reserve, and the swaps that are to be booked; book one by a press."""
    here = reverse("reserves")
    if asked.request.method == "POST":
        return attempt(asked, lambda: _rotated(asked), here)
    rows = [
        [
            link(item.stock_code, "item", item.stock_code, note=item.called),
            f"depot {depot}", figure(bare(one.total)), figure("–" if one.floor is None else bare(one.floor)),
            figure(bare(one.refill(asked.today)) if one.refill(asked.today) else "–"), Cell(one.cover_words(one.total)),
            Cell(_lots(one) or "–", note=_held(one)),
        ]
        for item, depot, one in reserves(at=asked.at)
    ]  # fmt: skip
    heads = ("Item", "Where", "In reserve", "Floor", "To be bought again", "Cover", "Lots, the first to expire first")
    empty = "No depot keeps a reserve: pieces lie in one where stock says so, and its floor stands among the levels."
    context = {
        "table": Table("Reserve by depot", heads, rows, empty),
        "swaps": [_Shown(asked, one) for one in rotations(today=asked.today)],
        "may_ask": asked.actor.may("reserve", ASK) or asked.actor.may("reserve", APPROVE),
    }  # fmt: skip
    return page(asked, "reserves.html", context)


def _lots(one: Reserve) -> str:
    return "; ".join(_lot(balance) for balance in one.balances)


def _held(one: Reserve) -> str:
    held = one.total - sum(balance.quantity for balance in one.balances)
    return f"{bare(held)} ON HOLD" if held else ""


def _lot(one: Balance) -> str:
    return f"{bare(one.quantity)} of lot {one.lot.number or 'unknown'}, {one.lot.date_words}"


class _Shown:
    """A swap in words, and whether this person may book it."""

    def __init__(self, asked: Asked, one: Rotation) -> None:
        self.one, self.pieces = one, bare(one.quantity)
        self.acts = asked.actor.may(WAREHOUSE, DO, one.old.place.depot.depot)
        self.to_jobs = ", ".join(one.jobs)
        self.is_given = bool(one.promises)


def _rotated(asked: Asked) -> tuple[str, str]:
    texts: Sequence[str] = [asked.text(name) for name in _NUMBERS]
    if not all(text.isdecimal() for text in texts):
        raise Refusal("not-proposed", "Choose one of the swaps that are shown.", {})
    old, fresh, quantity = map(int, texts)
    rotate_reserve(old=old, fresh=fresh, quantity=quantity, **asked.scan())
    return "ROTATED", f"{bare(quantity)} fresh pieces are in the reserve, as many old ones in the bin."
