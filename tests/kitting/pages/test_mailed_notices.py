"""What changes today's work is mailed to who has an address; the notices on the pages wait for no mail."""

import logging
import smtplib
import threading
from datetime import timedelta

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import ADMINISTRATOR, browser_of, people, send, words
from django.core import mail
from module_books import books_of_module
from people import BUYER, CREW, DUTY, PLANNER, STORES
from pytest_django import Settings

from kitting.errands import working
from kitting.models import Person
from kitting.roles import Actor
from kitting.services import mail_notices
from kitting.services.mail_notices import Postman
from kitting.services.recall_lots import recall_lot
from kitting.services.record_events import Happening, record_events

pytestmark = pytest.mark.django_db


def prepared() -> None:
    """The demo on the first morning, and people who may sign in."""
    planned()
    people()


books = books_of_module(demo_sheets, prepared)
AT = Stores().at + timedelta(minutes=5)


def addressed(actor: Actor) -> None:
    """Give somebody an e-mail address on the page of people."""
    one = Person.objects.get(name=actor.name)
    form = {"sign_in": one.sign_in, "name": one.name, "roles": one.roles, "active": "on"}
    wrong = words(send(browser_of(ADMINISTRATOR), "/people", **form, email="nobody at all"))
    assert "'nobody at all' is no e-mail address" in wrong
    send(browser_of(ADMINISTRATOR), "/people", **form, email=f"{one.sign_in}@town.example")


def recalled(lot: str = "L-2409-17") -> None:
    recall_lot(stock_code="BI25", lot=lot, reason="maker's recall", **Stores(prefix=lot).scan(STORES))


def test_a_recall_is_mailed_once_to_who_has_an_address_and_stands_on_the_pages_of_all() -> None:
    addressed(PLANNER)
    postman = Postman()
    before = postman.send_new(at=AT)
    recalled()
    first, second = (postman.send_new(at=AT) for _ in range(2))

    assert (before, first, second) == (0, 1, 0)
    (letter,) = mail.outbox
    assert letter.to == [f"{Person.objects.get(name=PLANNER.name).sign_in}@town.example"]
    assert "BI25 lot L-2409-17" in letter.subject
    assert "All notices stand on the page Notices" in letter.body
    for actor in (PLANNER, BUYER):
        assert "1 notice that changes today's work" in words(browser_of(actor).get("/"))


def test_mail_that_is_down_is_said_once_and_goes_out_when_it_is_up_again_while_the_notice_stands_on_the_page(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    addressed(PLANNER)
    recalled()
    postman = Postman()

    def down(*_letter: object) -> None:
        raise ConnectionRefusedError("no mail server")

    with monkeypatch.context() as without, caplog.at_level(logging.ERROR):
        without.setattr(mail_notices, "send_mail", down)
        assert [postman.send_new(at=AT) for _ in range(3)] == [0, 0, 0]
    faults = [one for one in caplog.records if one.name == mail_notices.__name__]
    (told,) = (one.getMessage() for one in faults)
    assert told.startswith("Notices can't be mailed, they stand on the pages and go out later: ")
    assert told.endswith("the mail server is not reached, no mail server")
    assert "1 notice that changes today's work" in words(browser_of(PLANNER).get("/"))
    assert postman.send_new(at=AT) == 1
    assert len(mail.outbox) == 1


def test_an_address_that_the_server_refuses_keeps_nobody_elses_mail_back(monkeypatch: pytest.MonkeyPatch) -> None:
    for actor in (PLANNER, BUYER):
        addressed(actor)
    recalled()
    refused = f"{Person.objects.get(name=PLANNER.name).sign_in}@town.example"
    sent: list[str] = []

    def picky(_title: str, _body: str, _sender: None, to: list[str]) -> None:
        if to == [refused]:
            raise smtplib.SMTPRecipientsRefused({refused: (550, b"unknown")})
        sent.extend(to)

    monkeypatch.setattr(mail_notices, "send_mail", picky)
    assert Postman().send_new(at=AT) == 1
    assert sent == [f"{Person.objects.get(name=BUYER.name).sign_in}@town.example"]


def test_what_stores_did_not_see_in_time_is_mailed_to_the_duty_supervisor_to_whom_it_climbs() -> None:
    addressed(DUTY)
    told = Happening("emergency opened", "E1", {}, "storekeeper", "N")
    record_events([told], by=CREW.name, at=Stores().at)
    postman = Postman()
    early = postman.send_new(at=Stores().at + timedelta(minutes=9))
    late = postman.send_new(at=Stores().at + timedelta(minutes=12))
    again = postman.send_new(at=Stores().at + timedelta(minutes=13))

    assert (early, late, again) == (0, 1, 0)
    assert "NOT SEEN by storekeeper of N for 12 min" in mail.outbox[0].body


def test_the_worker_mails_between_errands_where_a_mail_server_is_named_and_nothing_else_does(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent: list[object] = []
    monkeypatch.setattr(Postman, "send_new", lambda _self, *, at: sent.append(at) or 0)
    for mails, number in ((False, 0), (True, 1)):
        stop = threading.Event()
        monkeypatch.setattr(working, "do_next", lambda stop=stop: bool(stop.set()) or True)
        settings.MAILS_NOTICES = mails
        working.work_until(stop)
        assert len(sent) == number
