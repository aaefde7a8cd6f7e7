"""On which device something is done: told once where it begins, read where an event is recorded."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime, timedelta

COMMAND_LINE, WORKER = "command line", "worker"
MOST_DRIFT = timedelta(minutes=5)  # a clock that is farther off than that is told


@dataclass(frozen=True, slots=True)
class Device:
    """A device on which somebody acts.

    Args:
        name: its name; '' where nobody has given it one.
        clock_behind: how far its clock is behind the server's, negative where it is ahead; None: it told no time.
        made_at: what its clock said when it was done, if that was before it reached the server.
        is_offline: whether it was done without a signal and kept until there was one.
    """

    name: str = ""
    clock_behind: timedelta | None = None
    made_at: datetime | None = None
    is_offline: bool = False

    def clock(self, reached_at: datetime) -> datetime | None:
        """What its clock said when something was done that reached the books at that moment; None: not known."""
        if self.made_at is not None or self.clock_behind is None:
            return self.made_at
        return reached_at - self.clock_behind


_NO_DEVICE = Device()
_ACTING = ContextVar("acting device", default=_NO_DEVICE)


@contextmanager
def acting_on(device: Device) -> Iterator[None]:
    """What is recorded inside the block is done on this device."""
    before = _ACTING.set(device)
    try:
        yield
    finally:
        _ACTING.reset(before)


def acting_device() -> Device:
    """The device on which whoever acts now acts."""
    return _ACTING.get()
