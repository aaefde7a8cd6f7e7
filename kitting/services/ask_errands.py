"""Ask for long work, take it up, say how far it has come, stop it half way, and end it."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

from django.db import connection, transaction
from django.db.models import F, Q, QuerySet

from kitting.errors import Refusal
from kitting.models import Errand
from kitting.models.errands import DONE, FAILED, REFUSED, RUNNING, STOPPED, WAITING

SILENCE = timedelta(seconds=60)  # without a sign of life for so long, a worker is taken for dead
MOST_TRIES = 3
STORED = "stored"  # the stage from which on nothing can be stopped


def ask_errand(
    *, kind: str, by: str, at: datetime, given: Mapping[str, object], file_name: str = "", file: bytes = b""
) -> Errand:
    """Ask for a piece of work; ``at`` is the moment for whatever it will book."""
    return Errand.objects.create(kind=kind, asked_by=by, asked_at=at, given=dict(given), file_name=file_name, file=file)


@transaction.atomic(durable=True)
def take_up() -> Errand | None:
    """The next errand, now running: the first that waits, or one whose worker died; None where there is none."""
    now = datetime.now(UTC)
    broken = Q(state=RUNNING, beat__lt=now - SILENCE)
    open_ = Errand.objects.filter(Q(state=WAITING) | broken).order_by("pk")
    if connection.features.has_select_for_update_skip_locked:
        open_ = open_.select_for_update(skip_locked=True)
    found = open_.first()
    if found is None:
        return None
    found.tries += 1
    found.state, found.beat, found.stage = RUNNING, now, ""
    if found.tries > MOST_TRIES:
        found.state, found.message = FAILED, f"It was begun {MOST_TRIES} times and never ended."
    found.save(update_fields=("tries", "state", "beat", "stage", "message"))
    return found if found.state == RUNNING else None


def note_stage(errand: Errand, stage: str) -> None:
    """Say how far it has come, which is also a sign of life.

    Raises:
        Refusal: ``stopped``: somebody has stopped it.
    """
    errand.stage = stage
    if not _unless_stopped(errand).update(stage=stage, beat=datetime.now(UTC)):
        raise Refusal("stopped", "It was stopped; nothing was stored.", {"errand": errand.pk})


def stop_errand(errand: Errand, *, by: str) -> None:
    """Stop it half way: whoever does it notices at its next stage, and stores nothing.

    Raises:
        Refusal: ``ended``: it has ended, or has stored what it was asked to.
    """
    open_ = Errand.objects.filter(pk=errand.pk, state__in=(WAITING, RUNNING)).exclude(stage=STORED)
    if not open_.update(state=STOPPED, message=f"Stopped by {by}.", stage=""):
        raise Refusal("ended", "It has ended already; there is nothing to stop.", {"errand": errand.pk})


def _unless_stopped(errand: Errand) -> QuerySet[Errand]:
    return Errand.objects.filter(pk=errand.pk).exclude(state=STOPPED)


def end_errand(errand: Errand, *, result: Mapping[str, object], kept: bytes = b"") -> None:
    """It is done."""
    errand.state, errand.result, errand.kept, errand.stage = DONE, dict(result), kept, ""
    _unless_stopped(errand).update(state=DONE, result=errand.result, kept=kept, stage="")


def refuse_errand(errand: Errand, message: str, result: Mapping[str, object], kept: bytes = b"") -> None:
    """It can't be done, in words."""
    errand.state, errand.message, errand.result, errand.kept = REFUSED, message, dict(result), kept
    _unless_stopped(errand).update(state=REFUSED, message=message, result=errand.result, kept=kept)


def fail_errand(errand: Errand, message: str) -> None:
    """A fault of ours ended it."""
    Errand.objects.filter(pk=errand.pk).update(state=FAILED, message=message, tries=F("tries"))
