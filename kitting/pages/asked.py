"""A page that somebody asks for: who, when, in which books; and the ways to answer."""

import re
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.loader import render_to_string

import inventory.errors
from inventory.errors import Doubt
from inventory.services.actions import Stamp
from kitting.errors import Refusal
from kitting.models import Person
from kitting.pages.last_scans import last_scans, note_scan
from kitting.pages.places import places
from kitting.roles import Actor
from kitting.selectors.clock import books_now, local_zone
from kitting.selectors.policies import paper_choices
from kitting.selectors.storms import open_storms
from kitting.services.scans import Scan
from kitting.services.two_persons import is_attempt, keep_attempt

NIGHT_COOKIE = "night"
CONFIRMED, ACTION = "confirmed", "action"
CLOCK = "device_at"  # what the clock of the device said when a form was sent
NOT_KEPT = ("csrfmiddlewaretoken", CLOCK)  # of a form that is to be sent again
SECRETS = ("password", "pin", "crew_pin")  # typed again each time, in no address and on no record
A_YEAR = 365 * 24 * 60 * 60  # seconds
ANY_REFUSAL = (Refusal, inventory.errors.Refusal)
_LONGEST_NUMBER = 16
_COUNT, _OUT = "count-differs", "already-out"
_STATUS = {"not-allowed": 403, "other-depot": 403, "own-approval": 403, "own-request": 403}


@dataclass(frozen=True)
class Asked:
    """One request of a person who is signed in."""

    request: HttpRequest
    person: Person
    scans: bool = False  # whether the page takes scans, so that its answers stand among the last ones

    @cached_property
    def actor(self) -> Actor:
        """Who acts."""
        return self.person.actor()

    @cached_property
    def at(self) -> datetime:
        """The moment, by the clock of the books."""
        return books_now()

    @cached_property
    def zone(self) -> ZoneInfo:
        """The zone in which this person reads moments: that of their first depot."""
        return local_zone(sorted(self.actor.depots))

    @property
    def today(self) -> date:
        """The day where this person is."""
        return self.at.astimezone(self.zone).date()

    @property
    def week_began(self) -> datetime:
        """The first moment of the Monday of this week, where this person is."""
        return datetime.combine(self.today - timedelta(self.today.weekday()), time.min, self.zone)

    @property
    def action(self) -> str:
        """The number of the action, made with the form, so that a form sent twice acts once."""
        return self.text(ACTION) or new_action()

    def text(self, name: str) -> str:
        """What a field of the form or of the address reads, without blanks around it."""
        found = self.request.POST if self.request.method == "POST" else self.request.GET
        return found.get(name, "").strip()

    def number(self, name: str) -> int:
        """A whole number that the page itself wrote into a form; 0 where it reads otherwise, which names nothing."""
        text = self.text(name)
        return int(text) if text.isdecimal() and len(text) < _LONGEST_NUMBER else 0

    @property
    def confirmed(self) -> tuple[str, ...]:
        """Questions that were answered with yes."""
        return tuple(self.request.POST.getlist(CONFIRMED))

    @cached_property
    def _noted(self) -> list[str]:
        """Words that the view has noted itself."""
        return []

    def note(self, word: str, read: str, *, action: str = "", bag: str = "", way: str = "") -> None:
        """Keep a scan among the last ones of this session, and where something was done its action and its bag."""
        at = f"{self.at.astimezone(self.zone):%H:%M}"
        note_scan(self.request, {"at": at, "word": word, "read": read, "action": action, "bag": bag, "way": way})
        self._noted.append(word)

    def answered(self, word: str, sentence: str, *, is_done: bool) -> None:
        """The same for an answer to a page that takes scans, unless the view has noted what was read."""
        match = self.request.resolver_match
        if self.scans and not self._noted:
            bag = str(match.kwargs.get("code", "")) if match else ""
            self.note(word, sentence, action=self.text(ACTION) if is_done else "", bag=bag)

    def scan(self) -> Scan:
        """Who, when and the number, for a scan of a bag."""
        return {"actor": self.actor, "at": self.at, "action": self.action}

    def stamp(self) -> Stamp:
        """The same for the warehouse."""
        return {"by": self.actor.name, "at": self.at, "action": self.action, "paper": self.text("paper")}


View = Callable[..., HttpResponse]


def new_action() -> str:
    """A number for an action that nobody has used."""
    return f"P-{uuid.uuid4()}"


def page(asked: Asked, template: str, context: Mapping[str, object], status: int = 200) -> HttpResponse:
    """A page from its template."""
    shared = {
        "asked": asked,
        "is_demo": paper_choices()[2],
        "places": places(asked.actor, asked.request.path),
        "storms": open_storms(),
        **({"scans": last_scans(asked.request, asked.actor)} if asked.scans else {}),
    }
    content = render_to_string(f"kitting/{template}", {**shared, **context}, asked.request)
    return HttpResponse(content, status=status)


def not_served(asked: Asked, refusal: Exception) -> HttpResponse:
    """A refusal that a view lets out: who may not gets 403; else what the address names is not in these books, 404."""
    if getattr(refusal, "code", "") in _STATUS:
        return refused(asked, refusal, "/")
    return page(asked, "plain.html", {"title": "Not in these books", "sentence": str(refusal)}, 404)


def go_to(address: str) -> HttpResponse:
    """Look at another page after something was done."""
    return HttpResponseRedirect(address, status=303)


def done(asked: Asked, word: str, sentence: str, address: str) -> HttpResponse:
    """Say what was done, on the page to go on with: a word that is read across a counter, and its sentence."""
    asked.answered(word, sentence, is_done=True)
    messages.success(asked.request, sentence, extra_tags=word)
    return go_to(address)


def refused(asked: Asked, refusal: Exception, address: str) -> HttpResponse:
    """Say in words why nothing was done; who may not do it at all gets 403."""
    code, message = getattr(refusal, "code", ""), getattr(refusal, "message", str(refusal))
    keep_tried(asked, refusal)
    if code in _STATUS:
        return page(asked, "refused.html", {"sentence": message, "back": address}, _STATUS[code])
    word, sentence = loud(refusal)
    asked.answered(word, sentence, is_done=False)
    messages.error(asked.request, sentence, extra_tags=word)
    return go_to(address)


def keep_tried(asked: Asked, refusal: Exception) -> None:
    """Keep on the record what somebody tried to do and must not."""
    if isinstance(refusal, Refusal) and is_attempt(refusal) and asked.request.method == "POST":
        keep_attempt(refusal, asked.request.path, by=asked.actor.name, at=asked.at)


def loud(refusal: Exception) -> tuple[str, str]:
    """The word of a refusal that is read across a counter, and its sentence."""
    message, data = getattr(refusal, "message", str(refusal)), getattr(refusal, "data", {})
    code = getattr(refusal, "code", "")
    if code == _COUNT:
        differences = [*data["missing"], *data["extra"]]
        others = len(differences) - 1
        return f"{differences[0]}{f' and {others} more' if others else ''}".upper(), message
    if code == _OUT:
        return "ALREADY OUT", message
    word, rest = split_loud(str(data.get("why", "")) or message)
    if not rest or word == data.get("bag"):
        return "NOT DONE", message
    return word, message if data.get("why") else rest


def questions_of(doubt: Doubt) -> list[tuple[str, str, str]]:
    """What must be confirmed: key, the word that is read across a counter ('' for none), and the question."""
    found = doubt.data.get("questions", {})
    told = [(key, split_loud(text), text) for key, text in found.items()] if isinstance(found, dict) else []
    return [(key, word, rest or text) for key, (word, rest), text in told]


def split_loud(sentence: str) -> tuple[str, str]:
    """The capitals before the first colon, and what follows; ('', '') where it doesn't begin so, or with a code."""
    word, _, rest = sentence.partition(":")
    is_code = re.search(r"\d", word.partition(" ")[0])
    return (word, rest.strip()) if word.isupper() and rest and not is_code else ("", "")


def typed_again(request: HttpRequest) -> tuple[list[tuple[str, str]], list[str]]:
    """The fields of a form that is to be sent again, and the names of its secrets, which never stand in a page."""
    typed = [(name, text) for name, texts in request.POST.lists() for text in texts if name not in NOT_KEPT]
    fields = [(name, text) for name, text in typed if name not in SECRETS]
    return fields, [name for name, text in typed if name in SECRETS and text]


def attempt(asked: Asked, deed: Callable[[], tuple[str, str]], address: str, *, back: str = "") -> HttpResponse:
    """Do something and say what came of it; what must be confirmed first is asked on a page of its own.

    Args:
        asked: the request.
        deed: does it, and returns the word and the sentence to say.
        address: where to go on.
        back: where to go on after a refusal; the same without.
    """
    if asked.request.method != "POST":
        return go_to(back or address)  # looking changes nothing
    try:
        word, sentence = deed()
    except Doubt as doubt:
        questions = questions_of(doubt)
        fields, secrets = typed_again(asked.request)
        return page(asked, "confirm.html", {"questions": questions, "kept": fields, "secrets": secrets,
                                           "back": back or address, "gloves": asked.text("gloves")})  # fmt: skip
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, back or address)
    return done(asked, word, sentence, address)
