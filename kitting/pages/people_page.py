"""Who may sign in and do what: the administrator's page."""

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot
from kitting.models import Person
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.tables import Table
from kitting.roles import DO, ROLES
from kitting.services.keep_people import keep_person


def people(asked: Asked) -> HttpResponse:
    """Everybody, and a form to add a person or to change what one may do."""
    if asked.request.method == "POST":
        return attempt(asked, lambda: _kept(asked), reverse("people"))
    rows = [
        [one.sign_in, one.name, ", ".join(one.roles),
         ", ".join(one.depots) or "every depot", "may sign in" if one.is_active else "shut out",
         "has a PIN" if one.pin else "no PIN"]
        for one in Person.objects.order_by("name")
    ]  # fmt: skip
    heads = ("Signs in as", "Name on papers", "Roles", "Acts at", "Account", "PIN")
    chosen = Person.objects.filter(sign_in=asked.text("person")).first()
    context = {
        "table": Table("People", heads, rows, "Nobody is known yet."),
        "roles": ROLES, "depots": [*Depot.objects.order_by("depot").values_list("depot", flat=True)],
        "chosen": chosen, "people": Person.objects.order_by("name"), "may_keep": asked.actor.may("people", DO),
    }  # fmt: skip
    return page(asked, "people.html", context)


def _kept(asked: Asked) -> tuple[str, str]:
    form = asked.request.POST
    found = keep_person(
        sign_in=asked.text("sign_in"), name=asked.text("name"), roles=form.getlist("roles"),
        depots=form.getlist("depots"), actor=asked.actor, at=asked.at, password=form.get("password", ""),
        pin=asked.text("pin"), active="active" in form,
    )  # fmt: skip
    return "KEPT", f"{found.name}: {', '.join(found.roles)} at {', '.join(found.depots) or 'every depot'}."
