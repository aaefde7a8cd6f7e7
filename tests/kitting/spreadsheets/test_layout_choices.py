"""What a person says of each heading, as a column layout file and back."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.sheets.raw import raw_sheet
from kitting.errors import Refusal
from kitting.spreadsheets.column_layout import adopted
from kitting.spreadsheets.layout_choices import (
    DATE,
    FREE,
    NUMBER,
    SIZE_UNIT,
    UNUSED,
    WORD,
    Choice,
    Choices,
    choices_of,
    layout_text,
    likely,
    sort_of,
    still_needed,
    targets,
    toml_text,
)
from kitting.spreadsheets.layout_file import parsed_layout, read_layout
from kitting.spreadsheets.list_headings import heading_names

LAYOUTS = Path(__file__).parents[3] / "kitting/spreadsheets/layouts"
RUNS = {
    "No": "run", "Ph": "phases", "Net": "system", "Size": "conductor size", "U": SIZE_UNIT, "A": "from structure",
    "A pos": "from position", "A is": "from end: kind", "B": "to structure", "B pos": "to position",
    "B is": "to end: kind", "Note": UNUSED,
}  # fmt: skip
ROW = ("7", "ABC", "S1", "1/0", "AWG", "P1", "a", "pad", "P2", "b", "pole", "x")


def choices(**changed: Choice) -> Choices:
    of = {heading: Choice(target) for heading, target in RUNS.items()}
    words = {"A is": Choice(RUNS["A is"], words={"pad": "well 200 A"}), "Size": Choice("conductor size")}
    return Choices("schedule", {**of, **words, **changed}, {"metal": "Al"})


def test_what_is_said_of_both_ends_makes_their_positions_and_a_unit_beside_a_size_goes_with_it() -> None:
    layout = parsed_layout(layout_text(choices()).encode(), "ours")
    raw = adopted(layout, raw_sheet("runs", RUNS, [ROW]), said={"job": "J20"})

    run = dict(zip(raw.sheets["schedule"].headers, raw.sheets["schedule"].cells.loc[2], strict=True))
    assert (run["conductor size"], run["metal"], run["from structure"], run["job"]) == ("1/0 AWG", "Al", "P1", "J20")
    positions = raw.sheets["positions"]
    assert positions.headers == ("structure", "position", "kind")
    assert [tuple(row) for row in positions.cells.to_numpy()] == [("P1", "a", "well 200 A"), ("P2", "b", "pole")]


@pytest.mark.parametrize(
    ("heading", "target", "why"),
    [
        ("B is", UNUSED, "it says it of both: no heading is to end: kind"),
        ("Size", UNUSED, "U is a unit of the conductor size, and no heading is that"),
        ("No", UNUSED, "No heading is run"),
        ("Note", "run", "No and Note are both said to be run"),
        ("Note", "", "Say of each heading what it is"),
    ],
)
def test_choices_that_leave_something_open_are_refused_in_words(heading: str, target: str, why: str) -> None:
    assert layout_text(choices())
    with pytest.raises(Refusal) as refused:
        layout_text(choices(**{heading: Choice(target)}))
    assert why in refused.value.message


def test_a_heading_with_braces_is_refused_because_no_layout_can_name_it() -> None:
    with pytest.raises(Refusal, match="Take the braces out"):
        layout_text(choices(**{"Dia {mm}": Choice(UNUSED)}))


HEADINGS = st.text(st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="{}"), min_size=1, max_size=12)


@given(st.lists(HEADINGS, min_size=4, max_size=6))
def test_any_headings_go_into_a_layout_file_and_come_back(headings: list[str]) -> None:
    names = [name for name in heading_names(headings) if name]
    if len(names) < 2:
        return
    said = [Choice("reel"), Choice("DOI low", "in", "comma"), *[Choice(UNUSED)] * len(names)]
    given_ = Choices("reels", dict(zip(names, said, strict=False)), {"cable type": "CT-01 {x}"})
    layout = parsed_layout(layout_text(given_, sheet='A "B"', header_row=3).encode(), "any")

    assert choices_of(layout) == given_
    assert (layout.header_row, layout.asked) == (3, ())
    assert layout.columns() == set(names[:2])


def test_a_layout_that_says_more_than_can_be_chosen_has_no_choices() -> None:
    assert choices_of(read_layout(LAYOUTS / "network_runs.toml")) is None


def test_likeness_is_by_our_names_their_units_and_usual_words_and_each_column_once() -> None:
    found = likely(["Diameter", "DOI low (in)", "Cable no.", "From", "From pad", "Colour"], "schedule")
    assert found == {"DOI low (in)": ("DOI low", "in"), "Cable no.": ("run", ""), "From": ("from structure", "")}


def test_each_column_asks_for_what_its_cells_need() -> None:
    reels, runs = targets("reels"), targets("schedule")
    sorts = [
        sort_of(column.parser) for column in (reels["DOI low"], reels["measured on"], reels["reel"], runs["phases"])
    ]
    assert sorts == [NUMBER, DATE, FREE, WORD]
    assert still_needed(choices()) == ["job"]
    assert "from end: interface" in runs
    assert "from end: interface" not in reels


def test_empty_parts_are_left_out_of_a_file() -> None:
    assert toml_text({"unused": [], "list": {}, "reels": {"reel": "{a}", "odd name": 'say "x"\\'}}) == (
        '[reels]\nreel = "{a}"\n"odd name" = "say \\"x\\"\\\\"\n'
    )
