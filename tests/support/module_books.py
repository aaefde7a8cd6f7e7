"""Books that are loaded once for all tests of a module; each test changes them in a transaction that is given up."""

from collections.abc import Callable, Iterator

import pytest
from django.core.management import call_command
from pytest_django.plugin import DjangoDbBlocker
from record_books import load
from snapshots import made_once

from kitting.calculation.sheets.raw import RawBook


def nothing_more() -> None:
    """The books as they were loaded."""


def books_of_module(
    sheets: Callable[[], RawBook], prepare: Callable[[], object] = nothing_more
) -> Callable[..., Iterator[None]]:
    """A fixture that loads these sheets before the first test of the module, and empties the books after the last.

    ``prepare`` does in the loaded books what all tests of the module begin with.
    """

    @pytest.fixture(scope="module", autouse=True)
    def books(copies_of_books: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:  # noqa: ARG001
        with django_db_blocker.unblock():
            try:
                made_once(f"{sheets.__module__}.{sheets.__qualname__}", lambda: load(sheets()))
                prepare()
                yield
            finally:
                call_command("flush", verbosity=0, interactive=False)

    return books
