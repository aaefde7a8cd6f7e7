"""What the commands that write papers of the records share: the note of the print, and the file."""

import hashlib
from collections.abc import Callable
from dataclasses import replace
from getpass import getuser
from pathlib import Path
from typing import TypeVar
from uuid import uuid4

from kitting.documents.record_papers import Printed, content_revision, moment_text
from kitting.management.books import now
from kitting.roles import Actor
from kitting.selectors.policies import paper_choices
from kitting.services.note_printing import note_file, note_printing

Content = TypeVar("Content")


def write_paper(
    path: Path,
    content: Content,
    paper: Callable[[Content, Printed], bytes],
    *,
    subject: str,
    document: str = "",
    revision: str = "",
) -> None:
    """Note the print, and write the paper as PDF with its number; a second print of the same revision says REPRINT.

    Args:
        path: file to write.
        content: what the paper shows.
        paper: makes the PDF.
        subject: what it is about: the job, the bag, the number of a list.
        document: kind of paper, as the pages note it; that of the file's name where none is given.
        revision: of the content; made from it where it has none of its own.
    """
    revision, document = revision or content_revision(content), document or path.stem
    path.write_bytes(paper(content, noted_print(document, subject, revision)))


def write_proven(
    path: Path,
    content: Content,
    paper: Callable[[Content, Printed], bytes],
    *,
    subject: str,
    document: str,
    stock_as_of: str = "",
) -> None:
    """The same for a file that must be proved: the digest over all of it is noted as well.

    Args:
        path, content, paper, subject, document: as of ``write_paper``.
        stock_as_of: the past moment whose stock it shows, in words; '' for now.
    """
    about = noted_print(document, subject, content_revision(content))
    about = replace(about, stock_as_of=stock_as_of) if stock_as_of else about
    file = paper(content, about)
    names = {"document": document, "subject": subject, "revision": about.revision}
    note_file(**names, digest=hashlib.sha256(file).hexdigest(), by=about.person, at=now())
    path.write_bytes(file)


def noted_print(document: str, subject: str, revision: str) -> Printed:
    """Note a print by whoever runs the command, and what the paper says about it."""
    at, actor = now(), Actor(getuser(), frozenset())
    number = note_printing(
        document=document, subject=subject, revision=revision, actor=actor, at=at, action=f"print-{uuid4()}"
    )
    kind, wording, demo = paper_choices()
    return Printed(moment_text(at), at, actor.name, number, revision, kind, wording, demo)
