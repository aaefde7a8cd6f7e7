"""Photographs and drawings: of a position, of a bag and of an end; who may keep and see them, and on which papers."""

from datetime import UTC, datetime
from io import BytesIO
from typing import Any

import pypdfium2
import pytest
from bag_stores import CREW, Stores, a_pad_fitted, demo_sheets
from browsing import browser_of, pages_of, paper_text, people, send, words
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from module_books import books_of_module
from people import AUDITOR, BUYER, PLANNER, STORES
from PIL import Image

from kitting.models import Event, Picture
from kitting.models.pictures import JPEG, PDF

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets, a_pad_fitted)
PAGE = {"structure": "A1", "position": "a"}
A_PDF = b"%PDF-1.7\n%%EOF\n"


def sent(name: str = "plate.jpg", shade: int = 40, content: bytes = b"") -> SimpleUploadedFile:
    """A photograph as a form sends it, all of one shade."""
    file = BytesIO()
    Image.new("RGB", (120, 80), (shade, shade, shade)).save(file, "JPEG")
    return SimpleUploadedFile(name, content or file.getvalue(), content_type="text/html")


def kept(client: Client, address: str, **fields: Any) -> tuple[Picture, str]:
    """A picture after its form was sent, and what the page says then."""
    answer = send(client, address, **{"picture": sent(), **fields})
    assert answer.status_code == 200
    return Picture.objects.latest("pk"), words(answer)


def test_a_nameplate_is_kept_once_shown_at_its_position_and_printed_on_the_night_card() -> None:
    people(CREW, PLANNER, BUYER)
    crew, bag = browser_of(CREW), f"/bags/{Stores().code('J01', 'A1')}/print/night-card.pdf"
    bare = pages_of(crew.post(bag))
    fields = {"place": "A1-a", "note": "nameplate", "action": "P-1"}
    one, said = kept(crew, "/jobs/J01/pictures", **fields)
    kept(crew, "/jobs/J01/pictures", **fields)
    drawing, _ = kept(browser_of(PLANNER), "/jobs/J01/pictures", place="A1-a", picture=sent("pad.pdf", content=A_PDF))

    assert Picture.objects.count() == 2
    assert "KEPT" in said
    assert (one.structure, one.position, one.media_type, drawing.media_type) == ("A1", "a", JPEG, PDF)
    event = Event.objects.get(name="picture kept", data__picture=one.pk)
    assert (event.subject, event.data["digest"], event.by) == ("A1-a", one.digest, CREW.name)
    job = crew.get("/jobs/J01").content.decode()
    assert f'<img src="/jobs/J01/pictures/{one.pk}?size=small"' in job
    assert f"picture {one.pk} · nameplate · 2026-03-02" in job
    assert f'href="/jobs/J01/pictures/{drawing.pk}">Drawing, PDF' in job
    assert "pictures" not in browser_of(BUYER).get("/jobs/J01").content.decode()
    assert "A1/a: 200 A 15 kV, 2 pictures kept" in words(crew.get("/jobs/J01/call-sheet"))

    Picture.objects.filter(pk=drawing.pk).update(at=datetime(2026, 3, 3, 3, tzinfo=UTC))  # in the evening at the depot
    printed = crew.post(bag)
    text = paper_text(printed)
    assert "Photographs and drawings" not in " ".join(bare)
    assert f"A1-a · nameplate · picture {one.pk}" in text
    assert f"A1-a · picture {drawing.pk} · 2026-03-02, on the phone" in text
    assert "REPRINT" not in text
    assert drawn_in(printed.content) == 1
    assert "REPRINT 1" in paper_text(crew.post(bag))


def drawn_in(content: bytes) -> int:
    with pypdfium2.PdfDocument(content) as file:
        return sum(1 for page in file for _ in page.get_objects(filter=[pypdfium2.raw.FPDF_PAGEOBJ_IMAGE]))


def test_a_picture_is_sent_as_what_it_is_to_whoever_may_see_what_it_shows() -> None:
    people(CREW, PLANNER, BUYER, STORES, depots={STORES.name: ["H"]})
    crew = browser_of(CREW)
    one, _ = kept(crew, "/jobs/J01/pictures", place="A1-a", picture=sent("plate.html"))
    drawing, _ = kept(crew, "/jobs/J01/pictures", place="A1-a", picture=sent("x", content=A_PDF))
    here = f"/jobs/J01/pictures/{one.pk}"
    whole, small = crew.get(here), crew.get(here, {"size": "small"})
    assert (whole.content, small.content) == (one.content, one.small)
    for answer in (whole, small):
        assert answer.headers["Content-Type"] == JPEG
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'")
        assert answer.headers["Cache-Control"] == "no-cache, private"
    assert whole.headers["ETag"] != small.headers["ETag"]
    again = crew.get(here, headers={"If-None-Match": whole.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    as_file = crew.get(f"/jobs/J01/pictures/{drawing.pk}")
    assert as_file.headers["Content-Disposition"] == f'attachment; filename="picture-{drawing.pk}.pdf"'
    code = Stores().code("J01", "A1")
    for other in (f"/jobs/J03/pictures/{one.pk}", f"/bags/{code}/pictures/{one.pk}", f"/ends/pictures/{one.pk}"):
        assert crew.get(other).status_code == 404, other
    assert browser_of(BUYER).get(here).status_code == 403
    assert browser_of(STORES).post("/jobs/J01/pictures", {"place": "A1-a"}).status_code == 403
    assert browser_of(STORES).post(f"/bags/{code}/pictures", {"picture": sent()}).status_code == 403
    assert Client().get(here).status_code == 302


def test_a_bag_and_an_end_are_photographed_by_those_who_work_with_them_and_no_step_waits_for_it() -> None:
    people(CREW, STORES, AUDITOR)
    crew, bag = browser_of(CREW), Stores().code("J01", "A1")
    laid_out, said = kept(browser_of(STORES), f"/bags/{bag}/pictures", note="laid out")
    end, on_end = kept(crew, "/ends/pictures", **PAGE, note="three elbows")

    assert laid_out.bag == Stores().bag("J01", "A1")
    assert "KEPT" in said
    page = words(crew.get(f"/bags/{bag}"))
    assert "picture kept: laid out" in page
    assert f"picture {laid_out.pk} · laid out" in page
    assert (end.job.job, end.structure, end.position) == ("J01", "A1", "a")
    assert f"picture {end.pk} · three elbows · 2026-03-02 · with J01" in on_end
    assert f"picture {end.pk}" in crew.get("/jobs/J01/as-installed.csv").content.decode()
    assert f"/ends/pictures/{end.pk}" in browser_of(AUDITOR).get("/ends", PAGE).content.decode()
    assert "Photograph this end" in words(crew.get(f"/bags/{bag}/install"))
    assert "Photograph it" in page
    nothing = kept(crew, "/ends/pictures", structure="Z9", position="a")[1]
    assert "Nothing is noted as installed at Z9-a" in nothing
    assert Picture.objects.count() == 2


def test_what_is_no_picture_is_refused_in_words_and_a_wrong_one_is_taken_away_for_a_reason() -> None:
    people(CREW)
    crew = browser_of(CREW)
    for fields, why in (
        ({"picture": sent("a.jpg", content=b"<script>")}, "by its content a.jpg is not a JPEG or PNG"),
        ({"picture": ""}, "NO PICTURE take a photograph or choose a file"),
        ({"place": "Z9-a"}, "J01 has no position Z9-a"),
        ({"note": "x" * 201}, "The note has 201 letters; 200 are the most"),
    ):  # fmt: skip
        answer = send(crew, "/jobs/J01/pictures", **{"place": "A1-a", "note": "nameplate", "picture": sent(), **fields})
        assert why in words(answer).replace("NO PICTURE:", "NO PICTURE"), why
        typed = f'name="note" value="{fields.get("note", "nameplate")}"'
        assert typed in answer.content.decode(), why
    assert not Picture.objects.exists()

    one, _ = kept(crew, "/jobs/J01/pictures", place="A1-a")
    away = {"do": "away", "number": one.pk}
    unsaid = send(crew, "/jobs/J01/pictures", **away)
    assert "needs a reason" in words(unsaid)
    assert f'name="number" value="{one.pk}"' in unsaid.content.decode()
    assert "TAKEN AWAY" in words(send(crew, "/jobs/J01/pictures", **away, why="another pad"))
    assert crew.get(f"/jobs/J01/pictures/{one.pk}").status_code == 404
    assert f"picture {one.pk}" not in crew.get("/jobs/J01").content.decode()
    assert "was taken away before: another pad" in words(send(crew, "/jobs/J01/pictures", **away, why="again"))
    assert Event.objects.get(name="picture taken away").data["why"] == "another pad"
