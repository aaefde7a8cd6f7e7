"""The bytes of a file that came from outside, read once and only up to a limit."""

import stat
from collections.abc import Callable
from pathlib import Path

from kitting.errors import Refusal

MEGABYTE = 1_000_000

Progress = Callable[[str, int, int], None]
"""Called with a sheet's name, the rows read so far and the rows in all; what it raises ends the reading."""


def received_bytes(path: Path, limit: int) -> bytes:
    """Content of a regular file (a link to one is followed).

    Args:
        path: the file.
        limit: most bytes that are read.

    Raises:
        Refusal: ``not-found``, ``not-a-file``, ``not-readable``, ``empty-file``, ``file-too-big``.
    """
    try:
        mode = path.stat().st_mode
        if not stat.S_ISREG(mode):  # opening a pipe would wait for ever
            raise Refusal("not-a-file", f"{path.name} is not a file.", {"file": path.name})
        with path.open("rb") as file:
            content = file.read(limit + 1)
    except FileNotFoundError:
        raise Refusal("not-found", f"There is no file {path}.", {"file": path.name}) from None
    except OSError as error:
        raise Refusal("not-readable", f"{path.name} can't be read: {error.strerror}.", {"file": path.name}) from None
    if len(content) > limit:
        size = f"{limit // MEGABYTE} MB"
        raise Refusal(
            "file-too-big",
            f"{path.name} is larger than {size}; leave out what is not used.",
            {"file": path.name, "limit_bytes": limit},
        )
    if not content:
        raise Refusal("empty-file", f"{path.name} is empty: there is nothing in it to read.", {"file": path.name})
    return content
