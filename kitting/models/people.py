"""Who may sign in: a name as it stands on papers, roles, depots, and a PIN for devices that several people share."""

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.hashers import check_password, make_password
from django.db import models

from jobs.models import CODE_LENGTH, NAME_LENGTH
from kitting.roles import Actor


class People(BaseUserManager["Person"]):
    """Finds people by what they type."""

    def get_by_natural_key(self, username: str | None) -> "Person":
        """Whoever signs in under this name, in any case of letters."""
        return self.get(sign_in__iexact=username)


class Person(AbstractBaseUser):
    """A person with roles; ``depots`` are codes of depots where they act, none of them: everywhere.

    ``pin`` is kept as a digest, '' for none. ``access_until`` is when the access of a visiting crew ends, and
    ``access_by`` who gave it. ``mailed_up_to`` and ``mailed_at`` are the last event and moment of which the address was
    told.
    """

    sign_in = models.CharField(max_length=CODE_LENGTH, unique=True)
    name = models.CharField(max_length=NAME_LENGTH, unique=True)
    roles = models.JSONField(default=list)
    depots = models.JSONField(default=list, blank=True)
    pin = models.CharField(max_length=128, blank=True)
    is_active = models.BooleanField(default=True)
    access_until = models.DateTimeField(null=True, blank=True)
    access_by = models.CharField(max_length=NAME_LENGTH, blank=True)
    email = models.EmailField(blank=True)
    mailed_up_to = models.BigIntegerField(default=0)
    mailed_at = models.DateTimeField(null=True, blank=True)
    version = models.PositiveIntegerField(default=1)

    USERNAME_FIELD = "sign_in"
    objects = People()

    class Meta:
        """A person has a name, and somebody gave an access that ends."""

        constraints = (
            models.CheckConstraint(condition=~models.Q(name=""), name="person_has_a_name"),
            models.CheckConstraint(
                condition=models.Q(access_until__isnull=True) | ~models.Q(access_by=""), name="access_given_by_somebody"
            ),
            models.CheckConstraint(
                condition=models.Q(email="") | models.Q(mailed_at__isnull=False), name="mailed_from_a_moment_on"
            ),
        )

    def __str__(self) -> str:
        return self.name

    def actor(self) -> Actor:
        """The person as whoever acts."""
        return Actor(self.name, frozenset(self.roles), frozenset(self.depots), self.access_until)

    def set_pin(self, pin: str) -> None:
        """Keep the digest of a PIN."""
        self.pin = make_password(pin)

    def has_pin(self, pin: str) -> bool:
        """Whether this is the PIN."""
        return bool(self.pin) and check_password(pin, self.pin)
