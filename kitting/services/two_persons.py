"""What every decision of two persons shares: a reason, another person, and a trace of the attempt to do without."""

from collections.abc import Callable
from datetime import datetime
from functools import wraps
from typing import Any, ParamSpec, TypeVar

from inventory.services.actions import Stamp, use_case
from kitting.calculation.bag_states import SECOND_PERSON
from kitting.errors import Refusal
from kitting.models import REFUSED, Asked
from kitting.roles import Actor
from kitting.services.record_events import Happening, record_events

OWN_REQUEST = "own-request"
_KEPT = {
    OWN_REQUEST: "own request not decided",
    "own-approval": "own approval refused",
    "own-count": "own recount refused",
}
_OWN_CHECK, _NO_RIGHT = "own check refused", "refused for want of a right"
NO_RIGHT = ("not-allowed", "other-depot")
_STOPPED = "scan stopped"
_STOPS = ("bag-not-ready", "lot-held", "expires-before-cutover", "already-out")  # what must not go out or in

P = ParamSpec("P")
T = TypeVar("T")
Record = TypeVar("Record", bound=Asked)


def attempts_kept(function: Callable[P, T]) -> Callable[P, T]:
    """Keep an event where somebody tries to approve, check or count again what is their own; nothing else changes."""

    @wraps(function)
    def run(*args: P.args, **kwargs: P.kwargs) -> T:
        try:
            return function(*args, **kwargs)
        except Refusal as refusal:
            if not is_attempt(refusal):  # pages keep those
                _keep(refusal, kwargs)
            raise

    return run


def _keep(refusal: Refusal, given: Any) -> None:
    keep_attempt(refusal, str(given.get("bag", "")), by=given["actor"].name, at=given["at"])


def is_attempt(refusal: Exception) -> bool:
    """Whether a refusal stands on the record: for want of a right, or of what must not go into a bag or out with it.

    What takes two persons is kept where it is refused.
    """
    if not isinstance(refusal, Refusal) or refusal.data.get("guard") == SECOND_PERSON:
        return False
    return refusal.code in (*NO_RIGHT, *_STOPS)


@use_case
def keep_attempt(refusal: Refusal, subject: str, *, by: str, at: datetime) -> None:
    """Keep an event of what somebody tried without the right to, alone where it takes two, or with what must not move.

    Args:
        refusal: what they were told.
        subject: what they tried it on, where the refusal doesn't say.
        by, at: who tried, and when.
    """
    name = _NO_RIGHT if refusal.code in NO_RIGHT else _KEPT.get(refusal.code, "")
    if refusal.code in _STOPS:
        name = _OWN_CHECK if refusal.data.get("guard") == SECOND_PERSON else _STOPPED
    if name:
        what = refusal.data.get("what") or (refusal.data.get("bag") if name == _STOPPED else "") or subject
        tried = Happening(name, str(what), {"said": refusal.message})
        record_events([tried], by=by, at=at)


def need_reason(reason: str, what: str) -> str:
    """The reason without blanks around it.

    Raises:
        Refusal: ``no-reason``.
    """
    if not reason.strip():
        raise Refusal("no-reason", f"{what} needs a reason.", {"what": what})
    return reason.strip()


def locked(model: type[Record], number: int, *states: str) -> Record:
    """A request that is about to be decided, locked, in one of these states.

    Raises:
        Refusal: ``no-such-request``; ``decided-already``: it is in another state, and who brought it there.
    """
    found = model._default_manager.select_for_update(of=("self",)).filter(pk=number).first()  # noqa: SLF001
    if found is None:
        message = f"There is no {model._meta.verbose_name} {number}."  # noqa: SLF001 - Django's public way to its name
        raise Refusal("no-such-request", message, {"number": number})
    if found.state not in states:
        by = f" by {found.decided_by}" if found.decided_by else ""
        raise Refusal("decided-already", f"The {found} is {found.state}{by} already.", {"state": found.state})
    return found


def same_person(one: str, other: str) -> bool:
    """Whether two names are of one person, however they are written."""
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


def need_another(asked: Asked, actor: Actor) -> None:
    """Refuse whoever asked: another person decides.

    Raises:
        Refusal: ``own-request``.
    """
    if same_person(asked.asked_by, actor.name):
        message = f"{actor.name} asked for {asked}: another person decides."
        raise Refusal(OWN_REQUEST, message, {"what": str(asked), "asked_by": asked.asked_by})


def decide(asked: Asked, *, state: str, actor: Actor, decision: str, at: datetime) -> None:
    """Note who decided, what, why and when; the caller saves."""
    asked.state, asked.decided_by, asked.decided_at, asked.decision = state, actor.name, at, decision


def turn_down(asked: Asked, name: str, *, reason: str, actor: Actor, at: datetime, depot: str = "") -> None:
    """Refuse a locked request for a reason, and tell whoever asked under the name of this event.

    Raises:
        Refusal: ``no-reason``; ``own-request``.
    """
    told = need_reason(reason, "A refusal")
    need_another(asked, actor)
    decide(asked, state=REFUSED, actor=actor, decision=told, at=at)
    asked.save()
    data = {"reason": told, "asked_by": asked.asked_by}
    record_events([Happening(name, str(asked), data, asked.asked_as, depot)], by=actor.name, at=at)


def stamp_of(actor: Actor, at: datetime, action: str) -> Stamp:
    """The stamp of an action of the warehouse."""
    return {"by": actor.name, "at": at, "action": action}
