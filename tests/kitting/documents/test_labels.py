"""Bag labels and inner labels: heights, codes, as many labels as the rows need, and what they say."""

import itertools
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from kitting.calculation.plan_result import Plan
from kitting.documents import write_documents
from kitting.documents.bag_labels import SIZES_MM, code_content
from kitting.documents.inner_labels import write_inner_labels
from kitting.documents.plan_papers import PlanPapers
from kitting.documents.record_papers import Printed
from kitting.documents.square_codes import QUIET_MODULES, modules

Pages = dict[str, list[Any]]


def line_heights(page: Any, line: str) -> list[float]:
    """Heights of the capitals and figures of the first printed line that holds ``line``; Q and J hang lower."""
    text = "".join(letter.text for letter in page.letters)
    start = text.index(line)
    return [one.height_mm for one in page.letters[start : start + len(line)] if one.text in "ABCDEFHKLMNPRTVXYZ123457"]


@pytest.mark.parametrize("size", list(SIZES_MM))
def test_the_location_stands_first_in_capitals_of_7_mm_or_more(prints: Pages, size: str) -> None:
    first, second = prints[f"J03-bag-labels-{size}.pdf"]
    for page, name in ((first, "V1"), (second, "V2")):
        assert page.text.startswith(name)
        assert min(line_heights(page, name)) >= 7.0


@pytest.mark.parametrize("size", list(SIZES_MM))
def test_rows_of_an_end_stand_in_capitals_of_3_3_mm_or_more_and_no_text_below_2_3_mm(prints: Pages, size: str) -> None:
    page = prints[f"J03-bag-labels-{size}.pdf"][0]
    assert min(line_heights(page, "A B C CA-4 1.410")) >= 3.3
    assert min(line_heights(page, "cable 1.436–1.505 in")) >= 3.3
    capitals = [one.height_mm for one in page.letters if one.text in "ABEHKLT" and one.height_mm > 0]
    assert min(capitals) >= 2.3


@pytest.mark.parametrize("size", list(SIZES_MM))
def test_the_bag_code_is_25_mm_wide_with_modules_of_half_a_millimetre_or_more(prints: Pages, size: str) -> None:
    for pages in (pages for name, pages in prints.items() if size in name):
        for page in pages:
            (code,) = page.codes()
            assert code.side_mm >= 25.0
            assert 25.0 / len(modules(code.text)) >= 0.5


def test_the_bag_code_holds_number_revision_location_job_and_ends_as_far_as_they_fit(plan: Plan) -> None:
    bag = PlanPapers(plan, ["J03"]).paper("J03").bags[0]
    assert code_content(bag) == f"BAG {bag.code} REV {bag.revision} | V1 | J03 | V1-a ABC, V1-b ABC, whole job"
    crowded = replace(bag, lines=tuple(replace(line, position=line.position * 40) for line in bag.lines))
    assert code_content(crowded) == f"BAG {crowded.code} REV {crowded.revision} | V1 | J03"


def test_the_label_tells_job_bag_cutover_state_system_use_by_spares_and_revision_in_this_order(prints: Pages) -> None:
    page = prints["J03-bag-labels-4x6in.pdf"][1]
    said = (
        "V2", "Birch Street Feeder (600 A)", "J03 BAG 2 OF 2", "CUTOVER Thu 2026-03-12 08:00 CDT", "SHORT: 1 JS-3",
        "12.47 kV multigrounded wye · 600 A 15/25 kV", "V2-a · run 1 · 750 kcmil Al", "USE BY", "SPARES 0", "REV ",
    )  # fmt: skip
    places = [page.one_line.index(text) for text in said]
    assert places == sorted(places)


def test_the_feeders_of_the_location_stand_below_its_name_where_they_are_known(prints: Pages) -> None:
    first, second = (page.one_line for page in prints["J03-bag-labels-A6.pdf"])
    assert first.startswith("V1 FEEDER F-12, F-14 Birch Street Feeder")
    assert second.startswith("V2 Birch Street Feeder")


def test_a_bag_with_a_short_line_says_short_and_what_and_is_never_called_full(prints: Pages) -> None:
    """Trap T07 at planning: one jacket seal is missing from V2."""
    first, second = (page.one_line for page in prints["J03-bag-labels-A6.pdf"])
    assert "SHORT: 1 JS-3" in second
    assert "READY" in first
    assert "FULL" not in first + second


def test_what_must_come_what_nobody_can_tell_and_what_has_no_rule_stand_on_the_label(prints: Pages) -> None:
    assert "READY IF: 2 EL15-2 from H by Tue 2026-03-03" in prints["J01-bag-labels-A6.pdf"][1].one_line
    vault = prints["J10-bag-labels-A6.pdf"][0].one_line
    assert "NO RULE" in vault
    assert "paper, conductor 4/0 AWG Cu" in vault
    assert "CAN'T TELL: V9-J2: can't tell: 1 AWG is no cable here; did you mean 1/0 AWG?" in vault


def test_spares_travel_in_one_bag_and_a_spare_that_is_short_is_named(prints: Pages) -> None:
    first, second = (page.one_line for page in prints["J03-bag-labels-A6.pdf"])
    assert "SPARES 2: 1 LUG-750C, 0 JS-3 (SHORT 1)" in first
    assert "SPARES 0" in second


def test_a_stand_in_is_named_on_the_label_and_the_inner_labels_of_its_bag(prints: Pages) -> None:
    assert "CC-10X STAND-IN for CC-10A" in prints["J01-bag-labels-4x6in.pdf"][1].one_line
    assert "STAND-IN" not in prints["J01-bag-labels-4x6in.pdf"][0].one_line
    stand_ins = [page.text.split()[2] for page in prints["J01-inner-labels.pdf"] if "CC-10X STAND-IN" in page.one_line]
    assert stand_ins == ["B", "C"], "one of the right part lay on the shelf, for phase A"


def test_a_long_name_shrinks_to_its_floor_then_wraps_and_is_never_cut(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    name = "North-Quay-Substation-Vault-" * 3 + "the-end"
    requirements = plan.requirements.assign(structure=plan.requirements["structure"].replace("V1", name))
    write_documents(replace(plan, requirements=requirements), tmp_path, jobs=["J03"])
    pages = pages_of(tmp_path / "J03-bag-labels-A6.pdf")
    together = "".join("".join(page.text.split()) for page in pages)
    assert name.upper() in together
    assert min(one.height_mm for one in pages[0].letters[:40] if one.text in "NORTH") >= 7.0
    card = "".join(pages_of(tmp_path / "J03-night-cards.pdf")[0].text.split())
    assert name.upper() in card


def test_as_many_labels_are_printed_as_the_rows_need_and_each_repeats_its_head(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    ends = plan.requirements[plan.requirements["line"].str.startswith("J03/V2-a")]
    more = [
        ends.assign(position=f"p{at}", run=str(at), line=ends["line"].str.replace("V2-a", f"V2-p{at}"))
        for at in range(12)
    ]
    crowded = pd.concat([plan.requirements, *more], ignore_index=True)
    write_documents(replace(plan, requirements=crowded), tmp_path, jobs=["J03"])
    pages = pages_of(tmp_path / "J03-bag-labels-4x6in.pdf")[1:]
    assert len(pages) > 3
    for number, page in enumerate(pages, 1):
        assert page.text.startswith("V2")
        assert f"LABEL {number} OF {len(pages)}" in page.one_line
    together = " ".join(page.one_line for page in pages)
    assert all(f"V2-p{at} · run {at}" in together for at in range(12))


def test_inner_labels_go_by_end_and_phase_in_a_b_c_order_with_part_and_lot(prints: Pages) -> None:
    titles = [
        page.one_line.split(" run ")[0] for page in prints["J03-inner-labels.pdf"] if page.one_line.startswith("V1-a")
    ]
    assert list(dict.fromkeys(titles)) == ["V1-a PHASE A", "V1-a PHASE B", "V1-a PHASE C", "V1-a ALL PHASES"]
    first = prints["J03-inner-labels.pdf"][0].one_line
    assert "750 kcmil Al" in first
    assert "1 CA-4 L-2509A" in first


def test_inner_labels_are_split_where_the_parts_do_not_fit_and_say_how_many(prints: Pages) -> None:
    phase = [page.one_line for page in prints["J03-inner-labels.pdf"] if "V1-a PHASE A" in page.one_line]
    assert [text.rsplit(" ", 3)[1:] for text in phase] == [["1", "OF", "2"], ["2", "OF", "2"]]
    parts = ("T25", "CA-4", "LUG-750A", "ST-A", "IP25", "JS-3")
    assert [sum(f"1 {part}" in text for text in phase) for part in parts] == [1] * len(parts)


def test_lots_are_handed_to_phases_in_the_order_in_which_they_are_promised(prints: Pages) -> None:
    lots = {
        page.one_line.split(" run ")[0]: "L-2509A" if "L-2509A" in page.text else "L-2501A"
        for page in prints["J03-inner-labels.pdf"]
        if page.one_line.startswith("V1-b PHASE") and "CA-4" in page.text
    }
    assert lots == {"V1-b PHASE A": "L-2509A", "V1-b PHASE B": "L-2501A", "V1-b PHASE C": "L-2501A"}


def test_inner_labels_have_letters_of_2_3_mm_or_more_and_one_code_of_15_mm_at_most(prints: Pages) -> None:
    for page in prints["J03-inner-labels.pdf"]:
        heights = [one.height_mm for one in page.letters if one.text in "ABEHLTV1" and one.height_mm > 0]
        assert min(heights) >= 2.3
        (code,) = page.codes()
        with_quiet_zone = code.side_mm * (1 + 2 * QUIET_MODULES / len(modules(code.text)))
        assert code.side_mm > 10
        assert with_quiet_zone <= 15.0 + 0.2


def test_a_printed_inner_label_says_who_printed_it_and_nothing_runs_into_anything_else(
    plan: Plan, pages_of: Callable[[Path], list[Any]], tmp_path: Path
) -> None:
    """Even with the longest of names: all parts are there, each label has its print, and its code reads."""
    who = Printed("2026-03-02", datetime(2026, 3, 2, 8, 30, tzinfo=UTC), "Maximiliane Vandersloot-Okonkwo", reprint=3)
    long = plan.requirements.assign(position=plan.requirements["position"].replace("a", "position-with-a-long-name"))
    papers = PlanPapers(replace(plan, requirements=long), ["J03"]).as_printed(who)
    path = write_inner_labels(tmp_path / "inner.pdf", papers, papers.paper("J03"))
    pages = pages_of(path)
    for page in pages:
        assert "REPRINT 3" in page.one_line or " 1 OF " not in page.one_line
        assert " · 2026-03-02 08:30" in page.one_line
        assert len(page.codes()) == 1
        feet = sorted({round(one.foot_mm, 1) for one in page.letters if one.text in "EHTLAV1"})
        assert all(above - below < 0.2 or above - below > 2.3 for below, above in itertools.pairwise(feet))
    together = " ".join(page.one_line for page in pages)
    assert "by Maximiliane Vandersloot-Okonkwo" in together
    assert all(f"1 {part}" in together for part in ("T25", "CA-4", "LUG-750A", "ST-A", "IP25", "JS-3"))
