"""People of the demo who are signed in, and short words for what they do on pages."""

import re
from datetime import UTC, datetime
from typing import Any

import pypdfium2
from bag_stores import Stores, planned
from django.test import Client
from people import AUDITOR, BUYER, CREW, DUTY, PLANNER, STANDARDS, STORES, person

from kitting import roles
from kitting.models import Person
from kitting.roles import Actor

PASSWORD, PIN = "a long password", "4711"
FAR_AHEAD = datetime(2100, 1, 1, tzinfo=UTC)
OTHER_STORES = person("L. Fenn", roles.STOREKEEPER)
ADMINISTRATOR = person("A. Dara", roles.ADMINISTRATOR)
VISITOR = person("V. Guest", roles.VISITING_CREW)
EVERYBODY = (STANDARDS, PLANNER, STORES, OTHER_STORES, BUYER, CREW, DUTY, AUDITOR, ADMINISTRATOR, VISITOR)


def sign_in_name(actor: Actor) -> str:
    """What somebody types: the name in lower case, without blanks."""
    return re.sub(r"[^a-z]", "", actor.name.lower())


def people(*actors: Actor, depots: dict[str, list[str]] | None = None) -> None:
    """Let these people sign in, each at every depot unless said otherwise by name."""
    for actor in actors or EVERYBODY:
        found = Person(
            sign_in=sign_in_name(actor),
            name=actor.name,
            roles=sorted(actor.roles),
            depots=(depots or {}).get(actor.name, []),
            access_until=FAR_AHEAD if actor.is_visiting else None,
            access_by="A. Dara" if actor.is_visiting else "",
        )
        found.set_password(PASSWORD)
        found.set_pin(PIN)
        found.save()


def bags_listed() -> None:
    """The demo on the first morning with the bags of one job listed, and people who may sign in."""
    planned()
    Stores(prefix="listed").bags("J03")
    people()


def browser_of(actor: Actor) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(Person.objects.get(name=actor.name), backend="django.contrib.auth.backends.ModelBackend")
    return client


def words(response: Any) -> str:
    """What a page says: its text without markup, blanks as one."""
    text = response.content.decode()
    text = re.sub(r"<(script|style)\b.*?</\1>", " ", text, flags=re.DOTALL)
    text = re.sub(r'<span class="whole">(.*?)</span>', r"\1", text)  # within a sentence
    text = re.sub(r"<[^>]+>", " ", text)
    for mark, letter in (("&#x27;", "'"), ("&amp;", "&"), ("&quot;", '"'), ("&lt;", "<"), ("&gt;", ">")):
        text = text.replace(mark, letter)
    return " ".join(text.split())


def pages_of(answer: Any) -> list[str]:
    """What each page of a paper says, blanks as one."""
    with pypdfium2.PdfDocument(answer.content) as file:
        return [" ".join(page.get_textpage().get_text_bounded().split()) for page in file]


def paper_text(answer: Any) -> str:
    """What a paper says on all its pages."""
    return " ".join(pages_of(answer))


def send(client: Client, address: str, **fields: object) -> Any:
    """Send a form and look at the page that answers."""
    return client.post(address, fields, follow=True)
