"""Devices that carry what is still open, and those of them that fell silent."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from kitting.calculation.natural_order import natural_key
from kitting.models import Bag, DeviceLoad
from kitting.selectors.open_counts import COUNT, list_states

SILENT_AFTER = timedelta(hours=24)
_SHOWN = timedelta(days=90)
_NAMED = 6  # of bags, in words


@dataclass(frozen=True, slots=True)
class DeviceStand:
    """A device as a person loaded it, with what is open on it by depot: bags that stand as they were loaded, counts."""

    load: DeviceLoad
    bags: Mapping[str, Sequence[str]]
    counts: Mapping[str, Sequence[str]]
    is_silent: bool

    @property
    def depots(self) -> list[str]:
        """The depots of what is open on it."""
        return sorted({*self.bags, *self.counts})


def device_stands(at: datetime, depots: Collection[str] = ()) -> list[DeviceStand]:
    """Devices that were heard of in the last months, the silent ones first; six queries, however many there are.

    Args:
        at: now.
        depots: only devices on which something of these is open; without, all, also those that carry nothing any more.
    """
    stands = stands_of(DeviceLoad.objects.filter(heard_at__gte=at - _SHOWN).order_by("-heard_at", "pk"), at)
    found = [one for one in stands if not depots or {*depots} & {*one.depots}]
    return sorted(found, key=lambda one: not one.is_silent)


def stands_of(loads: Collection[DeviceLoad], at: datetime) -> list[DeviceStand]:
    """How these devices stand.

    A bag is open on a device while it stands as it was loaded: nobody knows of anything that was done with it there. A
    count list is while a line of it waits to be counted.
    """
    codes = {code for one in loads for code in one.bags}
    bags = {bag.code: bag for bag in Bag.objects.filter(code__in=codes).select_related("job", "depot")}
    lists = {one.counted.number: one.counted for one in list_states() if any(waits == COUNT for _, waits in one.lines)}
    found = []
    for load in loads:
        open_bags: dict[str, list[str]] = defaultdict(list)
        counts: dict[str, list[str]] = defaultdict(list)
        for bag in (bags[code] for code, state in load.bags.items() if code in bags and bags[code].state == state):
            open_bags[bag.depot.depot].append(str(bag))
        for counted in (lists[number] for number in load.counts if number in lists):
            counts[counted.depot.depot].append(str(counted.number))
        is_silent = bool(open_bags or counts) and at - load.heard_at > SILENT_AFTER
        named = {depot: sorted(names, key=natural_key) for depot, names in open_bags.items()}
        found.append(DeviceStand(load, named, counts, is_silent))
    return found


def open_words(one: DeviceStand, depot: str) -> str:
    """What of a depot is open on a device: ``bags J03 B1, J03 B2 and 3 more; count list 7``; '' for nothing."""
    bags, counts = one.bags.get(depot, ()), one.counts.get(depot, ())
    more = f" and {len(bags) - _NAMED} more" if len(bags) > _NAMED else ""
    named = f"bag{'s' * (len(bags) > 1)} {', '.join(bags[:_NAMED])}{more}" if bags else ""
    lists = f"count list{'s' * (len(counts) > 1)} {', '.join(counts)}" if counts else ""
    return "; ".join(filter(None, (named, lists)))
