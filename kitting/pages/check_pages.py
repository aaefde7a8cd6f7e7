"""The check by a second person: they count blind, piece by piece or by stock code; then the count meets the books."""

from django.http import HttpResponse
from django.urls import reverse

from kitting.calculation.bag_states import CHECK, GUARDS
from kitting.documents.label_records import inner_bag_of
from kitting.errors import Refusal
from kitting.models import Bag
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, done, page, refused
from kitting.pages.bag_forms import of_bag, quantity, read_piece
from kitting.selectors.bag_contents import bare, contents_of, facts_of, label_code
from kitting.selectors.inner_bags import inner_bag
from kitting.services.fill_bags import check as check_bag

_PIECE, _LAST = 1_000, 5
_REMEMBERED = 50  # numbers of forms, so that one that is sent twice counts once


@of_bag
def check(asked: Asked, one: Bag) -> HttpResponse:
    """Count one more thing, start again, or say that this is all."""
    code, kept = label_code(one), _Count(asked, one)
    here = reverse("check", args=[code])
    if asked.request.method == "POST":
        deeds = {"again": kept.forget, "all": None}
        if asked.text("do") == "all":
            return _compare(asked, one, kept, here)
        try:
            word = (deeds.get(asked.text("do")) or kept.add)()
        except ANY_REFUSAL as refusal:
            return refused(asked, refusal, here)
        return done(asked, word, f"{kept.pieces} counted so far.", here)
    contents = contents_of([one])[one.pk]
    facts = facts_of(contents, by=asked.actor.name)
    inside = sum(stand.open for stand in contents.lines)
    context = {
        "bag": one, "code": code, "counted": kept.pieces, "left": bare(max(inside - kept.total, 0)),
        "scans": kept.scans, "same": GUARDS["another person than who filled it"](facts),
        "action": CHECK,
    }  # fmt: skip
    return page(asked, "check.html", context)


def _compare(asked: Asked, one: Bag, kept: "_Count", here: str) -> HttpResponse:
    def deed() -> tuple[str, str]:
        answer = check_bag(bag=label_code(one), counted=kept.counted, **asked.scan())
        kept.forget()
        return answer.word, answer.sentence

    return attempt(asked, deed, reverse("bag", args=[label_code(one)]), back=here)


class _Count:
    """What was counted of a bag on this device, kept with the session."""

    def __init__(self, asked: Asked, one: Bag) -> None:
        self._asked, self._bag = asked, one
        self._key = f"count-{one.pk}"
        kept = asked.request.session.get(self._key, {})
        self.counted: dict[str, int] = kept.get("counted", {})
        self.scans: list[dict[str, str]] = kept.get("scans", [])
        self._actions: list[str] = kept.get("actions", [])

    @property
    def total(self) -> int:
        """Thousandths counted."""
        return sum(self.counted.values())

    @property
    def pieces(self) -> str:
        """The same in words."""
        return bare(self.total)

    def add(self) -> str:
        """Count what was scanned or typed: a piece, a carton of several, an inner bag, or as many as were typed.

        Raises:
            Refusal: it is no piece of ours, an inner bag of another bag, or no quantity.
        """
        asked = self._asked
        pieces = self._inner() or self._piece()
        number = sum(pieces.values())
        if asked.action not in self._actions:
            for code, count in pieces.items():
                self.counted[code] = self.counted.get(code, 0) + count
            read = next(iter(pieces)) if len(pieces) == 1 else asked.text("read")
            self.scans = [{"word": f"+ {bare(number)}", "read": read}, *self.scans][:_LAST]
            self._actions = [asked.action, *self._actions][:_REMEMBERED]
            kept = {"counted": self.counted, "scans": self.scans, "actions": self._actions}
            asked.request.session[self._key] = kept
        return f"+ {bare(number)}"

    def _piece(self) -> dict[str, int]:
        asked = self._asked
        piece = read_piece(asked.text("read"), asked.today)
        typed = asked.text("quantity")
        return {piece.item.stock_code: quantity(typed) if typed else (piece.count or 1) * _PIECE}

    def _inner(self) -> dict[str, int]:
        """What lies in the inner bag that was scanned; nothing where it was none."""
        found = inner_bag(self._asked.text("read"))
        if found is None:
            return {}
        if found[0] != self._bag:
            raise Refusal("wrong-bag", f"WRONG BAG: that inner bag belongs in {found[0]}.", {"bag": str(found[0])})
        pieces: dict[str, int] = {}
        for share in inner_bag_of(*found, self._asked.today).shares:
            if share.piece:
                code = share.piece.stock_code
                pieces[code] = pieces.get(code, 0) + int(share.quantity * _PIECE)
        return pieces

    def forget(self) -> str:
        """Begin again."""
        self._asked.request.session.pop(self._key, None)
        self.counted = {}
        return "FROM NOTHING"
