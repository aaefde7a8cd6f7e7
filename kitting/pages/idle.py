"""A device that lies about locks itself: whoever goes on gives a PIN or a password, on the page that was open."""

from time import time

from django.http import HttpRequest

IDLE_S = 15 * 60
_NOTED_S = 60  # the session is written no oftener than that
_SEEN = "seen"


def is_locked(request: HttpRequest) -> bool:
    """Whether nobody has touched the device for a quarter of an hour; else the touch is noted."""
    now = int(time())
    seen = request.session.get(_SEEN)
    if seen is not None and now - seen > IDLE_S:
        return True
    if seen is None or now - seen >= _NOTED_S:
        request.session[_SEEN] = now
    return False


def unlock(request: HttpRequest) -> None:
    """Somebody has just said who they are."""
    request.session[_SEEN] = int(time())
