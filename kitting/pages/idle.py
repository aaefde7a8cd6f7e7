"""A device that lies about locks itself: whoever goes on gives a PIN or a password, on the page that was open.

A form that finds it locked is kept in the session, for the same person: another's session begins empty. Secrets are
typed again, files are sent again.
"""

from dataclasses import dataclass
from time import time

from django.http import HttpRequest

from kitting.pages.asked import typed_again

IDLE_S = 15 * 60
_NOTED_S = 60  # the session is written no oftener than that
_SEEN, _FORM = "seen", "form"


@dataclass(frozen=True, slots=True)
class KeptForm:
    """A form that was sent while the device was locked: to which address, what it holds, secrets to be typed again."""

    to: str
    fields: list[tuple[str, str]]
    secrets: list[str]


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


def keep_form(request: HttpRequest) -> None:
    """Keep what was typed, until the person who typed it has said who they are."""
    fields, secrets = typed_again(request)
    request.session[_FORM] = {"to": request.get_full_path(), "fields": fields, "secrets": secrets}


def kept_form(request: HttpRequest) -> KeptForm | None:
    """The form that was kept last, None where there is none of this person."""
    found = request.session.get(_FORM)
    return KeptForm(**found) if found else None
