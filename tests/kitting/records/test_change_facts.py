"""Changing a fact by hand: what somebody else has changed meanwhile is not overwritten."""

import pytest
from record_books import AT, everything, load, rows_in_every_table

from jobs.models import CableType, Job, Position, Reel
from kitting.errors import Refusal
from kitting.models import Event, Pin
from kitting.services.change_facts import change_facts

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books() -> None:
    load(everything())


def change(sheet: str, *key: str, version: int = 1, by: str = "M. Osei", **changes: str) -> int:
    texts = {label.replace("_", " "): text for label, text in changes.items()}
    return change_facts(sheet=sheet, key=key, version=version, changes=texts, by=by, at=AT)


def refused(sheet: str, *key: str, version: int = 1, **changes: str) -> Refusal:
    before = rows_in_every_table()
    with pytest.raises(Refusal) as found:
        change(sheet, *key, version=version, **changes)
    assert rows_in_every_table() == before
    return found.value


def test_of_two_who_edit_one_job_the_second_is_refused_with_the_current_values() -> None:
    """Row T3: two sessions looked at version 1."""
    assert change("jobs", "J1", cutover="2026-03-27 08:00", by="R. Tolley") == 2
    stale = refused("jobs", "J1", cutover="2026-03-31 22:00")
    assert stale.code == "stale-edit"
    assert stale.data["version"] == 2
    assert stale.data["now"]["cutover"] == "2026-03-27 08:00"
    assert change("jobs", "J1", version=2, cutover="2026-03-31 22:00") == 3
    assert Job.objects.get(job="J1").cutover == "2026-03-31 22:00"


def test_an_edit_is_an_event_with_before_and_after() -> None:
    change("positions", "P1", "a", existing_cable_type="CT-B", test_point="yes")
    position = Position.objects.get(structure__structure="P1")
    assert (position.existing_cable_type.cable_type, position.test_point) == ("CT-B", True)
    event = Event.objects.order_by("-number").first()
    assert (event.subject, event.by) == ("positions P1/a", "M. Osei")
    assert event.data["before"] == {"existing cable type": "", "test point": "no"}
    assert event.data["after"] == {"existing cable type": "CT-B", "test point": "yes"}


def test_a_reference_can_be_taken_away_and_a_length_has_the_unit_of_our_sheets() -> None:
    change("positions", "P1", "a", existing_cable_type="CT-B")
    change("positions", "P1", "a", version=2, existing_cable_type="")
    assert Position.objects.get(structure__structure="P1").existing_cable_type is None
    change("cable types", "CT-A", DOI_high="0.800 in")
    change("cable types", "CT-A", version=2, DOI_low="18.5")
    assert CableType.objects.get(cable_type="CT-A").doi_high_nm == 20_320_000


def test_a_row_of_a_list_is_named_by_its_number() -> None:
    number = str(Pin.objects.get().pk)
    assert change("pins", number, quantity="2") == 2
    assert refused("pins", "none", quantity="2").code == "no-such-row"


@pytest.mark.parametrize(
    ("sheet", "key", "changes", "code"),
    [
        ("jobs", "J1", {"cutover": "25:00"}, "cell-in-doubt"),
        ("jobs", "J1", {"depot": ""}, "cell-in-doubt"),
        ("reels", "R-1", {"cable type": "CT-X"}, "cell-in-doubt"),
        ("jobs", "J1", {"depot": "X"}, "questions-open"),
        ("cable types", "CT-A", {"DOI high": "10 mm"}, "against-a-rule"),
        ("jobs", "J9", {"title": "Ninth"}, "no-such-row"),
        ("jobs", "J1", {"job": "J3"}, "no-such-column"),
        ("stock", "EL-1", {"quantity": "3"}, "not-by-hand"),
        ("policies", "demo", {"value": "yes"}, "not-by-hand"),
    ],
)
def test_what_the_sheets_would_not_take_is_refused(sheet: str, key: str, changes: dict[str, str], code: str) -> None:
    assert refused(sheet, key, **changes).code == code
    assert Reel.objects.get(reel="R-1").version == 1
