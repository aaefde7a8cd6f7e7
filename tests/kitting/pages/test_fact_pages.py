import pytest
from bag_stores import demo_sheets, planned
from browsing import ADMINISTRATOR, VISITOR, browser_of, people, send, words
from django.urls import reverse
from module_books import books_of_module
from people import CREW, PLANNER

from jobs.models import Reel
from kitting.models import Person

pytestmark = pytest.mark.django_db


def prepared() -> None:
    planned()
    people()


books = books_of_module(demo_sheets, prepared)


def test_a_gauge_reading_says_in_one_word_whether_a_part_fits_and_by_how_much() -> None:
    """T21: gauge 0.845 in, and EL15-1 (0.600 to 0.800 in) is in the bag."""
    visitor = browser_of(VISITOR)

    refused = words(visitor.get("/fit", {"part": "EL15-1", "reading": "0.845", "unit": "in"}))
    fits = words(visitor.get("/fit", {"part": "EL15-2", "reading": "21.463", "unit": "mm"}))
    asks = words(visitor.get("/fit", {"part": "EL25-1", "reel": "R-2202"}))
    nonsense = words(visitor.get("/fit", {"part": "EL15-2", "reading": "thick", "unit": "in"}))

    assert "DOES NOT FIT entrance too small by 1.14 mm (0.045 in)" in refused
    assert "FITS" in fits
    assert "MEASURE" in asks
    assert "CAN'T TELL thick: not a length" in nonsense


def test_a_reading_on_a_reel_is_kept_with_name_and_day_unless_somebody_was_faster() -> None:
    crew = browser_of(CREW)
    version = Reel.objects.get(reel="R-1187").version
    reading = {"low": "0.821", "high": "0.846", "unit": "in", "gauge": "G-11", "version": version}

    kept = words(send(crew, "/reels/R-1187", **reading))
    stale = words(send(crew, "/reels/R-1187", **reading))
    refused = send(crew, "/reels/R-1187", **{**reading, "low": "0.9", "version": version + 1})
    reversed_band, typed = words(refused), refused.content.decode()

    assert reverse("reel", args=["26/14"]) == "/reels/26/14"  # makers' numbers have slashes
    reel = Reel.objects.get(reel="R-1187")
    assert "KEPT" in kept
    assert (reel.doi_low_nm, reel.doi_high_nm, reel.measured_by) == (20_853_400, 21_488_400, CREW.name)
    assert "changed meanwhile" in stale
    assert "NOT DONE" in reversed_band
    assert all(f'value="{text}"' in typed for text in ("0.9", "0.846", "G-11"))
    assert 'value="in" required checked' in typed


def test_an_administrator_adds_people_and_shuts_them_out_but_touches_no_stock() -> None:
    admin = browser_of(ADMINISTRATOR)
    new = {"sign_in": "night", "name": "N. Ight", "roles": ["storekeeper"], "depots": ["H"], "active": "on"}

    short = words(send(admin, "/people", **new, password="short"))
    added = words(send(admin, "/people", **new, password="long enough for one"))
    nobody = words(send(admin, "/people", **{**new, "roles": []}, password=""))
    shut = send(admin, "/people", **{name: value for name, value in new.items() if name != "active"})

    assert "at least 10 characters" in short
    assert "N. Ight: storekeeper at H." in added
    assert "at least one role" in nobody
    assert shut.status_code == 200
    assert not Person.objects.get(sign_in="night").is_active
    assert admin.get("/cutovers").status_code == 403


def test_nobody_changes_their_own_rights_and_others_see_no_people_at_all() -> None:
    admin = browser_of(ADMINISTRATOR)

    own = words(send(admin, "/people", sign_in="adara", name=ADMINISTRATOR.name, roles=["storekeeper"]))

    assert "Another administrator changes what you may do" in own
    assert browser_of(PLANNER).get("/people").status_code == 403
