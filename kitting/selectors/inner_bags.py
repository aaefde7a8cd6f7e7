"""Inner bags by the number on their labels: that of the bag, and one more."""

from kitting.calculation.short_codes import bag_code, verified
from kitting.errors import Refusal
from kitting.models import Bag

_MOST_DIGITS = 3


def inner_bag(scanned: str) -> tuple[Bag, int] | None:
    """The bag and the number of the inner bag in it; None where the text is no inner bag's number.

    Check characters do not tell J03-V1-1-1 from J03-V11-1, so a number typed without hyphens is a bag's where one has
    it.
    """
    try:
        plain = verified(scanned)
    except Refusal:
        return None
    numbers = {plain[:-size]: plain[-size:] for size in range(1, _MOST_DIGITS + 1) if plain[-size:].isdecimal()}
    bags = Bag.objects.filter(code__in=[*numbers, plain]).select_related("job", "depot", "place__depot")
    found = {bag.code: bag for bag in bags}
    inner = [(bag, int(numbers[code])) for code, bag in found.items() if code != plain]
    exact = [one for one in inner if inner_code(*one) == scanned.strip().upper()]
    return next(iter(exact or ([] if plain in found else inner)), None)


def inner_code(bag: Bag, number: int) -> str:
    """The number on an inner bag's label."""
    return bag_code(bag.job.job, bag.structure, bag.number, number)
