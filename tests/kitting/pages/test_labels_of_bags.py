"""Labels of recorded bags: what is in them now, and that a second print says so."""

from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pypdfium2
import pytest
import zxingcpp
from bag_stores import Stores, demo_sheets, planned
from browsing import browser_of, pages_of, people, words
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from module_books import books_of_module
from people import BUYER, DUTY
from PIL import Image

from inventory.models import Balance, Item, Lot, Place
from kitting.models import Policy, Promise
from kitting.services.emergency import open_emergency

pytestmark = pytest.mark.django_db


def one_bag_ready_one_short() -> None:
    """The demo on the first morning with one bag staged and one half picked, and people who may sign in."""
    planned()
    made = Stores(prefix="ready")
    made.bags("J03")
    made.ready("J03", "B2")
    made.fetch("J03", "V2", but={"T25": 1})
    people()


books = books_of_module(demo_sheets, one_bag_ready_one_short)


@pytest.fixture
def stores() -> Stores:
    return Stores()


def test_a_label_says_full_only_of_a_bag_that_is_and_short_with_what_is_missing(stores: Stores, window: Client) -> None:
    (full,) = pages_of(window.post(f"/bags/{stores.code('J03', 'B2')}/print/bag-label.pdf"))
    short = pages_of(window.post(f"/bags/{stores.code('J03', 'V2')}/print/bag-label.pdf"))[0]

    assert full.startswith("DEMO B2 ")
    assert stores.code("J03", "B2") in full
    assert "BAG 2 OF 7" in full
    assert "FULL" in full
    assert "SHORT: 1 T25" in short
    assert "FULL" not in short


def test_a_second_print_of_the_same_bag_says_reprint_and_one_of_other_content_does_not(
    stores: Stores, window: Client
) -> None:
    address = f"/bags/{stores.code('J03', 'V2')}/print/bag-label.pdf"
    looked_at = window.get(address, follow=True)
    first, second = (pages_of(window.post(address))[0] for _ in range(2))
    stores.fetch("J03", "V2")
    filled = pages_of(window.post(address))[0]

    assert "What comes next" in words(looked_at)
    assert "REPRINT" not in first
    assert "REPRINT 1" in second
    assert "REPRINT" not in filled
    assert "SHORT" not in filled


def test_all_labels_of_a_job_come_in_one_file_and_a_job_without_bags_has_none(window: Client) -> None:
    labels = pages_of(window.post("/jobs/J03/print/bag-label.pdf"))

    for one in ("B1", "B2", "B3", "B4", "BJ1", "V1", "V2"):
        assert any(label.startswith(f"DEMO {one} ") for label in labels), one
    assert window.post("/jobs/J01/print/bag-label.pdf").status_code == 404
    assert window.post("/bags/NO-SUCH-BAG/print/bag-label.pdf").status_code == 404
    assert browser_of(BUYER).post("/jobs/J03/print/bag-label.pdf").status_code == 403


def test_the_night_card_and_the_inner_labels_name_the_lot_that_lies_inside_not_the_one_that_was_promised(
    stores: Stores, window: Client
) -> None:
    code = stores.code("J03", "V1")
    adapter = Item.objects.get(stock_code="CA-4")
    promised = Promise.objects.filter(job__job="J03", item=adapter, released_at=None).earliest("pk")
    lot, place = Lot.objects.create(item=adapter, number="L-OTHER"), promised.place
    Balance.objects.create(lot=lot, place=place, quantity=9_000)
    before = " ".join(pages_of(window.post(f"/bags/{code}/print/night-card.pdf")))
    stores.pick("J03", "V1", "CA-4", "L-OTHER", place, 6)
    card, labels = (
        " ".join(pages_of(window.post(f"/bags/{code}/print/{name}.pdf"))) for name in ("night-card", "inner-labels")
    )

    assert "1 SHORT 1 SHORT 1 SHORT" in before
    assert promised.lot.number not in before
    for paper, told in ((card, "1 L-OTHER"), (labels, "1 CA-4 L-OTHER")):
        assert told in paper
        assert promised.lot.number not in paper
    assert "SHORT 1 T25" in labels, "it lies on the shelf yet"
    assert window.post(f"/bags/{code}/print/no-such-paper.pdf").status_code == 404


def test_prints_are_counted_by_bag_however_they_are_asked_for_and_whatever_else_is_packed(
    stores: Stores, window: Client
) -> None:
    """Printed with its job's others a bag is a reprint when printed alone; another bag's pieces change nothing."""
    code = stores.code("J03", "B2")
    for name in ("bag-label", "night-card"):
        together = pages_of(window.post(f"/jobs/J03/print/{name}.pdf"))
        stores.pick("J03", "B3", "JS-2", *bin_of("JS-2"), 1)
        alone = pages_of(window.post(f"/bags/{code}/print/{name}.pdf"))
        again = pages_of(window.post(f"/jobs/J03/print/{name}.pdf"))

        assert not any("REPRINT" in page for page in together)
        assert "REPRINT 1" in alone[0]
        assert any("REPRINT 2" in page and code in page for page in again)
        assert not any("REPRINT" in page for page in again if stores.code("J03", "B3") in page)


def bin_of(code: str) -> tuple[str, Place]:
    """Lot and bin of a piece at N that lies free."""
    shelf = Balance.objects.filter(
        lot__item__stock_code=code, place__depot__depot="N", place__kind="bin", quantity__gt=0
    )
    found = shelf.select_related("lot", "place").earliest("pk")
    return found.lot.number, found.place


def test_night_cards_and_inner_labels_are_noted_as_prints_and_say_who_printed_them_when(
    stores: Stores, window: Client
) -> None:
    for name in ("night-card", "inner-labels"):
        address = f"/bags/{stores.code('J03', 'B2')}/print/{name}.pdf"
        looked_at = window.get(address, follow=True)
        first, second = (pages_of(window.post(address))[0] for _ in range(2))

        assert "What comes next" in words(looked_at)
        assert "M. Osei" in first
        assert "REPRINT" not in first
        assert "REPRINT 1" in second
    assert len(pages_of(window.post("/jobs/J03/print/night-card.pdf"))) >= 14
    assert browser_of(BUYER).post("/jobs/J03/print/night-card.pdf").status_code == 403


def test_a_bag_that_was_never_planned_has_its_label_inner_labels_and_card_as_well(
    stores: Stores, window: Client
) -> None:
    open_emergency(job="E07", structure="X9", depot="N", wanted={"EL15-3": 2000}, why="dig-in", **stores.scan(DUTY))
    stores.fetch("E07", "X9", but={"EL15-3": 1})
    code = stores.code("E07", "X9")
    for address in (f"/bags/{code}/print/bag-label.pdf", f"/bags/{code}/print/inner-labels.pdf",
                    f"/bags/{code}/print/night-card.pdf"):  # fmt: skip
        page = pages_of(window.post(address))[0]
        assert "E07-X9-1-" in page
        assert "EL15-3" in page


def test_labels_on_sheets_are_true_to_size_with_the_check_bar_and_their_codes_read(
    stores: Stores, window: Client
) -> None:
    """Two bag labels or 27 inner labels stand on a sheet of Letter or A4; each code reads at its own size."""
    code = stores.code("J03", "B2")
    for paper, size in (("Letter", (216, 279)), ("A4", (210, 297))):
        Policy.objects.update_or_create(policy="paper", defaults={"value": paper})
        for address, most in (("/jobs/J03/print/bag-label.pdf", 2), ("/jobs/J03/print/inner-labels.pdf", 27)):
            alone = pages_of(window.post(address))
            answer = window.post(address, {"on": "sheets"})
            texts = pages_of(answer)
            with pypdfium2.PdfDocument(answer.content) as file:
                sheets = [(page.get_size(), page.render(scale=4, grayscale=True).to_pil()) for page in file]
            found = [sorted(one.text for one in zxingcpp.read_barcodes(picture)) for _, picture in sheets]

            assert len(texts) == -(-sum(map(len, found)) // most)
            assert all(len(codes) == most for codes in found[:-1])
            assert sum(map(len, found)) >= len(alone)
            assert {tuple(round(side / 72 * 25.4) for side in page) for page, _ in sheets} == {size}
            assert all("50 mm when true to size" in text for text in texts)
    one = pages_of(window.post(f"/bags/{code}/print/bag-label.pdf", {"on": "sheets"}))
    assert len(one) == 1
    assert code in one[0]
    assert window.post(f"/bags/{code}/print/night-card.pdf", {"on": "sheets"}).status_code == 404


def test_all_labels_of_a_day_come_in_the_order_of_the_rack_and_each_says_whether_it_was_printed_before(
    stores: Stores, window: Client
) -> None:
    stores.ready("J03", "B1", rack="R-10")
    stores.ready("J03", "B3", rack="R-2")
    window.post(f"/bags/{stores.code('J03', 'B3')}/print/bag-label.pdf")

    seen = words(window.get("/labels/N"))
    labels = pages_of(window.post("/labels/N", {"day": "2026-03-12"}))
    again = words(window.get("/labels/N?day=2026-03-12"))

    assert "2026-03-12" in seen
    assert seen.index("R-1 ") < seen.index("R-2 ") < seen.index("R-10 ") < seen.index("no place yet")
    first = [label.removeprefix("DEMO ").split()[0] for label in labels[:3]]
    assert first == ["B2", "B3", "B1"]
    assert [("REPRINT 1" in label) for label in labels[:3]] == [False, True, False]
    assert "REPRINT 2" in again
    assert "7 labels in the order of the rack" in again
    assert "What else is printed for that day J03 Inner labels of J03 Night cards of J03" in again
    forms = [f"/jobs/J03/print/{name}.pdf" for name in ("inner-labels", "night-card")]
    assert all(f'action="{one}"' in window.get("/labels/N?day=2026-03-12").content.decode() for one in forms)
    assert all(window.post(one).content.startswith(b"%PDF") for one in forms)


def test_the_day_is_that_of_the_cutover_or_of_staging_and_without_bags_nothing_is_printed(window: Client) -> None:
    staged = words(window.get("/labels/N?of=staged by&day=2026-03-10"))
    other = words(window.get("/labels/N?day=2026-03-10"))
    none = words(window.post("/labels/N", {"day": "2026-03-10"}, follow=True))

    assert "7 labels in the order of the rack" in staged
    assert "No bag in store at N has this day" in other
    assert "NO LABEL" in none
    assert window.get("/labels/Q").status_code == 404
    assert browser_of(BUYER).get("/labels/N").status_code == 403


def test_the_list_of_labels_asks_the_books_as_often_for_many_bags_as_for_few(stores: Stores, window: Client) -> None:
    window.get("/labels/N")
    counts = []
    for job in ("J03", "J04"):
        stores.bags(job)
        with CaptureQueriesContext(connection) as queries:
            window.get("/labels/N?day=2026-03-12")
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_command_writes_the_same_file_and_refuses_a_day_without_bags(tmp_path: Path) -> None:
    for name in ("a", "b"):
        call_command("labels", "N", "2026-03-12", "--out", str(tmp_path / f"{name}.pdf"))
    with pytest.raises((CommandError, SystemExit)):
        call_command("labels", "N", "2026-03-13", "--out", str(tmp_path / "c.pdf"))

    files = [pypdfium2.PdfDocument(tmp_path / f"{name}.pdf") for name in "ab"]
    texts = [file[0].get_textpage().get_text_bounded() for file in files]
    assert "B2" in texts[0]
    assert ["REPRINT 1" in text for text in texts] == [False, True]
    assert not (tmp_path / "c.pdf").exists()


def test_labels_are_pictures_at_the_dots_of_a_label_printer_and_their_codes_read(
    stores: Stores, window: Client
) -> None:
    """4 x 6 in is 812 by 1218 dots at 203 an inch; bag label and inner labels read from the picture alone."""
    code = stores.code("J03", "B2")
    for dots, size in ((203, (812, 1218)), (300, (1200, 1800))):
        answer = window.post(f"/bags/{code}/print/bag-label.pdf", {"on": str(dots)})
        assert (answer.headers["Content-Type"], answer.headers["X-Content-Type-Options"]) == ("image/png", "nosniff")
        with Image.open(BytesIO(answer.content)) as picture:
            assert (picture.size, picture.mode) == (size, "1")
            assert round(picture.info["dpi"][0]) == dots
            (read,) = zxingcpp.read_barcodes(picture.convert("L"))
        assert read.text.startswith(f"BAG {code} ")
        inner = window.post(f"/bags/{code}/print/inner-labels.pdf", {"on": str(dots)})
        with ZipFile(BytesIO(inner.content)) as packed:
            assert packed.namelist()[0] == "J03-B2-inner-labels-001.png"
            for name in packed.namelist():
                with Image.open(packed.open(name)) as picture:
                    (read,) = zxingcpp.read_barcodes(picture.convert("L"))
                assert read.text.startswith(f"{code.rpartition('-')[0]}-")
    again = window.post(f"/bags/{code}/print/bag-label.pdf")
    assert "REPRINT 2" in pages_of(again)[0]
    assert window.post("/labels/N", {"day": "2026-03-12", "on": "203"}).headers["Content-Type"] == "application/zip"
    assert window.post(f"/bags/{code}/print/night-card.pdf", {"on": "203"}).status_code == 404
