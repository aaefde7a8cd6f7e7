"""Who may sign in and do what: the administrator's page."""

from collections.abc import Sequence
from datetime import datetime
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot
from kitting.models import Person
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.tables import Table
from kitting.pages.typed import back_with_typed, typed_moment
from kitting.roles import DO, ROLES
from kitting.selectors.access import has_access, visitors
from kitting.services.keep_people import LONGEST_ACCESS, keep_person, set_access

_EXTEND, _STOP = "extend", "stop"
_KEPT_AFTER_REFUSAL = ("sign_in", "name", "roles", "depots", "until", "email", "active")  # never a password or a PIN


def people(asked: Asked) -> HttpResponse:
    """Everybody, and a form to add a person or to change what one may do; visiting crews, until when and by whom."""
    here = reverse("people")
    if asked.request.method == "POST":
        if asked.text("do") in (_EXTEND, _STOP):
            return attempt(asked, lambda: _access(asked), here, back=back_with_typed(asked, here))
        typed = [(name, text) for name in _KEPT_AFTER_REFUSAL for text in asked.request.POST.getlist(name)]
        return attempt(asked, lambda: _kept(asked), here, back=f"{here}?{urlencode([*typed, ('typed', 'yes')])}")
    rows = [
        [one.sign_in, one.name, ", ".join(one.roles),
         ", ".join(one.depots) or "every depot", _may_sign_in(asked, one),
         "has a PIN" if one.pin else "no PIN"]
        for one in Person.objects.order_by("name")
    ]  # fmt: skip
    heads = ("Signs in as", "Name on papers", "Roles", "Acts at", "Account", "PIN")
    wanted = asked.text("person") or asked.text("sign_in")
    chosen = Person.objects.filter(sign_in__iexact=wanted).first() if wanted else None
    context = {
        "table": Table("People", heads, rows, "Nobody is known yet."),
        "roles": ROLES, "depots": [*Depot.objects.order_by("depot").values_list("depot", flat=True)],
        "chosen": chosen, "form": _form(asked, chosen), "people": Person.objects.order_by("name"),
        "mails": settings.MAILS_NOTICES, "may_keep": asked.actor.may("people", DO), "days": LONGEST_ACCESS.days,
        "visitors": [(one, _until(asked, one), has_access(one.actor(), asked.at)) for one in visitors()],
    }  # fmt: skip
    return page(asked, "people.html", context)


def _may_sign_in(asked: Asked, one: Person) -> str:
    if not one.is_active:
        return "shut out"
    return "may sign in" if has_access(one.actor(), asked.at) else "access ended"


def _form(asked: Asked, chosen: Person | None) -> dict[str, object]:
    """What stands in the form: what was typed before a refusal, else the person's own."""
    if asked.text("typed"):
        lists: dict[str, Sequence[str]] = {name: asked.request.GET.getlist(name) for name in ("roles", "depots")}
        texts = {name: asked.text(name) for name in ("sign_in", "name", "until", "email")}
        return {**lists, **texts, "active": bool(asked.text("active"))}
    if chosen is None:
        return {"active": True}
    return {
        "sign_in": chosen.sign_in, "name": chosen.name, "roles": chosen.roles, "depots": chosen.depots,
        "active": chosen.is_active, "email": chosen.email, "until": _local(asked, chosen.access_until),
    }  # fmt: skip


def _until(asked: Asked, one: Person) -> str:
    """The end of a visitor's access: what was typed before a refusal, else what stands."""
    typed = asked.text("until") if asked.text("visitor") == one.sign_in else ""
    return typed or _local(asked, one.access_until)


def _local(asked: Asked, moment: datetime | None) -> str:
    """A moment as a field for day and time shows it."""
    return f"{moment.astimezone(asked.zone):%Y-%m-%dT%H:%M}" if moment else ""


def _kept(asked: Asked) -> tuple[str, str]:
    form = asked.request.POST
    known = Person.objects.filter(sign_in__iexact=asked.text("sign_in")).first()
    is_same = known is not None and asked.text("until") == _local(asked, known.access_until)
    found = keep_person(
        sign_in=asked.text("sign_in"), name=asked.text("name"), roles=form.getlist("roles"),
        depots=form.getlist("depots"), actor=asked.actor, at=asked.at, password=form.get("password", ""),
        pin=asked.text("pin"), active="active" in form, email=asked.text("email"),
        until=known.access_until if known and is_same else typed_moment(asked, asked.text("until")),
    )  # fmt: skip
    until = f", until {_local(asked, found.access_until).replace('T', ' ')}" if found.access_until else ""
    return "KEPT", f"{found.name}: {', '.join(found.roles)} at {', '.join(found.depots) or 'every depot'}{until}."


def _access(asked: Asked) -> tuple[str, str]:
    """Extend the access of a visiting crew, or stop it now."""
    until = typed_moment(asked, asked.text("until")) if asked.text("do") == _EXTEND else None
    found = set_access(sign_in=asked.text("visitor"), until=until, actor=asked.actor, at=asked.at)
    moment = _local(asked, found.access_until).replace("T", " ")
    return ("EXTENDED", f"{found} has access until {moment}.") if until else ("STOPPED", f"{found} has no access now.")
