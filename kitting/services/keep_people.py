"""Add people and say what they may do: an administrator's work, each change an event."""

from collections.abc import Collection
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.core.validators import validate_email

from inventory.models import Depot
from inventory.services.actions import use_case
from kitting.errors import Refusal
from kitting.models import Event, Person
from kitting.roles import ADMINISTRATOR, DO, ROLES, VISITING_CREW, Actor, require
from kitting.services.record_events import Happening, record_events

SHORTEST_PASSWORD, SHORTEST_PIN = 10, 4
LONGEST_ACCESS = timedelta(days=30)


@use_case
def keep_person(
    *,
    sign_in: str,
    name: str,
    roles: Collection[str],
    depots: Collection[str],
    actor: Actor,
    at: datetime,
    password: str = "",
    pin: str = "",
    active: bool = True,
    until: datetime | None = None,
    email: str = "",
) -> Person:
    """Add a person, or change what they may do; without a new password or PIN the former stays.

    Args:
        sign_in: what they type.
        name: as it stands on papers.
        roles: names of roles.
        depots: codes of depots where they act; none: everywhere.
        actor: an administrator, who doesn't change what they themselves may do.
        at: moment of the change.
        password, pin: new ones, '' for none.
        active: whether they may sign in.
        until: when the access of a visiting crew ends; nobody else's ends by itself.
        email: where urgent notices are mailed from now on; '' for nowhere.

    Raises:
        Refusal: ``not-allowed``; ``own-rights``; ``no-name``; ``name-taken``; ``unknown-role``; ``unknown-depot``;
            ``short-password``; ``short-pin``; ``no-email``; ``visiting-alone``: a visiting crew has no other role;
            those of ``set_access``.
    """
    require(actor, "people", DO)
    found = Person.objects.select_for_update().filter(sign_in__iexact=sign_in).first() or Person(sign_in=sign_in)
    if found.pk and found.name == actor.name:
        raise Refusal("own-rights", "Another administrator changes what you may do.", {"person": found.name})
    _refuse_unsound(found, sign_in, name, roles, depots)
    before = _rights(found) if found.pk else {}
    found.name, found.roles, found.depots, found.is_active = name, sorted(roles), sorted(depots), active
    _keep_secrets(found, password, pin)
    _give_access(found, until, actor, at)
    _keep_address(found, email, at)
    found.version += 1
    found.save()
    told = {"before": before, "after": _rights(found)}
    record_events([Happening("person kept", found.name, told)], by=actor.name, at=at)
    return found


def _keep_address(found: Person, email: str, at: datetime) -> None:
    """Keep an e-mail address; nothing of before it was given is mailed to it."""
    try:
        validate_email(email or "a@b.example")
    except ValidationError:
        raise Refusal("no-email", f"{email!r} is no e-mail address.", {"email": email}) from None
    if email != found.email:
        last = Event.objects.order_by("-number").values_list("number", flat=True).first()
        found.email, found.mailed_up_to, found.mailed_at = email, last or 0, at


def _rights(found: Person) -> dict[str, object]:
    return {"roles": found.roles, "depots": found.depots, "active": found.is_active, "until": found.access_until}


def _give_access(found: Person, until: datetime | None, actor: Actor, at: datetime) -> None:
    """Note until when a visiting crew has access, and who gave it."""
    if not found.actor().is_visiting:
        found.access_until, found.access_by = None, ""
    elif until != found.access_until or until is None:
        _refuse_end(until, at)
        found.access_until, found.access_by = until, actor.name


def _refuse_end(until: datetime | None, at: datetime) -> None:
    if until is None:
        raise Refusal("no-end", "Say until when the visiting crew has access: day and time.", {})
    if until <= at:
        raise Refusal("ended-already", "The end of an access lies ahead; to stop one, press Stop.", {"until": until})
    if until > at + LONGEST_ACCESS:
        message = f"A visiting crew has access for {LONGEST_ACCESS.days} days at most; extend it later."
        raise Refusal("too-long", message, {"until": until})


@use_case
def set_access(*, sign_in: str, until: datetime | None, actor: Actor, at: datetime) -> Person:
    """Extend the access of a visiting crew, or end it now where ``until`` is None.

    Raises:
        Refusal: ``not-allowed``; ``no-visitor``; ``ended-already``; ``too-long``: more than 30 days ahead.
    """
    require(actor, "people", DO)
    found = Person.objects.select_for_update().filter(sign_in__iexact=sign_in).first()
    if found is None or not found.actor().is_visiting:
        raise Refusal("no-visitor", f"{sign_in!r} is no visiting crew.", {"sign_in": sign_in})
    before = found.access_until
    if until is not None:
        _refuse_end(until, at)
    found.access_until, found.access_by = until or at, actor.name
    found.version += 1
    found.save()
    name = "access extended" if until else "access stopped"
    told = {"before": before, "after": found.access_until}
    record_events([Happening(name, found.name, told)], by=actor.name, at=at)
    return found


def first_administrator(*, sign_in: str, name: str, password: str, at: datetime) -> Person:
    """The first person of new books, who adds the others.

    Raises:
        Refusal: ``people-known``; those of ``keep_person``.
    """
    if Person.objects.exists():
        raise Refusal("people-known", "There are people already: an administrator adds others on the page People.", {})
    root = Actor("whoever set the books up", frozenset({ADMINISTRATOR}))
    return keep_person(
        sign_in=sign_in, name=name, roles=(ADMINISTRATOR,), depots=(), actor=root, at=at, password=password
    )


def _refuse_unsound(found: Person, sign_in: str, name: str, roles: Collection[str], depots: Collection[str]) -> None:
    if not sign_in.strip() or not name.strip():
        raise Refusal("no-name", "Give the sign-in name, and the name as it stands on papers.", {})
    if Person.objects.filter(name__iexact=name).exclude(pk=found.pk).exists():
        raise Refusal("name-taken", f"{name} is known already: two people can't stand on papers under one name.", {})
    strangers = sorted(set(roles) - set(ROLES))
    if strangers or not roles:
        message = f"Name at least one role of: {', '.join(ROLES)}." + (
            f" Not: {', '.join(strangers)}." * bool(strangers)
        )
        raise Refusal("unknown-role", message, {"roles": strangers})
    if VISITING_CREW in roles and len({*roles}) > 1:
        message = "A visiting crew turns in and looks up field answers; it has no other role."
        raise Refusal("visiting-alone", message, {"roles": sorted(roles)})
    known = {*Depot.objects.values_list("depot", flat=True)}
    missing = sorted(set(depots) - known)
    if missing:
        message = f"There is no depot {', '.join(missing)}; there are {', '.join(sorted(known)) or 'none'}."
        raise Refusal("unknown-depot", message, {"depots": missing})


def _keep_secrets(found: Person, password: str, pin: str) -> None:
    if password and len(password) < SHORTEST_PASSWORD:
        raise Refusal("short-password", f"A password has at least {SHORTEST_PASSWORD} characters.", {})
    if pin and (not pin.isdigit() or len(pin) < SHORTEST_PIN):
        raise Refusal("short-pin", f"A PIN has at least {SHORTEST_PIN} digits.", {})
    if password:
        found.set_password(password)
    elif not found.pk:
        found.set_unusable_password()
    if pin:
        found.set_pin(pin)
