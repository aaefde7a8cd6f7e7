"""Everything that was done with a bag, in its order: from the record of events, and what was done with its pieces."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from kitting.calculation import bag_states
from kitting.models import Bag, BagEntry, Event
from kitting.models.bags import INSTALLED, ISSUED, LOST, PICKED, PUT_BACK, SCRAPPED, TURNED_IN
from kitting.selectors.bag_contents import bare
from kitting.selectors.failures import failures_of_bag

# What an event tells besides its name, in the order in which it is read.
_TOLD = (
    "revision",
    "rack",
    "label",
    "crew",
    "truck",
    "signature",
    "missing",
    "cause",
    "open",
    "changes",
    "what",
    "reason",
    "why",
)
_OF_PIECES = {"picked", "put back", "turned in", "installed", "piece lost", "piece scrapped", "taken back"}

_OPPOSITE: Mapping[tuple[str, ...], str] = {
    (PICKED,): bag_states.PUT_BACK, (PUT_BACK,): bag_states.PICK,
    **{(deed,): bag_states.UNDO for deed in (INSTALLED, TURNED_IN, SCRAPPED, LOST)},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Told:
    """One deed.

    Args:
        at, by: when, and who.
        words: what.
        action: its number; '' where none was kept.
        deeds: what was done with pieces by it: ``picked``, ``issued``, …; empty where none was moved.
    """

    at: datetime
    by: str
    words: str
    action: str
    deeds: tuple[str, ...]

    @property
    def opposite(self) -> str:
        """The action of the table of states that takes it back; '' where no scan does."""
        return _OPPOSITE.get(self.deeds, "")


def bag_history(bag: Bag) -> list[Told]:
    """All deeds of a bag, and what failed of what it brought, the last first; three queries."""
    found = BagEntry.objects.filter(line__bag=bag).select_related("action", "lot__item", "line__bag").order_by("pk")
    by_action: dict[str, list[BagEntry]] = defaultdict(list)
    for entry in found:
        by_action[entry.action.number].append(entry)
    events = [*Event.objects.filter(subject=str(bag), data__bag=bag.code).order_by("number")]
    told = {str(one.data.get("action", "")): one for one in events}
    rows = [_by_pieces(entries, told.get(number)) for number, entries in by_action.items()]
    brought = [entry for entries in by_action.values() for entry in entries]
    rows += [Told(one.failed_at, one.action.by, f"{one} at {one.place}, {one.part}: {one.what}", "", ())
             for one in failures_of_bag(bag, brought)]  # fmt: skip
    rows += [_by_event(one) for one in events if one.data.get("action", "-") not in by_action]
    return sorted(rows, key=lambda row: row.at, reverse=True)


def _by_pieces(entries: Sequence[BagEntry], event: Event | None) -> Told:
    action = entries[0].action
    pieces = "; ".join(_pieces(entries))
    more = "" if event is None or event.name in _OF_PIECES else f"; {_words(event)}"
    why = f", {event.data['why']}" if event and event.name in _OF_PIECES and event.data.get("why") else ""
    if event and pieces == event.name.removeprefix("bag "):  # the event says it all
        pieces, more = _words(event), ""
    deeds = tuple(dict.fromkeys(entry.deed for entry in entries))
    return Told(action.at, action.by, f"{pieces}{why}{more}", action.number, deeds)


def _pieces(entries: Sequence[BagEntry]) -> Iterator[str]:
    """Each deed with its pieces, and from where or to where."""
    by_deed: dict[str, list[BagEntry]] = defaultdict(list)
    for entry in entries:
        by_deed[entry.deed].append(entry)
    for deed, of in by_deed.items():
        sums: dict[str, int] = defaultdict(int)
        for entry in of:
            phase = f" on {entry.phase}" if entry.phase else ""
            sums[f"{entry.lot.item} lot {entry.lot.number or 'unknown'}{phase}"] += entry.quantity
        facts: Mapping[str, object] = of[0].facts
        way = f" from {facts['from']}" if facts.get("from") else f" to {facts['to']}" if facts.get("to") else ""
        if deed == ISSUED and len(sums) > 1:
            yield deed  # the whole bag; what was in it stands on its slip
        else:
            yield f"{deed} {', '.join(f'{bare(pieces)} {what}' for what, pieces in sums.items())}{way}"


def _by_event(event: Event) -> Told:
    return Told(event.at, event.by, _words(event), "", ())


def _words(event: Event) -> str:
    """An event in words: its name and what it tells."""
    parts = []
    for key in _TOLD:
        value = event.data.get(key)
        if value:
            text = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
            parts.append(text if key in ("label", "cause", "why", "reason", "changes", "what") else f"{key} {text}")
    name = event.name.removeprefix("bag ")
    return f"{name}: {'; '.join(dict.fromkeys(parts))}" if parts else name
