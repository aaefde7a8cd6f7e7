"""People who count in a small warehouse, in short words."""

from datetime import datetime, timedelta
from typing import Any

from people import AUDITOR, STORES, person
from warehouse import MONDAY, Warehouse, pieces

from kitting.models import CountLine, CountList
from kitting.roles import Actor
from kitting.selectors.count_lists import at_places
from kitting.services.count_places import CountAnswer, enter_count, list_count, recount
from kitting.services.settle_counts import approve_count, explain, post_count

OTHER = person("L. Fenn", "storekeeper")


class Counters(Warehouse):
    """A warehouse in which M. Osei counts, L. Fenn counts again and C. Silva approves."""

    def now(self) -> datetime:
        """The moment of the next deed."""
        at: datetime = self.stamp()["at"]
        return at

    def scan(self, actor: Actor = STORES, **given: Any) -> dict[str, Any]:
        """Who, when and the number of the next scan."""
        stamp = self.stamp()
        return {"actor": actor, "at": stamp["at"], "action": stamp["action"], **given}

    def list(self, *codes: str, depot: str = "N") -> CountList:
        """A list of all at these places."""
        where = self.north if depot == "N" else self.hill
        return list_count(depot=where, to_count=at_places(depot=where, codes=codes), **self.scan())

    def count(self, counted: float | None, line: int = 1, number: int = 1, **given: Any) -> CountAnswer:
        """A figure of a line."""
        figure = None if counted is None else pieces(counted)
        confirmed = given.pop("confirmed", ())
        return enter_count(count_list=number, line=line, counted=figure, confirmed=confirmed, **self.scan(**given))

    def again(self, counted: float | None, line: int = 1, actor: Actor = OTHER, **given: Any) -> CountAnswer:
        """The figure of another person."""
        figure = None if counted is None else pieces(counted)
        confirmed = given.pop("confirmed", ())
        return recount(count_list=1, line=line, counted=figure, confirmed=confirmed, **self.scan(actor, **given))

    def explain(
        self, cause: str = "not booked", words: str = "taken by night", line: int = 1, **given: Any
    ) -> CountLine:
        """Why it differs."""
        confirmed = given.pop("confirmed", ())
        return explain(
            count_list=1, line=line, cause=cause, words=words, confirmed=confirmed, **self.scan(**given)
        )  # fmt: skip

    def approve(self, actor: Actor = AUDITOR, line: int = 1, reason: str = "seen the slips") -> CountLine:
        """Another person agrees."""
        return approve_count(count_list=1, line=line, reason=reason, **self.scan(actor))

    def post(self, **given: Any) -> CountList:
        """Close the list."""
        return post_count(count_list=1, **self.scan(**given))

    @staticmethod
    def line(position: int = 1, number: int = 1) -> CountLine:
        """A line as it is now."""
        found: CountLine = CountLine.objects.get(count_list__number=number, position=position)
        return found


def after(minutes: int) -> datetime:
    """So many minutes after the first moment."""
    return MONDAY + timedelta(minutes=minutes)
