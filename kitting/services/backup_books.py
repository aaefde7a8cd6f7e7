"""Back up all books to one file, and restore them into an empty database: the same file for either database."""

import gzip
import hashlib
import json
from collections.abc import Iterator
from itertools import islice, pairwise
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core import serializers
from django.core.exceptions import FieldDoesNotExist
from django.core.management.color import no_style
from django.db import IntegrityError, connection, models, transaction

from kitting.errors import Refusal
from kitting.selectors.sheets import one_moment

FORM = "books 1"
_CURE = "Restore it with the version that wrote it, then migrate."
_PACKAGES = ("jobs", "inventory", "kitting")
_ROWS_AT_ONCE, _FILES_AT_ONCE = 2_000, 10  # held in memory; a row with a file may be many megabytes


def book_models() -> list[type[models.Model]]:
    """Every model of the books, each after those it refers to."""
    found = [model for package in _PACKAGES for model in apps.get_app_config(package).get_models()]
    ordered: list[type[models.Model]] = []
    while found:
        ready = [model for model in found if not _referred(model) & (set(found) - {model})]
        ordered += ready
        found = [model for model in found if model not in ready]
    return ordered


def _referred(model: type[models.Model]) -> set[type[models.Model]]:
    fields = model._meta.get_fields()  # noqa: SLF001 - Django's public way to a model's fields
    return {
        field.related_model
        for field in fields
        if isinstance(field, models.ForeignKey) and isinstance(field.related_model, type)
    }


def _records() -> Iterator[dict[str, Any]]:
    for model in book_models():
        at_once = _FILES_AT_ONCE if _has_files(model) else _ROWS_AT_ONCE
        rows = model._default_manager.order_by("pk").iterator(chunk_size=at_once)  # noqa: SLF001
        while some := [*islice(rows, at_once)]:
            yield from serializers.serialize("python", some)


def _has_files(model: type[models.Model]) -> bool:
    return any(isinstance(field, models.BinaryField) for field in model._meta.get_fields())  # noqa: SLF001


def books_digest() -> str:
    """SHA-256 over every record of the books in a fixed order."""
    digest = hashlib.sha256()
    for record in _records():
        digest.update(_line(record))
    return digest.hexdigest()


def _line(record: dict[str, Any]) -> bytes:
    return json.dumps(record, sort_keys=True, default=str).encode() + b"\n"  # to the microsecond, as events are chained


def back_up(*, path: Path) -> str:
    """Write all books, as they are at one moment, to a gzip file of one record a line, closed by their digest.

    Returns the digest.

    Raises:
        Refusal: ``file-exists``: a backup is never written over; ``file-not-written``.
    """
    if path.exists():
        raise Refusal("file-exists", f"{path.name} exists already; name a new file.", {"file": path.name})
    digest = hashlib.sha256()
    aside = path.with_name(f".{path.name}.part")
    try:
        with one_moment(), gzip.open(aside, "wb") as file:
            file.write(json.dumps({"form": FORM}).encode() + b"\n")
            for record in _records():
                line = _line(record)
                digest.update(line)
                file.write(line)
            file.write(json.dumps({"digest": digest.hexdigest()}).encode() + b"\n")
        aside.rename(path)
    except OSError as error:
        message = f"{path} can't be written: {error.strerror or error}; there is no backup."
        raise Refusal("file-not-written", message, {"file": str(path)}) from None
    return digest.hexdigest()


@transaction.atomic(durable=True)
def restore(*, path: Path) -> str:
    """Read a backup into empty books and prove that they are the same by digest; returns the digest.

    Raises:
        Refusal: ``backup-unreadable``; ``books-not-empty``; ``backup-differs``.
    """
    wanted = _checked(path)
    if any(model._default_manager.exists() for model in book_models()):  # noqa: SLF001
        raise Refusal("books-not-empty", "The books are not empty; restore into a new database.", {})
    try:
        for found in serializers.deserialize("python", _kept_records(path)):
            found.save()
    except (serializers.base.DeserializationError, FieldDoesNotExist, IntegrityError) as error:
        message = f"{path.name} holds the books of another version ({error}). {_CURE}"
        raise Refusal("backup-unreadable", message, {"file": path.name}) from None
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), book_models()):
            cursor.execute(statement)
    restored = books_digest()
    if restored != wanted:
        message = f"{path.name} was read, but the books are not the same; is it of another version? {_CURE}"
        raise Refusal("backup-differs", message, {"file": path.name})
    return restored


def _lines(path: Path) -> Iterator[bytes]:
    with gzip.open(path, "rb") as file:
        yield from file


def _kept_records(path: Path) -> Iterator[dict[str, Any]]:
    """The records of a file that was checked: all lines between its head and its digest, one at a time."""
    lines = _lines(path)
    next(lines)
    for line, _ in pairwise(lines):
        yield json.loads(line)


def _checked(path: Path) -> str:
    """Read a backup through once, a line at a time; the digest that closes it.

    Raises:
        Refusal: ``backup-unreadable``.
    """
    digest = hashlib.sha256()
    try:
        lines = _lines(path)
        form = json.loads(next(lines))["form"]
        tail = next(lines)
        for line in lines:
            digest.update(tail)
            json.loads(tail)
            tail = line
        wanted = str(json.loads(tail)["digest"])
    except (OSError, EOFError, StopIteration, ValueError, KeyError, TypeError) as error:
        raise Refusal("backup-unreadable", f"{path.name} is no backup, or is damaged: {error}", {}) from None
    if form != FORM or digest.hexdigest() != wanted:
        message = f"{path.name} is damaged: its content is not what its digest says."
        raise Refusal("backup-unreadable", message, {"file": path.name})
    return wanted
