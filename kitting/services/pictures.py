"""Keep photographs of positions, bags, ends and failures, and take away what is wrong. No step waits for one."""

from collections.abc import Mapping
from typing import Unpack

from inventory.services.actions import begin, use_case
from kitting.errors import Refusal
from kitting.models import Failure, Picture
from kitting.models.pictures import AS_INSTALLED, AT_POSITION, NOTE_LENGTH, OF_BAG, OF_FAILURE
from kitting.roles import DO, require
from kitting.selectors.bag_contents import bag_by_code
from kitting.selectors.installed_ends import history
from kitting.selectors.job_sheet import job_by_number
from kitting.selectors.pictures import positions_of
from kitting.services.picture_files import PictureFile
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, stamp_of
from kitting.services.two_persons import need_reason

# What a picture shows -> the action of the table of roles that keeps it, and takes it away.
RIGHTS: Mapping[str, str] = {
    AT_POSITION: "position picture",
    OF_BAG: "bag picture",
    AS_INSTALLED: "as-installed",
    OF_FAILURE: "failure",
}


@use_case
def picture_position(
    *, job: str, structure: str, position: str, picture: PictureFile, note: str = "", **scan: Unpack[Scan]
) -> Picture:
    """Keep a photograph or drawing of a position of a job: a nameplate, a bushing, a sketch of the pad.

    Args:
        job, structure, position: where.
        picture: read by ``read_picture``.
        note: what it shows, in words.
        scan: who, when, the number of the action: sent twice, it is kept once.

    Raises:
        Refusal: ``unknown-job``; ``unknown-position``: not one of the job; ``not-allowed``, ``other-depot``;
            ``note-too-long``.
    """
    found = job_by_number(job)
    if (structure, position) not in positions_of(found):
        named = "-".join(filter(None, (structure, position)))
        message = f"{job} has no position {named or 'without a name'}: choose one of its schedule."
        raise Refusal("unknown-position", message, {"job": job, "structure": structure, "position": position})
    new = Picture(shows=AT_POSITION, job=found, structure=structure, position=position)
    return _kept(new, found.depot, picture, note, scan)


@use_case
def picture_bag(*, bag: str, picture: PictureFile, note: str = "", **scan: Unpack[Scan]) -> Picture:
    """Keep a photograph of a bag as it is laid out.

    Args:
        bag: code of its label.
        picture, note, scan: as for a position.

    Raises:
        Refusal: no bag has this code; ``not-allowed``, ``other-depot``; ``note-too-long``.
    """
    one = bag_by_code(bag)
    return _kept(Picture(shows=OF_BAG, job=one.job, bag=one), one.depot.depot, picture, note, scan)


@use_case
def picture_end(
    *, structure: str, position: str, picture: PictureFile, note: str = "", **scan: Unpack[Scan]
) -> Picture:
    """Keep a photograph of an end as it was left; it goes with the job that installed there last.

    Args:
        structure, position: the end.
        picture, note, scan: as for a position.

    Raises:
        Refusal: ``nothing-installed``; ``not-allowed``, ``other-depot``; ``note-too-long``.
    """
    fitted = history(structure, position)
    if not fitted:
        message = f"Nothing is noted as installed at {structure}-{position}: note it from its bag first."
        raise Refusal("nothing-installed", message, {"structure": structure, "position": position})
    last = fitted[-1].entry.line.bag
    new = Picture(shows=AS_INSTALLED, job=last.job, structure=structure, position=position)
    return _kept(new, last.depot.depot, picture, note, scan)


@use_case
def picture_failure(*, failure: Failure, picture: PictureFile, note: str = "", **scan: Unpack[Scan]) -> Picture:
    """Keep a photograph of what failed.

    Args:
        failure: the report.
        picture, note, scan: as for a position.

    Raises:
        Refusal: ``not-allowed``; ``note-too-long``.
    """
    return _kept(Picture(shows=OF_FAILURE, failure=failure), "", picture, note, scan)


def _kept(new: Picture, depot: str, picture: PictureFile, note: str, scan: Scan) -> Picture:
    """Keep what a picture shows with its content, and say so in the chain."""
    require(scan["actor"], RIGHTS[new.shows], DO, depot)
    told = note.strip()
    if len(told) > NOTE_LENGTH:
        message = f"The note has {len(told)} letters; {NOTE_LENGTH} are the most."
        raise Refusal("note-too-long", message, {"letters": len(told)})
    job = new.job.job if new.job else ""
    content = {"shows": new.shows, "job": job, "of": new.subject, "digest": picture.digest, "note": told}
    action, repeated = begin("keep picture", content, stamp_of(scan))
    if repeated:
        return Picture.objects.get(action=action)
    new.action, new.by, new.at, new.note = action, scan["actor"].name, scan["at"], told
    new.media_type, new.content, new.small = picture.media_type, picture.content, picture.small
    new.digest = picture.digest
    new.save()
    _record("picture kept", new, {"what": told, "digest": new.digest}, depot, scan)
    return new


@use_case
def take_picture_away(*, number: int, why: str, **scan: Unpack[Scan]) -> Picture:
    """Show a picture nowhere any more, because it is of another place or shows what it must not.

    Args:
        number: of the picture.
        why: the reason in words.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``no-reason``; ``unknown-picture``: there is none, or it was taken away before; ``not-allowed``,
            ``other-depot``.
    """
    told = need_reason(why, "Taking a picture away")
    found = Picture.objects.select_for_update(of=("self",)).select_related("job", "bag__depot", "bag__job", "failure")
    one = found.defer("content", "small").filter(pk=number).first()
    if one is None:
        raise Refusal("unknown-picture", f"There is no picture {number}.", {"number": number})
    depot = one.bag.depot.depot if one.bag else one.job.depot if one.job else ""
    require(scan["actor"], RIGHTS[one.shows], DO, depot)
    _, repeated = begin("take picture away", {"number": number}, stamp_of(scan), told)
    if repeated:
        return one
    if one.taken_away_why:
        raise Refusal("unknown-picture", f"Picture {number} was taken away before: {one.taken_away_why}.", {})
    one.taken_away_why = told
    one.save(update_fields=["taken_away_why"])
    _record("picture taken away", one, {"why": told, "digest": one.digest}, depot, scan)
    return one


def _record(name: str, one: Picture, data: Mapping[str, object], depot: str, scan: Scan) -> None:
    of_job = {"job": one.job.job} if one.job else {}
    of_thing = {"bag": one.bag.code} if one.bag else {**of_job, "shows": one.shows}
    told = {**of_thing, **data, "picture": one.pk, "action": scan["action"]}
    record_events([Happening(name, one.subject, told, depot=depot)], by=scan["actor"].name, at=scan["at"])
