"""Who signed for what is on an end, when, and whether it is still what was signed for."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from kitting.models import Event
from kitting.selectors.installed_ends import EndKey, Fitted

END_SIGNED = "end signed"
BY_PIN = ", by PIN"  # stands behind the name of who signed with their own


@dataclass(frozen=True, slots=True)
class EndSignature:
    """The signature under an end's record: who, when, and thousandths of each entry that was on the end then."""

    by: str
    at: datetime
    pieces: Mapping[str, int]

    def signer(self, read_name: Callable[[str], str]) -> str:
        """Who signed, as a person reads names, and how it was proved."""
        name = self.by.removesuffix(BY_PIN)
        return f"{read_name(name)}{self.by[len(name) :]}"

    def covers(self, fitted: Iterable[Fitted]) -> bool:
        """Whether just that is on the end now."""
        return self.pieces == on_end(fitted)


def end_name(key: EndKey) -> str:
    """An end as people call it: ``V2-a``; the structure alone where no position is named."""
    return "-".join(filter(None, key))


def on_end(fitted: Iterable[Fitted]) -> dict[str, int]:
    """Thousandths of each entry that are on an end now, as an event keeps them."""
    return {str(one.entry.pk): one.left for one in fitted if one.left}


def end_signatures(keys: Collection[EndKey]) -> dict[EndKey, EndSignature]:
    """The last signature of each end that has one; one query."""
    by_name = {end_name(key): key for key in keys}
    found = Event.objects.filter(name=END_SIGNED, subject__in=by_name).order_by("number")
    return {by_name[one.subject]: EndSignature(one.data["signature"], one.at, one.data["pieces"]) for one in found}
