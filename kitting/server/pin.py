"""Know a person by their PIN, on a device on which somebody is signed in already."""

from django.contrib.auth.backends import ModelBackend
from django.http import HttpRequest

from kitting.models import Person


class PinBackend(ModelBackend):
    """Asked only by the page that hands a shared device on; passwords are not its business."""

    def authenticate(
        self,
        request: HttpRequest | None,
        username: str | None = None,
        password: str | None = None,
        pin: str = "",
        **_: object,
    ) -> Person | None:
        """The person of this sign-in name and PIN."""
        if not pin or password is not None or request is None or not request.user.is_authenticated:
            return None
        found = Person.objects.filter(sign_in__iexact=username, is_active=True).first()
        return found if found and found.has_pin(pin) else None
