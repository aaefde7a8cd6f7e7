"""The chain of events: it can be proved, and the database itself keeps it from being changed."""

import io
from datetime import timedelta

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from record_books import AT, everything, load

from inventory.migrations._append_only import lifting
from kitting.models import Event, RuleRevision
from kitting.selectors.event_chain import check_chain, event_digest
from kitting.services.devices import Device, acting_on
from kitting.services.record_events import Happening, record_events

pytestmark = pytest.mark.django_db


def record(*names: str) -> None:
    record_events([Happening(name, "J1", {"on": AT.date()}) for name in names], by="R. Tolley", at=AT)


def without_triggers() -> None:
    """What only somebody with the keys of the database could do."""
    with connection.cursor() as cursor:
        for statement in lifting(connection.vendor, "kitting_event"):
            cursor.execute(statement)


def test_the_chain_is_unbroken_over_several_records() -> None:
    assert check_chain().unbroken_to == 0
    record("one", "two")
    record("three")
    assert (check_chain().unbroken_to, check_chain().fault) == (3, "")
    out = io.StringIO()
    call_command("verify_events", stdout=out)
    assert out.getvalue() == "Unbroken up to no. 3.\n"


@pytest.mark.parametrize(
    ("tamper", "fault"),
    [
        (lambda: Event.objects.filter(number=2).update(by="M. Osei"), "event 2 does not say what it said"),
        (lambda: Event.objects.filter(number=2).update(at=AT - timedelta(days=1)), "event 2 does not say"),
        (lambda: Event.objects.filter(number=2).update(device="counter 1"), "event 2 does not say"),
        (lambda: Event.objects.filter(number=2).update(zone=""), "event 2 does not say"),
        (lambda: Event.objects.filter(number=2).delete(), "event 2 is missing"),
        (lambda: Event.objects.filter(number=2).update(previous_digest="0" * 64), "event 2 does not follow"),
    ],
)
def test_a_change_of_the_past_is_found(tamper: object, fault: str) -> None:
    record("one", "two", "three")
    without_triggers()
    tamper()  # type: ignore[operator]
    said = io.StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("verify_events", stderr=said)
    assert stopped.value.code == 1
    assert said.getvalue().startswith(f"Unbroken up to no. 1; then {fault}")


@pytest.mark.parametrize("model", [Event, RuleRevision])
def test_the_database_refuses_to_change_or_delete_what_is_written_once(model: type[Event] | type[RuleRevision]) -> None:
    load(everything())
    first = model.objects.order_by("pk").first()
    for act in (lambda: model.objects.filter(pk=first.pk).delete(), lambda: model(pk=first.pk).delete(), first.save):
        with pytest.raises(DatabaseError, match="is append-only"), transaction.atomic():
            act()
    assert model.objects.filter(pk=first.pk).exists()


def test_an_event_says_its_device_the_clock_of_that_the_zone_and_the_rules_and_one_without_a_device_says_so() -> None:
    load(everything())
    shown = Device("counter 1", timedelta(minutes=40), is_offline=True)
    with acting_on(shown):
        record("one")
    record("two")
    one, two = (Event.objects.get(name=name) for name in ("one", "two"))
    assert (one.device, one.device_at, one.clock_behind_s, one.is_offline) == (
        "counter 1", AT - timedelta(minutes=40), 2_400, True,
    )  # fmt: skip
    assert (two.device, two.device_at, two.clock_behind_s, two.is_offline) == ("", None, None, False)
    assert one.zone == two.zone == "America/Chicago"
    assert "end accessories 1" in one.rule_book
    out = io.StringIO()
    call_command("verify_events", stdout=out)
    assert out.getvalue().startswith("Unbroken")


def test_events_of_before_devices_were_kept_follow_each_other_and_take_no_device_later() -> None:
    """What they say is digested as it was then; whoever adds a device to one is found out."""
    record("one", "two")
    without_triggers()
    before = Event.objects.get(number=1).previous_digest
    for event in Event.objects.order_by("number"):
        event.zone, event.previous_digest = "", before
        event.digest = before = event_digest(event)
        event.save()
    assert (check_chain().unbroken_to, check_chain().fault) == (2, "")
    Event.objects.filter(number=1).update(device="counter 1")
    assert check_chain().unbroken_to == 0
