"""Scans that a device kept while it had no signal: each is applied once, and what can't be is kept for a person."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Any

from django.db.models import QuerySet

import inventory.errors
from inventory.errors import Doubt
from inventory.models import Action
from inventory.selectors.finding import depot_named, place_at
from inventory.services.actions import use_case
from kitting.errors import Refusal
from kitting.models import CountList, KeptScan
from kitting.roles import ADMINISTRATOR, DO, STOREKEEPER, Actor, require
from kitting.selectors.access import access_refusal
from kitting.selectors.bag_contents import bag_of_label
from kitting.services.count_places import CountAnswer, enter_count, recount
from kitting.services.devices import MOST_DRIFT, Device, acting_on
from kitting.services.fill_bags import check, finish_short, lift, pick, put_back, reopen
from kitting.services.issue_bags import begin_work, hand_back, issue, stage
from kitting.services.record_events import Happening, record_events
from kitting.services.return_bags import Installed, close, install, turn_in, write_off
from kitting.services.scans import Answer
from kitting.services.two_persons import need_reason

_PLACE, _PIECES = "place", "pieces"
_PICK = "pick"
NOT_READ, _LONGEST_NAME = ", not read", 29  # no scan is named so: what can't be read is never booked
SCANS: Mapping[str, Callable[..., Answer | CountAnswer]] = MappingProxyType(
    {
        _PICK: pick,
        "put back": put_back,
        "finish short": finish_short,
        "check": check,
        "reopen": reopen,
        "lift hold": lift,
        "stage": stage,
        "issue": issue,
        "hand back": hand_back,
        "begin work": begin_work,
        "install": install,
        "turn in": turn_in,
        "write off": write_off,
        "close": close,
        "count": enter_count,
        "recount": recount,
    }
)


@dataclass(frozen=True, slots=True)
class Recorded:
    """A scan as a device kept it.

    Args:
        name: of the scan, one of ``SCANS``.
        content: its arguments as JSON holds them: a place is ``[depot, code, kind]``, fitted pieces are objects.
        action: the number that the device made for it.
        device_at: what the device's clock said.
        actor: who scanned.
        unread: why what the device sent can't be read, '' where it can; it is kept then, and never booked.
    """

    name: str
    content: Mapping[str, Any]
    action: str
    device_at: datetime
    actor: Actor
    unread: str = ""


@dataclass(frozen=True, slots=True)
class Replayed:
    """Numbers of scans that were applied now, that were known, and that are kept for a person."""

    applied: tuple[str, ...]
    known: tuple[str, ...]
    kept: tuple[str, ...]


def replay(*, device: str, scans: Sequence[Recorded], device_now: datetime, at: datetime) -> Replayed:
    """Apply a device's scans in its own order, each in a transaction of its own; sending them again changes nothing.

    Args:
        device: its name.
        scans: in the order in which they were made.
        device_now: what the device's clock says while it sends; more than five minutes off is noted, order is kept,
            and the moment of a scan is set right by it.
        at: the moment on the server.

    What was done is a fact: a scan made before a lot was put on hold is booked, the bag goes on hold behind it, and the
    auditor is told. What a pick would have asked, such as of another job's promise, is told to stores.

    Scans of a visiting crew whose access has ended meanwhile are kept as well, and nothing of them is booked.

    What can't be applied is kept with the reason, and stays kept until a person settles it or a later replay finds
    that it can be applied.
    """
    behind = at - device_now
    if abs(behind) > MOST_DRIFT:
        with acting_on(Device(device, behind)):
            _note_drift(device, device_now, at)
    applied: list[str] = []
    known: list[str] = []
    kept: list[str] = []
    for scan in scans:
        with acting_on(Device(device, behind, scan.device_at, is_offline=True)):
            if scan.unread:
                named = f"{scan.name or 'scan':.{_LONGEST_NAME}}{NOT_READ}"
                _keep(device, replace(scan, name=named), scan.unread, at)
                kept.append(scan.action)
                continue
            no_access = access_refusal(scan.actor, at)
            if no_access:
                is_known = Action.objects.filter(number=scan.action).exists()
                (known if is_known else kept).append(scan.action)
                if not is_known:
                    _keep(device, scan, no_access, at)
                continue
            try:
                answer = _apply_fact(scan, at, behind)
            except (Refusal, inventory.errors.Refusal) as refusal:
                _keep(device, scan, refusal.message, at)
                kept.append(scan.action)
                continue
        (known if answer.repeated else applied).append(scan.action)
        if not answer.repeated:
            KeptScan.objects.filter(action=scan.action, settled_by="").update(
                settled_by=scan.actor.name, settled_why="applied when it was sent again"
            )
    return Replayed(tuple(applied), tuple(known), tuple(kept))


def book_kept(*, action: str, actor: Actor, at: datetime, confirmed: Collection[str] = ()) -> Answer | CountAnswer:
    """Book a kept scan after all, as the person who decides about it, at the moment on the device that made it.

    Raises:
        Doubt: as the scan.
        Refusal: ``not-allowed``, ``other-depot``; ``no-kept-scan``; as the scan, which stays kept then.
    """
    kept = _waiting(KeptScan.objects.all(), action, actor)
    content = _confirmed(kept.content, confirmed) if confirmed else kept.content
    answer = _apply(Recorded(kept.use_case, content, action, kept.device_at, actor), at, timedelta())
    settle_scan(action=action, why=f"booked as {kept.by} had scanned it", actor=actor, at=at)
    return answer


def keep_typed(*, page: str, typed: Mapping[str, object], why: str, action: str, actor: Actor, at: datetime) -> None:
    """Keep what somebody without access typed into a page, so that a person can look at it; nothing is booked."""
    _keep("a browser", Recorded(page, typed, action, at, actor), why, at)


@use_case
def settle_scan(*, action: str, why: str, actor: Actor, at: datetime) -> KeptScan:
    """Say what became of a kept scan, such as that the other crew had the bag; nothing is booked by it.

    Raises:
        Refusal: ``not-allowed``, ``other-depot``; ``no-reason``; ``no-kept-scan``.
    """
    found = _waiting(KeptScan.objects.select_for_update(), action, actor)
    reason = need_reason(why, "Settling a scan")
    found.settled_by, found.settled_why = actor.name, reason
    found.save(update_fields=("settled_by", "settled_why"))
    told = {"scan": found.use_case, "device": found.device, "was": found.why, "reason": reason}
    record_events([Happening("kept scan settled", action, told, depot=found.depot)], by=actor.name, at=at)
    return found


def _waiting(scans: QuerySet[KeptScan], action: str, actor: Actor) -> KeptScan:
    """The scan of a number that waits for a person such as this one.

    Raises:
        Refusal: ``not-allowed``, ``other-depot``; ``no-kept-scan``.
    """
    found = scans.filter(action=action, settled_by="").first()
    require(actor, "bags", DO, found.depot if found else None)
    if found is None:
        raise Refusal("no-kept-scan", f"No scan {action} waits for a person.", {"action": action})
    return found


def _apply_fact(scan: Recorded, at: datetime, clock_behind: timedelta) -> Answer | CountAnswer:
    """Apply a scan; a pick that only asks has happened, so it is booked, and what it asked is told."""
    try:
        return _apply(scan, at, clock_behind)
    except Doubt as doubt:
        asked = doubt.data.get("questions")
        if scan.name != _PICK or not isinstance(asked, Mapping):
            raise
        answer = _apply(replace(scan, content=_confirmed(scan.content, asked)), at, clock_behind)
        if not answer.repeated:
            _tell_fact(scan, asked, at)
        return answer


def _confirmed(content: Mapping[str, Any], more: Iterable[str]) -> Mapping[str, Any]:
    """What a scan says, with more questions answered with yes than those that were answered on the device."""
    return {**content, "confirmed": (*content.get("confirmed", ()), *more)}


@use_case
def _tell_fact(scan: Recorded, asked: Mapping[str, str], at: datetime) -> None:
    told = {"scan": scan.name, "why": [*asked.values()]}
    happening = Happening("pick booked without asking", scan.action, told, addressed_to=STOREKEEPER)
    record_events([happening], by=scan.actor.name, at=scan.device_at, recorded_at=at)


def _apply(scan: Recorded, at: datetime, clock_behind: timedelta) -> Answer | CountAnswer:
    if scan.name not in SCANS:
        raise Refusal("unknown-scan", f"There is no scan {scan.name}; there are {', '.join(SCANS)}.", {})
    given = dict(scan.content)
    if given.get(_PLACE):
        depot, code, kind = given[_PLACE]
        given[_PLACE] = place_at(depot=depot_named(depot), code=code, kind=kind)
    if _PIECES in given:
        given[_PIECES] = [Installed(**piece) for piece in given[_PIECES]]
    # A hold that was placed after it was done did not stop it; a count is of the moment it was made.
    given["made_at"] = min(scan.device_at + clock_behind, at)
    return SCANS[scan.name](**given, actor=scan.actor, at=at, action=scan.action, device_at=scan.device_at)


@use_case
def _keep(device: str, scan: Recorded, why: str, at: datetime) -> None:
    kept, new = KeptScan.objects.get_or_create(
        action=scan.action,
        defaults={
            "device": device,
            "use_case": scan.name,
            "content": dict(scan.content),
            "by": scan.actor.name,
            "device_at": scan.device_at,
            "reached_at": at,
            "why": why,
            "depot": _depot_of(scan),
        },
    )
    if new:
        told = {"scan": scan.name, "device": device, "why": kept.why}
        happening = Happening("scan kept for a person", scan.action, told, addressed_to=STOREKEEPER, depot=kept.depot)
        record_events([happening], by=scan.actor.name, at=scan.device_at, recorded_at=at)


def _depot_of(scan: Recorded) -> str:
    """The depot of the bag or of the count that a scan names, else of who scanned; '' where that may be several."""
    found = CountList.objects.filter(number=scan.content.get("count_list", 0)).select_related("depot").first()
    if found:
        return found.depot.depot
    with suppress(Refusal):
        return bag_of_label(str(scan.content.get("bag") or scan.content.get("code", "")))[0].depot.depot
    return next(iter(scan.actor.depots)) if len(scan.actor.depots) == 1 else ""


@use_case
def _note_drift(device: str, device_now: datetime, at: datetime) -> None:
    told = {"device clock": device_now, "server clock": at}
    record_events([Happening("device clock is off", device, told, addressed_to=ADMINISTRATOR)], by=device, at=at)
