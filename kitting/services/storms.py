"""Storm mode: a named person opens an event and closes it once everything that went out is accounted for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Unpack
from zoneinfo import ZoneInfo

from inventory.selectors.finding import depot_named
from inventory.services.actions import begin, use_case
from jobs.models import COMPLETE, UNDER_WAY, Job
from kitting.errors import Refusal
from kitting.models import ASKED, KeptKit, Storm
from kitting.models.storms import CLOSED, OPEN, PROTECTIONS
from kitting.roles import APPROVE, ASK, BUYER, DUTY_SUPERVISOR, PLANNER, STOREKEEPER, Actor, require
from kitting.selectors.storms import Refill, keeps_open, refill_of, storm_by_code
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, plain_code, stamp_of
from kitting.services.two_persons import need_reason

STORM = "storm"


@use_case
def ask_storm(*, storm: str, title: str, **scan: Unpack[Scan]) -> Storm:
    """Ask the duty supervisor to open a storm.

    Raises:
        Refusal: ``not-allowed``; ``no-code``; ``no-reason``; ``storm-number-used``.
    """
    require(scan["actor"], STORM, ASK)
    plain, told = plain_code(storm, "A storm"), need_reason(title, "A storm")
    _, repeated = begin("ask storm", {"code": plain, "title": told}, stamp_of(scan))
    if repeated:
        return storm_by_code(plain)
    _refuse_used(plain)
    event = Storm.objects.create(code=plain, title=told, asked_by=scan["actor"].name)
    _tell(event, "storm asked", {"title": told}, (DUTY_SUPERVISOR,), scan)
    return event


@use_case
def open_storm(*, storm: str, depot: str, title: str = "", **scan: Unpack[Scan]) -> Storm:
    """Open a storm that was asked for, or one of one's own; its code is the number of the job that its issues bear.

    Args:
        storm: its code, on every action of the event.
        depot: its home depot.
        title: what it is; needed where nobody has asked for it.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-allowed``; ``no-code``; ``no-reason``; ``unknown-depot``; ``storm-number-used``: as a storm or
            as a job.
    """
    actor, at = scan["actor"], scan["at"]
    require(actor, STORM, APPROVE, depot)
    plain = plain_code(storm, "A storm")
    home = depot_named(depot)
    _, repeated = begin("open storm", {"code": plain, "depot": depot, "title": title}, stamp_of(scan))
    if repeated:
        return storm_by_code(plain)
    event = Storm.objects.select_for_update().filter(code=plain, state=ASKED).first()
    if event is None:
        _refuse_used(plain)
        event = Storm(code=plain)
    event.title = title.strip() or need_reason(event.title, "A storm")
    event.state, event.opened_by, event.opened_at = OPEN, actor.name, at
    if Job.objects.filter(job=plain).exists():
        raise Refusal("storm-number-used", f"{plain} is the number of a job: take another code.", {"storm": plain})
    event.save()
    local = at.astimezone(ZoneInfo(home.time_zone)) if home.time_zone else at
    cutover = f"{local:%Y-%m-%d %H:%M}"
    event.jobs.add(Job.objects.create(job=plain, title=event.title, depot=depot, cutover=cutover, ended=UNDER_WAY))
    told = {"title": event.title, "asked_by": event.asked_by}
    _tell(event, "storm opened", told, (STOREKEEPER, PLANNER, BUYER), scan, depot)
    return event


@use_case
def refuse_storm(*, storm: str, why: str, **scan: Unpack[Scan]) -> None:
    """Refuse to open a storm that was asked for: its code is free again, and who asked is told.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``unknown-storm``; ``storm-state``.
    """
    require(scan["actor"], STORM, APPROVE)
    told = need_reason(why, "A refusal")
    _, repeated = begin("refuse storm", {"storm": storm}, stamp_of(scan), told)
    if repeated:
        return
    event = storm_by_code(storm, ASKED, lock=True)
    _tell(event, "storm refused", {"why": told, "asked_by": event.asked_by}, (PLANNER,), scan)
    event.delete()


@use_case
def keep_kit(*, storm: str, job: str, protection: str, why: str, **scan: Unpack[Scan]) -> KeptKit:
    """Say whether a planned job's kit may be broken while the storm is open; the last word counts.

    Args:
        storm: code of an open one.
        job: whose kit.
        protection: one of ``PROTECTIONS``.
        why: the reason in words.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``; ``unknown-protection``; ``unknown-storm``; ``storm-state``;
            ``unknown-job``.
    """
    _may_keep(scan["actor"])
    told = need_reason(why, "A protection")
    if protection not in PROTECTIONS:
        raise Refusal("unknown-protection", f"A kit is kept: {', '.join(PROTECTIONS)}; not {protection}.", {})
    content = {"storm": storm, "job": job, "protection": protection}
    _, repeated = begin("keep kit in storm", content, stamp_of(scan), told)
    event = storm_by_code(storm, OPEN, lock=True)
    found = Job.objects.filter(job=job).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {job}.", {"job": job})
    if repeated:
        return KeptKit.objects.get(storm=event, job=found)
    new = {"protection": protection, "why": told, "by": scan["actor"].name}
    kept, _ = KeptKit.objects.update_or_create(storm=event, job=found, defaults=new)
    _tell(event, "kit kept in storm", {"job": job, **new}, (STOREKEEPER,), scan, found.depot)
    return kept


@dataclass(frozen=True, slots=True)
class StormEnd:
    """A closed storm, and what purchasing is to bring back."""

    storm: Storm
    refill: Sequence[Refill]


@use_case
def close_storm(*, storm: str, **scan: Unpack[Scan]) -> StormEnd:
    """Close a storm: every lot is named, every bag is closed; purchasing is told what to bring back.

    Raises:
        Refusal: ``not-allowed``; ``unknown-storm``; ``storm-state``; ``storm-not-finished`` names all that is left.
    """
    require(scan["actor"], STORM, APPROVE)
    _, repeated = begin("close storm", {"storm": storm}, stamp_of(scan))
    event = storm_by_code(storm, lock=True)
    if repeated:
        return StormEnd(event, refill_of(event))
    event = storm_by_code(storm, OPEN)
    left = keeps_open(event)
    if left:
        message = f"Storm {storm} can't be closed yet: {'; '.join(left)}."
        raise Refusal("storm-not-finished", message, {"storm": storm, "left": left})
    event.state, event.closed_by, event.closed_at = CLOSED, scan["actor"].name, scan["at"]
    event.save(update_fields=("state", "closed_by", "closed_at"))
    event.jobs.filter(job=storm).update(ended=COMPLETE)
    refill = refill_of(event)
    told = {"refill": [one.sentence for one in refill], "opened_by": event.opened_by}
    _tell(event, "storm closed", told, (BUYER, PLANNER), scan)
    return StormEnd(event, refill)


def _refuse_used(code: str) -> None:
    used = Storm.objects.filter(code=code).first()
    if used is not None:
        message = f"There is a storm {code} already ({used.state}): take another code."
        raise Refusal("storm-number-used", message, {"storm": code, "state": used.state})


def _may_keep(actor: Actor) -> None:
    if not actor.may(STORM, APPROVE):
        require(actor, STORM, ASK)


def _tell(
    event: Storm, name: str, told: Mapping[str, object], roles: Sequence[str], scan: Scan, depot: str = ""
) -> None:
    happenings = [Happening(name, event.code, told, addressed_to=role, depot=depot) for role in roles]
    record_events(happenings, by=scan["actor"].name, at=scan["at"])
