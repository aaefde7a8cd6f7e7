"""The check by a second person: they count blind, piece by piece or by stock code; then the count meets the books."""

from collections.abc import Mapping

from django.http import HttpResponse
from django.urls import reverse

from inventory.services.whole_pieces import need_whole
from kitting.calculation.bag_states import CHECK, GUARDS
from kitting.documents.label_records import inner_bag_of
from kitting.errors import Refusal
from kitting.models import Bag
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, done, page, refused
from kitting.pages.bag_forms import of_bag, quantity, read_piece
from kitting.pages.last_scans import COUNTED, SETTLED, UNDONE, change_scans
from kitting.selectors.bag_contents import bare, contents_of, facts_of, label_code
from kitting.selectors.inner_bags import inner_bag
from kitting.services.fill_bags import check as check_bag

_PIECE = 1_000
_REMEMBERED = 50  # numbers of forms, so that one that is sent twice counts once


@of_bag
def check(asked: Asked, one: Bag) -> HttpResponse:
    """Count one more thing, start again, or say that this is all."""
    code, kept = label_code(one), _Count(asked, one)
    here = reverse("check", args=[code])
    if asked.request.method == "POST":
        deeds = {"again": kept.forget, "undo": kept.uncount}
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
        "same": GUARDS["another person than who filled it"](facts),
        "action": CHECK,
    }  # fmt: skip
    return page(asked, "check.html", context)


def _compare(asked: Asked, one: Bag, kept: "_Count", here: str) -> HttpResponse:
    def deed() -> tuple[str, str]:
        answer = check_bag(bag=label_code(one), counted=kept.counted, **asked.scan())
        kept.forget()
        asked.note(answer.word, answer.sentence, action=asked.action, bag=label_code(one))
        return answer.word, answer.sentence

    return attempt(asked, deed, reverse("bag", args=[label_code(one)]), back=here)


class _Count:
    """What was counted of a bag on this device, kept with the session."""

    def __init__(self, asked: Asked, one: Bag) -> None:
        self._asked, self._bag = asked, one
        self._key = f"count-{one.pk}"
        kept = asked.request.session.get(self._key, {})
        self.counted: dict[str, int] = kept.get("counted", {})
        self._scans: dict[str, dict[str, int]] = kept.get("scans", {})

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
        if asked.action not in self._scans:
            self._change(pieces, 1)
            self._scans = {asked.action: pieces, **self._scans}
            self._keep()
            read = next(iter(pieces)) if len(pieces) == 1 else asked.text("read")
            asked.note(f"+ {bare(number)}", read, action=asked.action, bag=label_code(self._bag), way=COUNTED)
        return f"+ {bare(number)}"

    def uncount(self) -> str:
        """Take one counted scan back.

        Raises:
            Refusal: ``not-counted``: it isn't among what was counted, or was taken back before.
        """
        action = self._asked.text("undone")
        pieces = self._scans.pop(action, None)
        if pieces is None:
            raise Refusal("not-counted", "That scan is not counted any more.", {"action": action})
        self._change(pieces, -1)
        self._keep()
        change_scans(self._asked.request, label_code(self._bag), UNDONE, action=action)
        word = f"- {bare(sum(pieces.values()))}"
        self._asked.note(word, ", ".join(pieces))
        return word

    def _change(self, pieces: Mapping[str, int], sign: int) -> None:
        for code, count in pieces.items():
            self.counted[code] = self.counted.get(code, 0) + sign * count
        self.counted = {code: count for code, count in self.counted.items() if count}

    def _keep(self) -> None:
        scans = dict([*self._scans.items()][:_REMEMBERED])
        self._asked.request.session[self._key] = {"counted": self.counted, "scans": scans}

    def _piece(self) -> dict[str, int]:
        asked = self._asked
        piece = read_piece(asked.text("read"), asked.today)
        typed = asked.text("quantity")
        pieces = quantity(typed) if typed else (piece.count or 1) * _PIECE
        need_whole(piece.item, pieces)
        return {piece.item.stock_code: pieces}

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
        change_scans(self._asked.request, label_code(self._bag), SETTLED)
        return "FROM NOTHING"
