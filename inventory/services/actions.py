"""An action is carried out once: its number, who, when, and a digest of what it asks."""

import hashlib
import json
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import wraps
from random import uniform
from time import sleep
from typing import NotRequired, ParamSpec, TypedDict, TypeVar

from django.db import OperationalError, connection, transaction

from inventory.errors import Refusal
from inventory.models import Action

ATTEMPTS = 8
_LONGEST_PAUSE_S = 0.05
# PostgreSQL's appendix "Error Codes": serialization_failure, deadlock_detected.
_TO_RETRY = {"40001", "40P01"}
# One statement answers whether the number is taken: nobody can take it between looking and storing.
_FIELDS = [field for field in Action._meta.concrete_fields if not field.primary_key]  # noqa: SLF001 - public in Django
_COLUMNS = ", ".join(f'"{field.column}"' for field in _FIELDS)
_MARKS = ", ".join(["%s"] * len(_FIELDS))
_STORE = (
    f"INSERT INTO inventory_action ({_COLUMNS}) VALUES ({_MARKS}) "  # noqa: S608 - our own names
    "ON CONFLICT (number) DO NOTHING RETURNING id"
)

P = ParamSpec("P")
T = TypeVar("T")


class Stamp(TypedDict):
    """Who acts, at which moment of the server, under which number; the paper and the clock of the device, if any."""

    by: str
    at: datetime
    action: str
    paper: NotRequired[str]
    device_at: NotRequired[datetime | None]


def use_case(function: Callable[P, T]) -> Callable[P, T]:
    """One transaction of its own, and another one where the database gave this one up for the sake of others."""
    in_one_transaction = transaction.atomic(durable=True)(function)

    @wraps(function)
    def run(*args: P.args, **kwargs: P.kwargs) -> T:
        for attempt in range(1, ATTEMPTS):
            try:
                return in_one_transaction(*args, **kwargs)
            except OperationalError as error:
                if not _given_up_for_others(error):
                    raise
            sleep(uniform(0, _LONGEST_PAUSE_S * attempt))  # noqa: S311 - spreads rivals, decides nothing
        return in_one_transaction(*args, **kwargs)

    return run


def _given_up_for_others(error: OperationalError) -> bool:
    return getattr(error.__cause__, "sqlstate", None) in _TO_RETRY or "database is locked" in str(error)


def begin(use_case: str, content: Mapping[str, object], stamp: Stamp, why: str = "") -> tuple[Action, bool]:
    """The action of this number, and whether it was carried out before.

    Args:
        use_case: its name.
        content: all that is asked, as it can be written in JSON; the order of names doesn't matter.
        stamp: who, when, and the number.
        why: the reason in words.

    Raises:
        Refusal: the number stands for another content, a moment has no zone, or the person has no name.
    """
    facts = {"action": stamp["action"]}
    if stamp["at"].tzinfo is None:
        raise Refusal("moment-without-zone", "The moment of an action needs its time zone.", facts)
    if not stamp["by"].strip() or not stamp["action"].strip():
        raise Refusal("no-name", "An action needs a number and the name of who does it.", facts)
    asked = json.dumps([use_case, stamp["by"], stamp.get("paper", ""), why, content], sort_keys=True, default=str)
    new = Action(
        number=stamp["action"],
        use_case=use_case,
        digest=hashlib.sha256(asked.encode()).hexdigest(),
        why=why,
        paper=stamp.get("paper", ""),
        by=stamp["by"],
        at=stamp["at"],
        device_at=stamp.get("device_at"),
    )
    if _is_stored(new):
        return new, False
    known = Action.objects.get(number=new.number)
    if known.digest != new.digest:
        raise Refusal(
            "action-number-used",
            f"Action {known.number} is already booked with another content by {known.by}: take a new number.",
            {"action": known.number, "by": known.by, "at": known.at, "use_case": known.use_case},
        )
    return known, True


def _is_stored(new: Action) -> bool:
    """Whether the action was stored now; else there is another one of its number, whose transaction has ended."""
    with connection.cursor() as cursor:
        cursor.execute(_STORE, [field.get_db_prep_save(getattr(new, field.attname), connection) for field in _FIELDS])
        stored = cursor.fetchone()
    if stored is not None:
        (new.pk,) = stored
        new._state.adding = False  # noqa: SLF001 - Django's public way to say so
    return stored is not None
