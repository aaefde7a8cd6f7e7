"""What failed and where says what to bring: by the rules, and from where it can be had first."""

from datetime import date
from typing import Any

import pytest
from bag_stores import Stores, demo_sheets
from module_books import books_of_module
from people import DUTY
from refusals import refusal

from jobs.models import CableType, Position
from kitting.selectors.failed_parts import Suggestion, suggest
from kitting.services.emergency import open_emergency

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets)
NIGHT = date(2026, 3, 14)


def suggested(structure: str, position: str, failed: str, **given: Any) -> Suggestion:
    """What is suggested at a place, seen from N on the fourteenth of March."""
    asked = {"depot": "N", "on": NIGHT, **given}
    return suggest(structure=structure, position=position, failed=failed, **asked)


def codes(found: Suggestion) -> dict[str, tuple[str, int]]:
    """Stock code and whole pieces by kind."""
    return {line.kind: (line.stock_code, line.quantity // 1000) for line in found.lines}


def test_a_failed_elbow_brings_all_that_is_fitted_with_it_by_the_cable_that_lies_there() -> None:
    """A2-a holds reel R-1187, whose wall is 220 mil (trap T01): EL15-2 and not EL15-1."""
    found = suggested("A2", "a", "elbow")
    assert (found.system, found.left_open) == ("S12", ())
    assert codes(found) == {
        "elbow": ("EL15-2", 3), "elbow connector": ("CC-10A", 3), "probe": ("PB15", 3),
        "shield ground set": ("GK-1", 3), "jacket seal": ("JS-1", 3), "phase tag": ("TAG-Y", 3),
    }  # fmt: skip
    assert codes(suggested("A2", "a", "elbow", phases="B"))["elbow"] == ("EL15-2", 1)
    assert codes(suggested("A2", "a", "elbow", cable_type="CT-01"))["elbow"] == ("EL15-1", 3)


def test_a_failed_insert_is_replaced_although_the_books_say_that_one_is_fitted() -> None:
    Position.objects.filter(structure__structure="A2", position="a").update(insert_fitted=True)
    assert codes(suggested("A2", "a", "insert")) == {"bushing insert": ("BI15", 3)}


def test_where_nobody_knows_the_system_only_what_serves_on_every_one_is_suggested() -> None:
    """An 8.4 kV arrester is enough on the wye of S12 and not on the delta of S13D, so the higher one is universal."""
    assert codes(suggested("C3", "b", "arrester", system="S12")) == {"elbow arrester": ("EA15-8.4", 3)}
    unknown = suggested("C3", "b", "arrester")
    assert (unknown.system, codes(unknown)) == ("", {"elbow arrester": ("EA15-15.3", 3)})
    anywhere = suggested("Saltmarsh", "", "splice", cable_type="CT-01")
    assert "splice" not in codes(anywhere)
    assert codes(anywhere)["splice connector"] == ("SC-10A", 3)
    (told,) = anywhere.left_open
    assert told.startswith("splice depends on the system (S12: CS15-2; S13D: CS15-2; S20M: short")


def test_sources_come_in_the_order_in_which_they_are_to_be_taken_and_fill_the_emergency() -> None:
    found = suggested("Saltmarsh", "", "splice", depot="H", cable_type="CT-01", system="S12")
    splice = next(line for line in found.lines if line.kind == "splice")
    assert [(one.kind, one.balance.lot.number) for one in splice.sources["CS15-2"]] == [
        ("shelf", "L-2508A"), ("near its date", "L-2303B"),
    ]  # fmt: skip
    assert splice.sentence.startswith("3 CS15-2 (splice): 6 of CS15-2 lot L-2508A at H/H-04-2 (shelf, use by 2028")
    opened = open_emergency(
        job="E01", structure="Saltmarsh", depot="H", wanted=found.wanted, why="dig-in", **Stores().scan(DUTY)
    )
    assert [one.sentence for one in opened.sources["CS15-2"]] == [one.sentence for one in splice.sources["CS15-2"]]
    assert sorted(opened.sources) == ["CS15-2", "MST", "RJ-1", "SA-1", "SC-10A"]


def test_a_joint_of_the_books_is_made_again_between_the_cables_that_meet_there() -> None:
    """BJ1 joins CT-13 to CT-13: copper connectors."""
    assert codes(suggested("BJ1", "j", "splice"))["splice connector"] == ("SC-750C", 3)


def test_a_cable_that_nobody_knows_is_asked_and_never_guessed() -> None:
    CableType.objects.filter(cable_type="CT-01").update(
        doi_low_nm=None, doi_high_nm=None, wall_nm=None, insulation_level="", cable_class_kv=""
    )
    found = suggested("A2", "a", "elbow", cable_type="CT-01")
    assert "elbow" not in codes(found)
    (told,) = found.left_open
    assert told.startswith("elbow: diameter over insulation is not known")
    assert codes(found)["probe"] == ("PB15", 3)


def test_what_cant_be_suggested_is_refused_with_what_is_there() -> None:
    assert "its positions: a, b" in refusal("unknown-position", suggested, "A2", "z", "elbow")
    assert "elbow, splice" in refusal("unknown-failure", suggested, "A2", "a", "fuse")
    assert "are on S12, not on S25" in refusal("other-system", suggested, "A2", "a", "elbow", system="S25")
    assert "no system S99" in refusal("unknown-system", suggested, "A2", "a", "elbow", system="S99")
    assert "has phases ABC" in refusal("other-phases", suggested, "A2", "a", "elbow", phases="N")
    assert "no termination stands there" in refusal("nothing-asked", suggested, "A2", "a", "termination")
    assert "Say the cable type" in refusal("no-cable", suggested, "Saltmarsh", "", "splice")
    assert "no cable type CT-99" in refusal("unknown-cable-type", suggested, "A2", "a", "elbow", cable_type="CT-99")
    assert "no depot Q" in refusal("unknown-depot", suggested, "A2", "a", "elbow", depot="Q")
