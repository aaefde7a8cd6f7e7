"""Items found by their facts: what a person knows of a part, exact where the facts are exact."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from inventory.models import Item, OldCode
from kitting.calculation.conductor_sizes import ConductorSize, parse_size_set
from kitting.calculation.natural_order import natural_key

_JOINT = ";"  # between several values of one fact


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Facts that an item must have; '' or None for those that don't matter.

    Args:
        words: each must stand in its code, an old code, its description, kind, maker or supplier's code.
        kind, class_kv, interface, metal: exactly; the interface is its own or the one that it gives.
        diameter_nm: over insulation: a range of the item holds it, ends included.
        size: of the conductor: the sizes of a side hold it.
    """

    words: str = ""
    kind: str = ""
    class_kv: str = ""
    interface: str = ""
    diameter_nm: int | None = None
    size: ConductorSize | None = None
    metal: str = ""


def find_items(wanted: Wanted) -> list[Item]:
    """The items with these facts: one that is meant by its very code first, the others in the order of their codes."""
    found = [one for one in _by_exact_facts(wanted).prefetch_related("old_codes") if _has(one, wanted)]
    return sorted(found, key=lambda one: (not _is_named(one, wanted.words), natural_key(one.stock_code)))


def _by_exact_facts(wanted: Wanted) -> QuerySet[Item]:
    items = Item.objects.all()
    for word in wanted.words.split():
        old = OldCode.objects.filter(code__icontains=word).values("item")
        facts = ("stock_code", "description", "kind", "maker", "supplier_code")
        told = Q(pk__in=old)
        for fact in facts:
            told |= Q(**{f"{fact}__icontains": word})
        items = items.filter(told)
    if wanted.kind:
        items = items.filter(kind=wanted.kind)
    if wanted.interface:
        items = items.filter(Q(interface=wanted.interface) | Q(gives_interface=wanted.interface))
    nm = wanted.diameter_nm
    if nm is not None:
        second = Q(doi_low_2_nm__lte=nm, doi_high_2_nm__gte=nm)
        items = items.filter(Q(doi_low_nm__lte=nm, doi_high_nm__gte=nm) | second)
    return items


def _has(item: Item, wanted: Wanted) -> bool:
    """The facts that are lists."""
    sides = ((item.conductor_sizes, item.metals), (item.conductor_sizes_2, item.metals_2))
    return (
        (not wanted.class_kv or wanted.class_kv in values(item.classes_kv))
        and (not wanted.metal or any(wanted.metal in values(metals) for _, metals in sides))
        and (wanted.size is None or any(sizes and parse_size_set(sizes).holds(wanted.size) for sizes, _ in sides))
    )


def _is_named(item: Item, words: str) -> bool:
    names = {item.stock_code, *(old.code for old in item.old_codes.all())}
    return words.casefold() in {name.casefold() for name in names}


def values(text: str) -> list[str]:
    """The values of a fact that may hold several."""
    return [one.strip() for one in text.split(_JOINT) if one.strip()]


def ranges_over_insulation(item: Item) -> Iterator[tuple[int, int]]:
    """The ranges of an item whose both ends are known, in nanometres; two where its sides differ."""
    for low, high in ((item.doi_low_nm, item.doi_high_nm), (item.doi_low_2_nm, item.doi_high_2_nm)):
        if low is not None and high is not None:
            yield low, high


def choices() -> Mapping[str, list[str]]:
    """What items are told apart by: kinds, classes, interfaces and metals that some item has; one query."""
    facts = [*Item.objects.values_list("kind", "classes_kv", "interface", "gives_interface", "metals", "metals_2")]
    kinds = {kind for kind, *_ in facts}
    classes = {one for _, text, *_ in facts for one in values(text)}
    interfaces = {one for _, _, own, given, *_ in facts for one in (own, given) if one}
    metals = {one for *_, first, second in facts for one in (*values(first), *values(second))}
    return {
        "kind": sorted(kinds),
        "class": sorted(classes, key=natural_key),
        "interface": sorted(interfaces, key=natural_key),
        "metal": sorted(metals),
    }
