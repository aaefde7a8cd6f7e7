"""Column layouts that are kept: the live ones by the shape that they read, and each with its revisions."""

from collections.abc import Iterable, Mapping

from django.db.models import QuerySet

from kitting.errors import Refusal
from kitting.models import KeptLayout


def layouts_by_shape(numbers: Iterable[int] | None = None) -> Mapping[str, KeptLayout]:
    """The layouts that lists are read by, by shape.

    Args:
        numbers: only these, live or not: what a file was looked at with; None: those that are live.
    """
    found = KeptLayout.objects.filter(live=True) if numbers is None else KeptLayout.objects.filter(pk__in=numbers)
    return {one.shape: one for one in found}


def all_layouts() -> QuerySet[KeptLayout]:
    """Every revision without its text: the live ones first, by name, the newest revision before older ones."""
    return KeptLayout.objects.order_by("-live", "name", "-revision").defer("text", "headings")


def layout_by_number(number: int | str) -> KeptLayout:
    """A revision of a layout.

    Raises:
        Refusal: ``unknown-layout``.
    """
    found = KeptLayout.objects.filter(pk=number).first()
    if found is None:
        raise Refusal("unknown-layout", f"There is no column layout {number} in these books.", {"layout": number})
    return found
