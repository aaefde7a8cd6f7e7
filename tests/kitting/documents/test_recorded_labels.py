"""Labels and cards of recorded bags: the state of the bag, its print, and what does not belong in it."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from kitting.calculation.plan_result import Plan
from kitting.documents.bag_labels import SIZES_MM, RecordedBag, paint_labels
from kitting.documents.lettering import open_canvas
from kitting.documents.nearest_pieces import NearestPieces
from kitting.documents.night_card import night_card
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.record_papers import Printed, pdf_bytes
from kitting.documents.wording import Words

NOON = datetime(2026, 3, 12, 12, 5, tzinfo=ZoneInfo("America/Chicago"))
PRINTED = Printed("2026-03-12", NOON, "A. Reyes", revision="B")


@pytest.mark.parametrize("state", ["FULL", "SHORT: 1 JS-3", "ON HOLD", "PICKING"])
def test_a_label_says_the_state_of_the_recorded_bag_and_which_print_it_is(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path, state: str
) -> None:
    papers = PlanPapers(plan, ["J03"]).as_printed(replace(PRINTED, reprint=2))
    paper = papers.paper("J03")
    bag = paper.bags[0]
    for size in SIZES_MM:
        path = tmp_path / f"{size}.pdf"
        canvas = open_canvas(path, "label")
        recorded = RecordedBag(bag.structure, 1, state, "B")
        paint_labels(canvas, papers, paper, bag, size=size, words=Words(), recorded=recorded)
        canvas.save()
        for page in pages_of(path)[:1]:
            for text in (state, "REPRINT 2", "REV B", f"printed at {PRINTED.moment} by {PRINTED.person}"):
                assert text in page.one_line
            (code,) = page.codes()
            assert code.text.startswith(f"BAG {bag.code} REV B")


def test_a_night_card_of_a_recorded_bag_says_its_state_its_print_and_what_to_take_out(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    papers = PlanPapers(plan, ["J03"]).as_printed(replace(PRINTED, reprint=1))
    paper = papers.paper("J03")
    recorded = RecordedBag("V2", 2, "ON HOLD", "B", ("1 EL15-2",))
    card = night_card(papers, NearestPieces(papers), paper, paper.bags[1], Words(), recorded)
    path = tmp_path / "card.pdf"
    path.write_bytes(pdf_bytes([card], "card"))
    front = pages_of(path)[0].one_line
    for text in ("ON HOLD", "REPRINT 1 · Revision B", f"printed at {PRINTED.moment} by {PRINTED.person}",
                 "TAKE OUT: 1 EL15-2, which no line of this bag wants"):  # fmt: skip
        assert text in front
    assert "SHORT: 1 JS-3" not in front
