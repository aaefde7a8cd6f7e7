"""Say that a person has seen what they were told."""

from inventory.services.actions import use_case
from kitting.models import Event
from kitting.selectors.notice_kinds import SEEN
from kitting.selectors.notices import new_notices
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan


@use_case
def see_notices(*, up_to: int, scan: Scan) -> int:
    """Note that a person has seen all notices up to an event; the number of the event that says so.

    Doing it again notes nothing. What recalls say of who was told is read from these notes.

    Args:
        up_to: number of the last event that was shown.
        scan: who and when.
    """
    by = scan["actor"].name
    last = Event.objects.filter(name=SEEN, subject=by).order_by("-number").first()
    is_new = any(one.event.number <= up_to for one in new_notices(scan["actor"], scan["at"]))
    if last is not None and not is_new:
        return last.number
    (event,) = record_events([Happening(SEEN, by, {"up_to": up_to})], by=by, at=scan["at"])
    return event.number
