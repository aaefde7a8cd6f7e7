"""What is on each end of the line is looked up, and what comes off it is noted where it was."""

import pytest
from bag_stores import CREW, MORNING, Stores, a_pad_fitted, demo_sheets
from browsing import PIN, browser_of, paper_text, people, send, words
from django.db import connection
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import AUDITOR, PLANNER, STORES, person

from kitting import roles
from kitting.documents.bag_records import bag_papers
from kitting.models import BagEntry, BagLine, Event, Retired
from kitting.selectors.end_signatures import EndSignature
from kitting.selectors.sight import names_as_read_by
from kitting.services.record_events import Happening, record_events
from kitting.services.retire_parts import retire
from kitting.services.return_bags import Installed, install

pytestmark = pytest.mark.django_db


books = books_of_module(demo_sheets, a_pad_fitted)
PAGE = {"structure": "A1", "position": "a"}


def test_an_end_says_what_is_on_it_by_phase_and_a_part_that_came_off_stays_visible() -> None:
    people(CREW, PLANNER)
    crew = browser_of(CREW)
    assert 'href="/ends?structure=A1&amp;position=a"' in crew.get("/ends", {"structure": "a1"}).content.decode()
    assert "Nothing is noted as installed here" in words(crew.get("/ends", {"structure": "Z9"}))
    page = crew.get("/ends", PAGE)
    part = page.content.decode().split('<option value="')[1].split('"')[0]
    assert part.startswith("EL15-2|")
    assert "margin" in words(page)

    given = {**PAGE, "part": part, "quantity": "1", "fate": "failure study", "why": "tracked"}
    too_many = words(send(crew, "/ends", **{**given, "quantity": "2"}, action="E-1"))
    done = words(send(crew, "/ends", **given, action="E-2"))

    assert "does not hold 2 EL15-2" in too_many
    assert "NOTED" in done
    assert "1 to failure study: tracked" in done
    assert Retired.objects.get().quantity == 1_000
    planner = browser_of(PLANNER)
    assert CREW.name in words(crew.get("/ends", PAGE))
    assert CREW.name not in words(planner.get("/ends", PAGE))
    assert planner.post("/ends", given).status_code == 403


def test_what_an_emergency_fitted_along_a_cable_is_found_by_its_place_and_comes_off_there() -> None:
    people(CREW)
    entry = BagEntry.objects.filter(deed="installed")[0]
    BagLine.objects.filter(pk=entry.line_id).update(facts={"structure": "A1", "kind": "elbow"})
    fitted = BagEntry.objects.filter(line=entry.line, deed="installed")
    crew = browser_of(CREW)

    other = BagLine.objects.filter(bag__job__job="J01", bag__structure="A2").exclude(facts__position="")[0]
    entry.pk, entry.line = None, other
    BagLine.objects.filter(pk=other.pk).update(facts={**other.facts, "position": "1"})
    entry.save(force_insert=True)
    entry = fitted[0]
    assert "A2-1" in words(crew.get("/ends"))
    listed = crew.get("/ends", {"structure": "A1"}).content.decode()
    assert 'href="/ends?structure=A1&amp;position="' in listed
    assert "no position named" in listed
    here = {"structure": "A1", "position": ""}
    page = crew.get("/ends", here)
    assert "Noted without a position" in words(page)
    assert page.content.decode().count(f'"/lots/EL15-2/{entry.lot.number}"') == fitted.count()
    part = page.content.decode().split('<option value="')[1].split('"')[0]
    given = {**here, "part": part, "quantity": "1", "fate": "scrap metal", "why": "tracked"}
    assert "1 EL15-2 is off A1." in words(send(crew, "/ends", **given, action="E-1"))
    assert Event.objects.get(name="part retired").subject == "A1"


def test_an_end_is_signed_for_by_pin_once_every_phase_is_noted_and_again_after_it_changed() -> None:
    people(CREW, PLANNER)
    stores, crew = Stores(), browser_of(CREW)
    code = stores.code("J01", "A1")
    page = f"/bags/{code}/sign"
    signed = {"position": "a", "signature": CREW.name}

    assert "STILL OPEN" in words(crew.get(page))
    open_ = send(crew, page, **signed, crew_pin=PIN)
    assert "STILL OPEN A1-a is open" in words(open_)
    assert "signature=" in open_.redirect_chain[-1][0]
    assert PIN not in open_.redirect_chain[-1][0]
    contents = stores.contents("J01", "A1")
    rest = [
        Installed(
            line=stand.line.line, stock_code=str(stand.line.item), lot=contents.lots[lot].number, quantity=pieces // 3,
            phase=phase,
        )
        for stand in contents.lines
        if stand.line.facts.get("position") == "a"
        for lot, pieces in stand.inside.items()
        if pieces
        for phase in "ABC"
    ]  # fmt: skip
    install(bag=code, pieces=rest, **stores.scan(CREW))
    wrong = send(crew, page, **signed, crew_pin="0873")
    assert "WRONG PIN" in words(wrong)
    assert "0873" not in f"{wrong.redirect_chain} {wrong.content.decode()}", "a PIN stands in no address"
    assert "NOT SIGNED" in words(send(crew, page, position="a", signature=" "))
    forged = {"position": "a", "signature": f"{CREW.name}, By PIN"}
    assert "type the name alone" in words(send(crew, page, **forged))
    done = words(send(crew, page, **signed, crew_pin=PIN))
    assert f"SIGNED A1-a, by {CREW.name}, by PIN." in done
    assert f"A1-a: signed by {CREW.name}, by PIN" in " ".join(bag_papers("J01").installed.signed)
    assert f"Signed by {CREW.name}, by PIN" in words(crew.get("/ends", PAGE))
    planner = browser_of(PLANNER)
    assert CREW.name not in words(planner.get("/ends", PAGE))
    assert "Signed by person 1, by PIN" in words(planner.get("/ends", PAGE))
    typed = EndSignature("V. Guest, Larkfield Line", MORNING, {})
    assert typed.signer(names_as_read_by(PLANNER)) == "person 1", "a comma in a typed name shows none of it"
    assert "signed by person 1, by PIN" in planner.get("/jobs/J01/as-installed.csv").content.decode()
    assert Event.objects.get(name="printed", subject="as-installed as csv J01").by == PLANNER.name
    assert browser_of(PLANNER).post(page, signed).status_code == 403

    part = {"stock_code": "EL15-2", "lot": rest_lot(), "quantity": 1000, "fate": "failure study", "why": "tracked"}
    retire(structure="A1", position="a", **part, **stores.scan(CREW))

    assert "CHANGED SINCE" in " ".join(bag_papers("J01").installed.signed)
    assert "it has changed since" in words(crew.get("/ends", PAGE))


def test_as_installed_papers_show_names_by_right_numbers_to_others_and_everybody_their_own() -> None:
    people(CREW, PLANNER, AUDITOR)
    paper = "/jobs/J01/as-installed"

    read = {actor: browser_of(actor).get(f"{paper}.csv").content.decode() for actor in (AUDITOR, PLANNER, CREW)}
    printed = {actor: paper_text(browser_of(actor).post(f"{paper}.pdf")) for actor in (AUDITOR, PLANNER)}

    assert [CREW.name in text for text in read.values()] == [True, False, True]
    assert [CREW.name in text for text in printed.values()] == [True, False]
    assert all("person 1" in text for text in (read[PLANNER], printed[PLANNER]))


def test_crews_find_their_own_ends_on_the_record_stores_their_depots_and_auditors_all_in_as_many_queries() -> None:
    away = person("N. Away", roles.STOREKEEPER)
    other = person("B. Other", roles.CREW_LEAD)
    readers = (CREW, other, STORES, away, AUDITOR)
    people(*readers, depots={STORES.name: ["H", "N"], away.name: ["M"]})
    fitted = Event.objects.filter(name="installed", subject="J01 A1").latest("number")
    assert fitted.depot in ("H", "N")
    windows = [browser_of(one) for one in readers]
    sees = [True, False, True, False, True]

    assert ["J01 A1" in words(one.get("/record")) for one in windows] == sees
    assert ["All that was done, in" in words(one.get("/record")) for one in windows] == [False] * 4 + [True]
    files = [one.post("/record/file.csv", {"of": "J01 A1", "action": f"F-{at}"}) for at, one in enumerate(windows)]
    assert [",installed,J01 A1," in one.content.decode() for one in files] == sees
    found = [one.get(f"/record/{fitted.number}") for one in windows]
    assert [one.status_code for one in found] == [200 if one else 403 for one in sees]
    assert "not of an end of yours" in words(found[1])
    assert "not of your depot" in words(found[3])
    counts = []
    for number in (1, 20):
        happenings = [Happening("looked at", "J01 A1", {"n": one}, depot="N") for one in range(number)]
        record_events(happenings, by=CREW.name, at=MORNING)
        with CaptureQueriesContext(connection) as queries:
            assert "looked at" in words(windows[0].get("/record"))
        counts.append(len(queries))
    assert counts[0] == counts[1]
    for line in BagLine.objects.filter(bag__structure="A1"):
        line.facts["position"] = "1"  # a position may be named by a figure
        line.save()
    record_events([Happening("looked at", "A1-1")], by=STORES.name, at=MORNING)
    assert "A1-1" in words(windows[0].get("/record"))


def rest_lot() -> str:
    """The lot of an elbow on the pad."""
    found = BagEntry.objects.filter(deed="installed", lot__item__stock_code="EL15-2")
    return found.earliest("pk").lot.number
