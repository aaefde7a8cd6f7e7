"""What every document keeps: page sizes, codes that can be read, cautions, DEMO, grey print, and equal bytes."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from PIL import ImageChops

from kitting.calculation.plan_result import Plan
from kitting.calculation.short_codes import verified
from kitting.documents import write_documents
from kitting.documents.cautions import SENTENCES

Pages = dict[str, list[Any]]
PAPER_MM = {
    "Letter": {"sheet": (215.9, 279.4), "landscape": (279.4, 215.9), "card": (139.7, 215.9)},
    "A4": {"sheet": (210.0, 297.0), "landscape": (297.0, 210.0), "card": (148.0, 210.0)},
}
LABEL_MM = {"4x6in": (101.6, 152.4), "A6": (105.0, 148.0), "inner": (50.8, 25.4)}


def shape_of(name: str) -> str:
    if "night" in name:
        return "card"
    return "landscape" if name.startswith(("shortage", "reorder")) else "sheet"


@pytest.mark.parametrize("paper", ["Letter", "A4"])
def test_every_page_has_the_size_of_its_paper_and_labels_their_own(
    plan_with: Callable[..., Plan], pages_of: Callable[[Path], list[Any]], tmp_path: Path, paper: str
) -> None:
    for path in write_documents(plan_with(paper=paper), tmp_path):
        if path.suffix == ".pdf":
            label = next((size for part, size in LABEL_MM.items() if part in path.name), None)
            assert {page.size_mm for page in pages_of(path)} == {label or PAPER_MM[paper][shape_of(path.name)]}


def test_nothing_is_printed_where_a_printer_may_not_reach(prints: Pages) -> None:
    for name, pages in prints.items():
        for page in pages:
            left, top, right, bottom = page.picture.convert("L").point(lambda grey: 255 - grey).getbbox()
            per_mm = page.picture.width / page.size_mm[0]
            edge = 0.9 if "inner" in name else 2 if "label" in name else 5
            assert min(left, top) / per_mm >= edge
            assert (page.picture.width - right) / per_mm >= edge
            assert (page.picture.height - bottom) / per_mm >= edge


def test_every_page_carries_one_code_that_reads_as_the_number_printed_beside_it(prints: Pages) -> None:
    for name, pages in prints.items():
        for page in pages:
            if name == "J10-inner-labels.pdf":
                continue  # says that there is no inner bag
            (code,) = page.codes()
            number = code.text.removeprefix("BAG ").split(" ")[0]
            assert number in page.one_line, name
            assert verified(number)


def test_every_page_but_the_inner_labels_says_of_what_day_the_stock_is_and_how_many_pages_there_are(
    prints: Pages,
) -> None:
    for name, pages in prints.items():
        for number, page in enumerate(pages, 1):
            if "inner" not in name:
                assert "stock as of 2026-03-02" in page.one_line
            if "label" not in name and "night" not in name:
                assert f"page {number} of {len(pages)}" in page.one_line


def test_every_crew_paper_prints_all_cautions_and_the_rules_behind_them(prints: Pages) -> None:
    for name, pages in prints.items():
        for page in pages:
            if "inner" not in name:
                assert all(sentence in page.one_line for sentence in SENTENCES), name
            if "pick" in name or "night" in name:
                assert "29 CFR 1910.269" in page.one_line


def test_the_same_plan_gives_the_same_bytes(plan: Plan, written: dict[str, Path], tmp_path: Path) -> None:
    again = write_documents(plan, tmp_path)
    assert [path.name for path in again] == list(written)
    assert all(path.read_bytes() == written[path.name].read_bytes() for path in again)


def test_a_demo_says_demo_across_and_in_words_on_every_page_and_other_plans_never(
    plan_with: Callable[..., Plan], pages_of: Callable[[Path], list[Any]], prints: Pages, tmp_path: Path
) -> None:
    for path in write_documents(plan_with(demo=True), tmp_path):
        if path.suffix == ".pdf":
            assert all(page.text.count("DEMO") >= 2 for page in pages_of(path)), path.name
            assert all(page.codes() for page in pages_of(path) if path.name != "J10-inner-labels.pdf")
    assert not any("DEMO" in page.text for pages in prints.values() for page in pages)


def test_nothing_is_told_by_colour(prints: Pages) -> None:
    for pages in prints.values():
        for page in pages:
            red, green, blue = page.picture.convert("RGB").split()
            assert not ImageChops.difference(red, green).getbbox()
            assert not ImageChops.difference(green, blue).getbbox()


def test_text_on_sheets_and_cards_is_at_least_9_points(prints: Pages) -> None:
    for name, pages in prints.items():
        if "label" not in name:
            sizes = [letter.size_pt for page in pages for letter in page.letters if not letter.text.isspace()]
            assert min(sizes) >= 8.99, name


def test_only_embedded_faces_are_used(written: dict[str, Path]) -> None:
    for path in written.values():
        if path.suffix == ".pdf":
            content = path.read_bytes()
            assert content.count(b"/BaseFont") == content.count(b"/FontFile2") > 0
            assert b"Helvetica" not in content


def test_only_the_papers_of_the_jobs_asked_for_are_written_and_the_reports_cover_all(
    plan: Plan, tmp_path: Path
) -> None:
    names = {path.name for path in write_documents(plan, tmp_path, jobs=["J03"])}
    assert {name.split("-")[0] for name in names} == {"J03", "shortage", "reorder"}
    assert "J11" in (tmp_path / "reorder-sheet.csv").read_text(encoding="utf-8-sig")


def test_an_empty_plan_gives_pages_that_say_so(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    names = ("requirements", "promises", "shortages", "reorder")
    nothing: dict[str, pd.DataFrame] = {name: getattr(plan, name).iloc[:0] for name in names}
    written = {path.name: path for path in write_documents(replace(plan, **nothing), tmp_path)}
    says = {
        "J01-pick-list-N.pdf": "Nothing to pick",
        "J01-bag-labels-A6.pdf": "no line, no bag",
        "J01-inner-labels.pdf": "no inner bag",
        "J01-night-cards.pdf": "no line, no bag",
        "shortage-report.pdf": "Nothing is short.",
        "reorder-sheet.pdf": "Nothing to order.",
    }
    for name, sentence in says.items():
        (page,) = pages_of(written[name])
        assert sentence in page.one_line


def test_names_in_letters_the_font_lacks_are_printed_with_a_mark_in_their_place(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    jobs = tuple(replace(job, title="Łódź Улица") for job in plan.jobs)
    for path in write_documents(replace(plan, jobs=jobs), tmp_path, jobs=["J03"]):
        if path.name == "J03-pick-list-N.pdf":
            assert "Łódz ?????" in pages_of(path)[0].text


def test_the_joint_wording_leaves_no_north_american_word_of_ours(
    plan_with: Callable[..., Plan], pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    plan = plan_with(wording="joint")
    items = plan.book.frames["items"].assign(description=None)
    book = replace(plan.book, frames={**plan.book.frames, "items": items})
    american = re.compile(r"\b(splices?|\w*ground\w*|lots?|(?<!separable )elbows?)\b", re.IGNORECASE)
    for path in write_documents(replace(plan, book=book), tmp_path):
        if path.suffix == ".pdf":
            for page in pages_of(path):
                text = re.sub(r"\S*/\S*", "", page.one_line)  # names of lines are not words
                assert american.findall(text) == [], path.name
