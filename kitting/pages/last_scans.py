"""The last scans of a session: what was read, what was answered, and where a reversing record takes it back."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import reverse

from inventory.models import Action, Movement
from kitting.calculation.bag_states import CHECK, HAND_BACK, ISSUE, PICK, PUT_BACK, REOPEN, STAGE, allows
from kitting.calculation.short_codes import verified
from kitting.models import Bag
from kitting.roles import DO, Actor
from kitting.services.move_pieces import TAKEN_BACK_HERE
from kitting.services.undo_scans import OF_CREWS, undone

_SCANS, _LAST, _LONGEST = "scans", 5, 160
UNDONE, SETTLED = "undone", "settled"
COUNTED = "counted"  # a piece that is counted in a check: it is on no record yet, and is uncounted where it was counted
_UNDO, _RECEIPT, _CHECK = "undo", "receipt", "check"


@dataclass(frozen=True, slots=True)
class _Way:
    """What takes a kind of action back: the action of a bag that must be allowed then, the page, and whose right it is.

    A page that asks for a reason is opened; any other is sent the number at once.
    """

    opposite: str
    route: str
    right: str = "bags"
    at_once: bool = False


_WAYS: Mapping[str, _Way] = {
    f"bag {PICK}": _Way(PUT_BACK, _UNDO, at_once=True),
    f"bag {PUT_BACK}": _Way(PICK, _UNDO, at_once=True),
    f"bag {CHECK}": _Way(REOPEN, "reopen"),
    f"bag {STAGE}": _Way(REOPEN, "reopen"),
    f"bag {ISSUE}": _Way(HAND_BACK, "hand-back"),
    **{deed: _Way("", _UNDO, right, at_once=True) for deed, right in OF_CREWS.items()},
}


@dataclass(frozen=True, slots=True)
class LastScan:
    """A scan as it is shown.

    Args:
        at, word, read: when, the word that was answered, and what was read or said.
        undone: whether a reversing record has taken it back.
        href: where it is taken back; '' where nothing does.
        action: number to send there by a form; '' where a page of its own asks for the reason.
    """

    at: str
    word: str
    read: str
    undone: bool = False
    href: str = ""
    action: str = ""


def note_scan(request: HttpRequest, scan: Mapping[str, str]) -> None:
    """Keep what was scanned and answered: ``at``, ``word``, ``read``, and with what was done ``action`` and ``bag``.

    An action that was sent twice is one scan.
    """
    kept = request.session.get(_SCANS, ())
    if scan.get("action") and any(one.get("action") == scan["action"] for one in kept):
        return
    request.session[_SCANS] = [{**scan, "read": scan["read"][:_LONGEST]}, *kept][:_LAST]


def change_scans(request: HttpRequest, bag: str, way: str, *, action: str = "") -> None:
    """Say of the counted pieces of a bag, or of one of them, that they are ``UNDONE`` or ``SETTLED`` by now."""
    kept = request.session.get(_SCANS, ())
    counted = [one for one in kept if (one.get("bag"), one.get("way")) == (bag, COUNTED)]
    changed = [one for one in counted if action in ("", one["action"])]
    request.session[_SCANS] = [{**one, "way": way} if one in changed else one for one in kept]


def last_scans(request: HttpRequest, actor: Actor) -> list[LastScan]:
    """The last scans on this device of who is signed in, the last first; four queries, none where nothing was done."""
    scans = request.session.get(_SCANS, ())
    numbers = [one["action"] for one in scans if one.get("action")]
    uses = dict(Action.objects.filter(number__in=numbers).values_list("number", "use_case")) if numbers else {}
    back = (undone(numbers) | _reversed(numbers)) if numbers else set()
    codes = {verified(one["bag"]) for one in scans if one.get("bag")}
    bags = Bag.objects.filter(code__in=codes).values_list("code", "state", "depot__depot") if codes else ()
    known = {code: (state, depot) for code, state, depot in bags}
    return [_shown(one, uses.get(one.get("action", ""), ""), back, known, actor) for one in scans]


def _reversed(numbers: list[str]) -> set[str]:
    found = Movement.objects.filter(reverses__action__number__in=numbers)
    return set(found.values_list("reverses__action__number", flat=True))


def _shown(
    one: Mapping[str, str], use_case: str, back: set[str], bags: Mapping[str, tuple[str, str]], actor: Actor
) -> LastScan:
    at, word, read, action, bag = (one.get(name, "") for name in ("at", "word", "read", "action", "bag"))
    if action in back or one.get("way") == UNDONE:
        return LastScan(at, word, read, undone=True)
    if one.get("way") == COUNTED:
        return LastScan(at, word, read, href=reverse(_CHECK, args=[bag]), action=action)
    if use_case == "receive" and actor.may("warehouse", DO):
        return LastScan(at, word, read, href=f"{reverse(_RECEIPT, args=[action])}#undo")
    if use_case in TAKEN_BACK_HERE and actor.may("warehouse", DO):
        return LastScan(at, word, read, href=reverse("undo-move", args=[action]), action=action)
    way, (state, depot) = _WAYS.get(use_case), bags.get(verified(bag) if bag else "", ("", ""))
    if way is None or not state or not actor.may(way.right, DO, depot):
        return LastScan(at, word, read)
    if way.opposite and not allows(state, way.opposite):
        return LastScan(at, word, read)
    return LastScan(at, word, read, href=reverse(way.route, args=[bag]), action=action if way.at_once else "")
