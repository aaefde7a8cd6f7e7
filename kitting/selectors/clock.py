"""What time it is in these books: the real time, but in a demo that of its story."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from inventory.models import Action, Depot
from kitting.models import Event
from kitting.selectors.policies import paper_choices


def books_now() -> datetime:
    """The moment for whatever is done next. A demo plays on invented days, so there it is just after its last deed."""
    if not paper_choices()[2]:
        return datetime.now(UTC)
    deeds = (
        Event.objects.order_by("-at").values_list("at", flat=True).first(),
        Action.objects.order_by("-at").values_list("at", flat=True).first(),
    )
    known = [moment for moment in deeds if moment]
    return max(known) + timedelta(seconds=1) if known else datetime.now(UTC)


def depot_zones() -> dict[str, str]:
    """The name of the zone of each depot that has one, by its code; one query."""
    return dict(Depot.objects.exclude(time_zone="").order_by("depot").values_list("depot", "time_zone"))


def local_zone(depots: list[str]) -> ZoneInfo:
    """The zone of the first of these depots that has one, else of any depot, else UTC."""
    zones = depot_zones()
    named = [zones[depot] for depot in depots if depot in zones] or list(zones.values())
    return ZoneInfo(named[0]) if named else ZoneInfo("UTC")


def day_at(at: datetime, depot: str = "") -> date:
    """The day at a depot at a moment; at any depot with a zone, where it has none or is not named; one query."""
    return at.astimezone(local_zone([depot])).date()
