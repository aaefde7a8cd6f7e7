"""Back up all books to one file, and restore them into an empty database: the same file for either database."""

import gzip
import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.apps import apps
from django.core import serializers
from django.core.management.color import no_style
from django.db import connection, models, transaction

from kitting.errors import Refusal

FORM = "books 1"
_PACKAGES = ("jobs", "inventory", "kitting")


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
        rows = model._default_manager.order_by("pk").iterator(chunk_size=2000)  # noqa: SLF001
        yield from serializers.serialize("python", rows)


def books_digest() -> str:
    """SHA-256 over every record of the books in a fixed order."""
    digest = hashlib.sha256()
    for record in _records():
        digest.update(_line(record))
    return digest.hexdigest()


def _line(record: dict[str, Any]) -> bytes:
    return json.dumps(record, sort_keys=True, default=str).encode() + b"\n"  # to the microsecond, as events are chained


@transaction.atomic(durable=True)
def back_up(*, path: Path) -> str:
    """Write all books to a gzip file of one record a line, closed by their digest; returns the digest.

    Raises:
        Refusal: ``file-exists``: a backup is never written over.
    """
    if path.exists():
        raise Refusal("file-exists", f"{path.name} exists already; name a new file.", {"file": path.name})
    digest = hashlib.sha256()
    aside = path.with_name(f".{path.name}.part")
    with gzip.open(aside, "wb") as file:
        file.write(json.dumps({"form": FORM}).encode() + b"\n")
        for record in _records():
            line = _line(record)
            digest.update(line)
            file.write(line)
        file.write(json.dumps({"digest": digest.hexdigest()}).encode() + b"\n")
    aside.rename(path)
    return digest.hexdigest()


@transaction.atomic(durable=True)
def restore(*, path: Path) -> str:
    """Read a backup into empty books and prove that they are the same by digest; returns the digest.

    Raises:
        Refusal: ``backup-unreadable``; ``books-not-empty``; ``backup-differs``.
    """
    records, wanted = _read(path)
    if any(model._default_manager.exists() for model in book_models()):  # noqa: SLF001
        raise Refusal("books-not-empty", "The books are not empty; restore into a new database.", {})
    for found in serializers.deserialize("python", records):
        found.save()
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), book_models()):
            cursor.execute(statement)
    restored = books_digest()
    if restored != wanted:
        raise Refusal("backup-differs", f"{path.name} was read, but the books are not the same.", {"file": path.name})
    return restored


def _read(path: Path) -> tuple[list[dict[str, Any]], str]:
    digest = hashlib.sha256()
    try:
        with gzip.open(path, "rb") as file:
            head, *lines, tail = file.read().splitlines(keepends=True)
        form, wanted = json.loads(head)["form"], str(json.loads(tail)["digest"])
        for line in lines:
            digest.update(line)
        records = [json.loads(line) for line in lines]
    except (OSError, EOFError, ValueError, KeyError, TypeError) as error:
        raise Refusal("backup-unreadable", f"{path.name} is no backup, or is damaged: {error}", {}) from None
    if form != FORM or digest.hexdigest() != wanted:
        message = f"{path.name} is damaged: its content is not what its digest says."
        raise Refusal("backup-unreadable", message, {"file": path.name})
    return records, wanted
