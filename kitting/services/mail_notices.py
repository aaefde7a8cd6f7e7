"""Send what changes today's work by e-mail as well; the notices on the pages wait for no mail."""

import logging
import smtplib
from collections.abc import Iterator
from datetime import datetime

from django.core.mail import send_mail

from kitting.models import Event, Person
from kitting.selectors.access import has_access
from kitting.selectors.climbing import climbed
from kitting.selectors.notice_kinds import roles_told
from kitting.selectors.notices import notices

_log = logging.getLogger(__name__)


class Postman:
    """Sends the mail; what can't be sent is said once, until it can be sent again."""

    def __init__(self) -> None:
        self._failing: set[str] = set()

    def send_new(self, *, at: datetime) -> int:
        """Mail each person what is new to them, in one message; how many were sent.

        What could not be sent is sent later. Nothing is told twice: ``mailed_up_to`` and ``mailed_at`` say what was.
        """
        sent, last = 0, Event.objects.order_by("-number").values_list("number", flat=True).first() or 0
        for person in Person.objects.exclude(email="").filter(is_active=True).order_by("pk"):
            told = [*_new(person, at)] if has_access(person.actor(), at) else []
            if told and not self._sent(person, told):
                continue
            Person.objects.filter(pk=person.pk).update(mailed_up_to=last, mailed_at=at)
            sent += bool(told)
        return sent

    def _sent(self, person: Person, told: list[str]) -> bool:
        more = f" and {len(told) - 1} more" if len(told) > 1 else ""
        body = "\n\n".join([*told, "All notices stand on the page Notices."])
        title = " ".join(f"{told[0].partition(chr(10))[0]}{more}".split())
        try:
            send_mail(title, body, None, [person.email])
        except (OSError, smtplib.SMTPException) as fault:  # the first is a server that is not there
            what = person.email if isinstance(fault, smtplib.SMTPException) else ""
            if what not in self._failing:
                to = f" to {what}" * bool(what)
                _log.error("Notices can't be mailed%s, they stand on the pages and go out later: %s", to, _words(fault))
            self._failing.add(what)
            return False
        self._failing -= {"", person.email}
        return True


def _words(fault: OSError) -> str:
    """What a mail server said, or why it said nothing."""
    said: tuple[int, bytes | str] | None = None
    if isinstance(fault, smtplib.SMTPRecipientsRefused):
        said = next(iter(fault.recipients.values()))
    elif isinstance(fault, smtplib.SMTPResponseException):
        said = fault.smtp_code, fault.smtp_error
    if said:
        code, text = said
        return f"the mail server answers {code} {text.decode(errors='replace') if isinstance(text, bytes) else text}"
    if isinstance(fault, smtplib.SMTPException):
        return str(fault)
    return f"the mail server is not reached, {fault.strerror or fault}"


def _new(person: Person, at: datetime) -> Iterator[str]:
    """What is urgent and was not mailed to a person yet, in words; what came to them as nobody else saw it included."""
    actor = person.actor()
    climbing = {one.event.number: one for one in climbed(actor, at)}
    for notice in reversed(notices(actor, at)):
        event = notice.event
        late = climbing.get(event.number)
        is_late = late is not None and late.heard_at is None and late.at > (person.mailed_at or at)
        is_own = bool(actor.roles & roles_told(event)) and event.number > person.mailed_up_to
        if notice.kind.is_urgent and (is_own or is_late):
            where = f", depot {event.depot}" if event.depot else ""
            yield "\n".join(filter(None, (f"{event.name}: {event.subject}{where}", notice.kind.do, notice.not_seen)))
