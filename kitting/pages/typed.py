"""What a person types into a form, read exactly or refused in words."""

import re
from calendar import monthrange
from collections.abc import Collection, Mapping, Sequence
from datetime import UTC, date, datetime
from urllib.parse import urlencode

from inventory.models import BAG, VAN, Depot, Place
from inventory.selectors.finding import place_at
from kitting.calculation.doubts import Doubt
from kitting.calculation.quantities import thousandths
from kitting.errors import Refusal
from kitting.pages.asked import ACTION, CONFIRMED, NOT_KEPT, SECRETS, Asked

_MONTH = re.compile(r"\d{4}-\d{2}")

NOT_TYPED = (*NOT_KEPT, *SECRETS, ACTION, CONFIRMED)


def back_with_typed(asked: Asked, address: str) -> str:
    """A page that reads what was typed from its address, so that after a refusal nothing is typed again."""
    typed = [(name, text) for name, texts in asked.request.POST.lists() if name not in NOT_TYPED for text in texts]
    return f"{address}?{urlencode([(name, text) for name, text in typed if text])}"


def rows_to_type(
    asked: Asked, rows: Sequence[object], fields: Mapping[str, str]
) -> list[tuple[object, list[tuple[str, str, str]]]]:
    """Lines of a form that nobody must fill in: each with its fields' names, labels and what was typed before.

    Args:
        asked: the request.
        rows: what tells the lines apart.
        fields: label by the beginning of a field's name; the line follows after a hyphen.
    """
    return [
        (row, [(f"{name}-{row}", label, asked.text(f"{name}-{row}")) for name, label in fields.items()]) for row in rows
    ]


def typed_quantity(text: str, what: str) -> int:
    """Thousandths.

    Raises:
        Refusal: ``no-quantity`` says what is wrong with it.
    """
    try:
        return thousandths(text)
    except Doubt as doubt:
        close = f" ({doubt.suggestion})" if doubt.suggestion else ""
        problem = f"{doubt.problem}{close}"
        end = "" if problem.endswith("?") else "."
        message = f"{what} reads {text!r}: {problem}{end} Write a number such as 6 or 12.5."
        raise Refusal("no-quantity", message, {"read": text}) from None


def typed_day(text: str, what: str) -> date | None:
    """A day, or the last one of a month; None where nothing is typed.

    Raises:
        Refusal: ``no-day``.
    """
    if not text:
        return None
    try:
        if _MONTH.fullmatch(text):
            year, month = map(int, text.split("-"))
            return date(year, month, monthrange(year, month)[1])
        return date.fromisoformat(text)
    except ValueError:  # calendar's error of a month is one too
        message = f"{what} reads {text!r}: write the day as 2028-08-31, a month alone as 2028-08."
        raise Refusal("no-day", message, {"read": text}) from None


def day_of(asked: Asked, name: str, label: str = "") -> date:
    """The day that a field must hold; the refusal begins with the field's label where one is given.

    Raises:
        Refusal: ``no-day``.
    """
    try:
        return date.fromisoformat(asked.text(name))
    except ValueError:
        message = "give the day as 2026-03-02."
        message = f"{label}: {message}" if label else message.capitalize()
        raise Refusal("no-day", message, {"field": name, "read": asked.text(name)}) from None


def depot_asked(asked: Asked) -> tuple[list[str], str]:
    """All depots, and the one that is meant: that which is asked for, else one's own, else the first; '' where none is.

    Raises:
        Refusal: ``unknown-depot``.
    """
    depots = [*Depot.objects.order_by("depot").values_list("depot", flat=True)]
    own = (one for one in depots if one in asked.actor.depots)
    depot = asked.text("depot") or next(own, next(iter(depots), ""))
    if depot and depot not in depots:
        raise Refusal("unknown-depot", f"There is no depot {depot}.", {"depot": depot})
    return depots, depot


def typed_moment(asked: Asked, text: str) -> datetime | None:
    """A moment on the clock where the person is; None where nothing is typed.

    Raises:
        Refusal: ``no-moment``.
    """
    if not text:
        return None
    try:
        return datetime.fromisoformat(text).replace(tzinfo=asked.zone).astimezone(UTC)
    except ValueError:
        raise Refusal("no-moment", f"{text!r} is no moment: write it as 2026-03-02T15:00.", {"read": text}) from None


def place_names(places: list[Place]) -> Mapping[str, Place]:
    """Places by what people call them: the code, with its kind where a shelf has parts of several kinds."""
    codes = [place.code for place in places]
    return {one.code if codes.count(one.code) == 1 else f"{one.code} ({one.kind})": one for one in places}


def typed_place(depot: Depot, text: str, *, never: Collection[str] = (BAG, VAN)) -> Place:
    """A place of a depot by its code, or by code and kind as in ``A-2 (hold)``.

    Args:
        depot, text: where it is, and what was scanned or typed.
        never: kinds that it can't be; what is in a bag or on a van comes and goes by scans of the bag or the van.

    Raises:
        Refusal: ``no-place``; there is none, with those that come near; or several; ``no-shelf``: it is of such a kind.
    """
    if not text:
        raise Refusal("no-place", "Say where the pieces are put: scan or type the place.", {})
    code, mark, kind = text.rpartition(" (")
    found = None
    if mark and kind.endswith(")"):
        found = Place.objects.filter(depot=depot, code=code, kind=kind[:-1]).select_related("depot").first()
    found = found or place_at(depot=depot, code=text)
    if found.kind in never:
        message = f"NO SHELF: {found.code} is a {found.kind}, which has scans of its own. Name a bin or the like."
        raise Refusal("no-shelf", message, {"place": str(found)})
    return found
