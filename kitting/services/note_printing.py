"""Note what left the books: a paper, so that the next print of the same revision says REPRINT, or their sheets."""

from datetime import datetime
from typing import TypedDict, Unpack

from inventory.services.actions import begin, use_case
from kitting.models import Printing
from kitting.roles import Actor
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.two_persons import stamp_of


class Stamp(TypedDict):
    """Who, when, and the number of the action."""

    actor: Actor
    at: datetime
    action: str


@use_case
def note_printing(*, document: str, subject: str, revision: str = "", digest: str = "", **stamp: Unpack[Stamp]) -> int:
    """Note a print and give its number: 0 for the first of a revision, n for REPRINT n.

    Who may see what a paper shows may print it; the page that shows it has asked for that right.

    Args:
        document: kind of paper, such as ``bag label``.
        subject: what it is about: the bag's code, the job, the lot.
        revision: of what is printed; '' where it has none.
        digest: SHA-256 over a file that left the books, which proves what it said; '' for a print.
        stamp: who, when, the number of the action: sent twice, it is one print.

    Raises:
        Refusal: ``action-number-used``: the number stands for something else.
    """
    actor, at = stamp["actor"], stamp["at"]
    content = {"document": document, "subject": subject, "revision": revision}
    action, repeated = begin("note printing", content, stamp_of(actor, at, stamp["action"]))
    if repeated:
        return Printing.objects.get(action=action).number
    lock_chain()  # two who print at once get two numbers
    number = Printing.objects.filter(document=document, subject=subject, revision=revision).count()
    Printing.objects.create(action=action, number=number, by=actor.name, at=at, **content)
    told = {"document": document, "revision": revision, "reprint": number, **({"digest": digest} if digest else {})}
    record_events([Happening("printed", f"{document} {subject}", told)], by=actor.name, at=at)
    return number


@use_case
def note_export(*, subject: str, digest: str, by: str, at: datetime) -> None:
    """Note that the sheets of the records were written to a file, by its name; the digest proves what they said."""
    record_events([Happening("sheets written", subject, {"digest": digest})], by=by, at=at)


@use_case
def note_file(*, document: str, subject: str, revision: str, digest: str, by: str, at: datetime) -> None:
    """Note which file was made of a print that is noted under the same names.

    Args:
        document, subject, revision: as of the print.
        digest: SHA-256 over the whole file, which proves what it said.
        by, at: who has it, and since when.
    """
    told = {"document": document, "revision": revision, "digest": digest}
    record_events([Happening("file written", f"{document} {subject}", told)], by=by, at=at)
