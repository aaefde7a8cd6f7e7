"""What forms about bags share: the bag of an address, fields, and what people scan or type into them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import wraps

from django.contrib.auth import authenticate
from django.http import HttpResponse

from inventory.models import Depot, Item, Place
from inventory.selectors.finding import items_by_code, place_at
from kitting.calculation.carton_codes import is_carton, read_carton
from kitting.calculation.quantities import QuantityDoubt, thousandths
from kitting.errors import Refusal
from kitting.models import Bag, Person
from kitting.pages.asked import ANY_REFUSAL, Asked, View
from kitting.roles import SIGN, Actor
from kitting.selectors.bag_contents import bag_by_code
from kitting.selectors.end_signatures import BY_PIN
from kitting.selectors.what_is_this import carton_to_use


@dataclass(frozen=True, slots=True)
class Field:
    """A field of a form: one to type or scan into, or with ``options`` one to choose from.

    Args:
        name, label: for the server and for people.
        value: what stands in it.
        kind: ``text``, ``decimal``, ``date``, ``password``.
        required: whether it may stay empty.
        options: values and their words.
        focus: whether the cursor stands in it.
        note: a line below.
        scans: whether a code is scanned into it, which may be photographed as well.
    """

    name: str
    label: str
    value: str = ""
    kind: str = "text"
    required: bool = True
    options: Sequence[tuple[str, str]] = ()
    focus: bool = False
    note: str = ""
    scans: bool = False


def of_bag(view: Callable[[Asked, Bag], HttpResponse]) -> View:
    """A view of the bag whose number stands in the address; another number is not in these books."""

    @wraps(view)
    def found(asked: Asked, code: str) -> HttpResponse:
        bag = bag_by_code(code)
        return view(asked, bag)

    return found


def depot_of_bag(code: str) -> str:
    """The depot of the bag with this number; '' where there is none, and then the view says so."""
    try:
        return bag_by_code(code).depot.depot
    except ANY_REFUSAL:
        return ""


@dataclass(frozen=True, slots=True)
class Piece:
    """What was read from a piece or its carton; ``lot`` is '' and ``count`` None where it doesn't say."""

    item: Item
    lot: str
    count: int | None = None


def read_piece(text: str, today: date) -> Piece:
    """The item of a scanned carton, or of a typed stock code.

    Raises:
        Refusal: neither a carton nor a stock code of ours; ``two-dates``: the books have another for the carton's lot.
    """
    if is_carton(text):
        carton = read_carton(text, today=today)
        return Piece(carton_to_use(carton), carton.lot, carton.count)
    return Piece(items_by_code([text])[text], "")


def lot_of(piece: Piece, typed: str) -> str:
    """The lot of a piece: what its carton says, else what was typed, with the capitals of the one lot that it means."""
    if piece.lot or not typed:
        return piece.lot
    known = {*piece.item.lots.filter(number__iexact=typed).values_list("number", flat=True)}
    return known.pop() if len(known) == 1 else typed


def quantity(text: str) -> int:
    """Thousandths of what was typed.

    Raises:
        Refusal: ``not-a-quantity``.
    """
    try:
        found = thousandths(text)
    except QuantityDoubt as doubt:
        instead = f" Did you mean {doubt.suggestion}?" if doubt.suggestion else ""
        message = f"HOW MANY: {text or 'nothing'!r}: {doubt.problem}{instead}"
        raise Refusal("not-a-quantity", message, {"typed": text}) from None
    if not found:
        raise Refusal("not-a-quantity", "HOW MANY: nothing is typed, or 0.", {"typed": text})
    return found


def place_scanned(depot: Depot, text: str, *kinds: str) -> Place:
    """The place that was scanned at a depot, of the first of these kinds that it has under this code.

    Raises:
        Refusal: there is none.
    """
    code = text.removeprefix(f"{depot.depot}/")
    for kind in kinds[:-1]:
        found = Place.objects.filter(depot=depot, code=code, kind=kind).select_related("depot").first()
        if found:
            return found
    return place_at(depot=depot, code=code, kind=kinds[-1] if kinds else None)


def signature_of(asked: Asked, depot: str) -> str:
    """Who signs for the crew: a name that is typed; one who has an account and may sign does it by their own PIN.

    Raises:
        Refusal: ``wrong-pin``: the name is that of somebody with an account, and the PIN is none or another;
            ``not-signed``: what is typed says itself that it was proved.
    """
    typed = asked.text("signature")
    if typed.casefold().endswith(BY_PIN.casefold()):
        raise Refusal("not-signed", "NOT SIGNED: type the name alone, and the PIN in its own field.", {})
    for one in Person.objects.filter(is_active=True).order_by("pk"):
        if typed.casefold() in (one.name.casefold(), one.sign_in.casefold()) and one.actor().may("bags", SIGN, depot):
            if authenticate(asked.request, username=one.sign_in, pin=asked.text("crew_pin")) == one:
                return f"{one.name}{BY_PIN}"
            message = f"WRONG PIN: {one.name} has an account here and signs with their own PIN."
            raise Refusal("wrong-pin", message, {"signature": one.name})
    return typed


def approver(asked: Asked) -> Actor | None:
    """Whoever signs in on the same form by sign-in name and PIN, None where nobody did.

    Raises:
        Refusal: ``wrong-pin``.
    """
    name = asked.text("approver")
    if not name:
        return None
    found = authenticate(asked.request, username=name, pin=asked.text("pin"))
    if not isinstance(found, Person):
        message = "WRONG PIN: nobody with this sign-in name and PIN; who approves types both."
        raise Refusal("wrong-pin", message, {"approver": name})
    return found.actor()
