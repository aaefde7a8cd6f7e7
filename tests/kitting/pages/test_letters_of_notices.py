"""Notices as letters that a mail server takes, and what becomes of them where it refuses or is not there."""

import logging
from collections.abc import Iterator
from datetime import timedelta

import pytest
from bag_stores import Stores, demo_sheets, planned
from browsing import people
from mail_server import MailServer, mail_server
from module_books import books_of_module
from people import BUYER, PLANNER, STORES
from pytest_django import Settings

from inventory.models import LotHold
from kitting.models import Person
from kitting.services import mail_notices
from kitting.services.mail_notices import Postman
from kitting.services.recall_lots import recall_lot

pytestmark = pytest.mark.django_db
AT = Stores().at + timedelta(minutes=5)


def prepared() -> None:
    """The demo on the first morning, with a planner and a buyer who have addresses."""
    planned()
    people()
    for actor, address in ((PLANNER, "planner@town.example"), (BUYER, "buyer@town.example")):
        Person.objects.filter(name=actor.name).update(email=address, mailed_at=Stores().at)


books = books_of_module(demo_sheets, prepared)


@pytest.fixture
def server(settings: Settings) -> Iterator[MailServer]:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_TIMEOUT, settings.DEFAULT_FROM_EMAIL = "127.0.0.1", 10, "kits@town.example"
    with mail_server() as running:
        settings.EMAIL_PORT = running.port
        yield running


def recalled(code: str = "BI25", lot: str = "L-2409-17") -> None:
    recall_lot(stock_code=code, lot=lot, reason="maker's recall", **Stores(prefix=lot).scan(STORES))


def said(caplog: pytest.LogCaptureFixture) -> list[str]:
    return [one.getMessage() for one in caplog.records if one.name == mail_notices.__name__]


def test_a_letter_arrives_with_what_happened_as_its_subject_and_what_to_do_as_its_text(server: MailServer) -> None:
    recalled()
    assert Postman().send_new(at=AT) == 2
    assert Postman().send_new(at=AT) == 0

    buyers, planners = sorted(server.letters, key=lambda one: str(one["To"]))
    assert (str(planners["From"]), str(planners["To"])) == ("kits@town.example", "planner@town.example")
    assert str(buyers["To"]) == "buyer@town.example"
    told = f"lot recalled: {LotHold.objects.get(lot_number='L-2409-17')}"
    assert str(planners["Subject"]) == told
    assert planners.get_content().split("\r\n") == [
        told,
        "look up where every piece is, and say that you have seen it",
        "",
        "All notices stand on the page Notices.",
        "",
    ]


@pytest.mark.parametrize(
    ("refuses", "words"),
    [
        ({"GREETING": "554 no mail today"}, ": the mail server answers 554 no mail today"),
        ({"MAIL": "451 try later"}, ": the mail server answers 451 try later"),
        ({"RCPT": "550 nobody here"}, ": the mail server answers 550 nobody here"),
        ({"END": "452 no room"}, ": the mail server answers 452 no room"),
        ({"DATA": ""}, "Connection unexpectedly closed"),
    ],
    ids=["greeting", "sender", "receiver", "letter", "hangs up"],
)
def test_what_a_server_refuses_is_said_in_its_words_once_and_goes_out_later(
    server: MailServer, caplog: pytest.LogCaptureFixture, refuses: dict[str, str], words: str
) -> None:
    recalled()
    postman = Postman()
    server.refuses = refuses
    with caplog.at_level(logging.ERROR):
        assert [postman.send_new(at=AT) for _ in range(3)] == [0, 0, 0]
    told = said(caplog)
    assert sorted(told) == [one for name in ("buyer", "planner") for one in told if f" to {name}@town.example" in one]
    assert all(words in one and "go out later" in one for one in told)
    assert server.letters == []

    recalled("CS15-2", "L-2303B")
    server.refuses = {}
    assert postman.send_new(at=AT) == 2
    assert len(server.letters) == 2
    assert all(lot in one.get_content() for one in server.letters for lot in ("L-2409-17", "L-2303B"))
    assert all("and 1 more" in str(one["Subject"]) for one in server.letters)


def test_a_server_that_is_not_there_is_said_once_and_has_all_letters_when_it_is(
    server: MailServer, settings: Settings, caplog: pytest.LogCaptureFixture
) -> None:
    recalled()
    postman, settings.EMAIL_PORT = Postman(), 1
    with caplog.at_level(logging.ERROR):
        assert [postman.send_new(at=AT) for _ in range(2)] == [0, 0]
    (told,) = said(caplog)
    assert told == (
        "Notices can't be mailed, they stand on the pages and go out later: "
        "the mail server is not reached, Connection refused"
    )
    settings.EMAIL_PORT = server.port
    assert postman.send_new(at=AT) == 2
    assert {str(one["To"]) for one in server.letters} == {"buyer@town.example", "planner@town.example"}
