"""Cells of the trade's own facts."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.doubts import Doubt
from kitting.calculation.interfaces import INTERFACES
from kitting.calculation.questions import ASK, REFUSE
from kitting.calculation.sheets.parsers import CellDoubt, Parser, Setting
from kitting.calculation.sheets.trade_parsers import (
    CLASS,
    CONTENTS,
    DOI,
    INTERFACE,
    LEVEL,
    LOT,
    PHASES,
    QUANTITY,
    RUN,
    SIZE,
    WALL,
    graded,
)

HERE = Setting()


def doubt_about(parser: Parser, text: str, unit: str | None = None) -> CellDoubt:
    with pytest.raises(Doubt) as caught:
        parser.read(text, Setting(unit))
    return graded(caught.value)


@given(st.sets(st.sampled_from("ABC"), min_size=1), st.randoms(), st.sampled_from(["", ",", " ", "-", "/", " & "]))
def test_phases_are_letters_in_any_order_case_and_spacing(letters: set[str], shuffle: object, between: str) -> None:
    order = sorted(letters)
    shuffle.shuffle(order)  # type: ignore[attr-defined]
    text = between.join(order)
    assert PHASES.read(text, HERE) == PHASES.read(text.lower(), HERE) == "".join(sorted(letters))


@pytest.mark.parametrize("text", ["0", "-1", "3", "AB0", "D", "AA", "ABCN", "-A"])
def test_phases_outside_a_b_c_are_refused_with_what_is_allowed(text: str) -> None:
    """Trap T40."""
    doubt = doubt_about(PHASES, text)
    assert doubt.severity == REFUSE
    assert "ABC" in doubt.suggestion


def test_a_diameter_takes_the_headers_unit_and_a_unit_in_the_cell_wins() -> None:
    assert DOI.read("0.845", Setting("in")) == DOI.read("0.845 in", Setting("mm")) == 21_463_000
    assert doubt_about(DOI, "23.6").severity == ASK
    assert "without a unit" in doubt_about(DOI, "23.6").problem


@pytest.mark.parametrize(
    ("parser", "text", "unit", "suggestion"),
    [
        (DOI, "0.93", "mm", "0.93 in = 23.62 mm?"),
        (DOI, "23.6", "in", "23.6 mm = 0.929 in?"),
        (DOI, "930", "mm", "930 mil = 23.62 mm?"),
        (WALL, "175", "mm", "175 mil = 4.45 mm?"),
        (WALL, "0.175", "mil", "0.175 in = 4.45 mm?"),
        (WALL, "4.45", "mil", "4.45 mm = 0.175 in?"),
        (DOI, "500", "cm", "500 mil = 12.70 mm?"),
        (DOI, "9", "m", "9 mm = 0.354 in?"),
    ],
)
def test_an_impossible_length_is_refused_with_the_unit_that_would_be_possible(
    parser: Parser, text: str, unit: str, suggestion: str
) -> None:
    """Trap T24: 0.93 in a mm column."""
    doubt = doubt_about(parser, text, unit)
    assert (doubt.severity, doubt.suggestion) == (REFUSE, suggestion)
    assert doubt.problem.startswith(f"{text} {unit} is not possible")


def test_a_decimal_comma_in_a_length_is_asked() -> None:
    """Trap T24: 23,6 in a mm column."""
    doubt = doubt_about(DOI, "23,6", "mm")
    assert (doubt.severity, doubt.suggestion) == (ASK, "23.6 mm?")


def test_a_length_that_is_none_is_refused() -> None:
    for text in ("n/a", "-5", "abc mm"):
        assert doubt_about(DOI, text, "mm").severity == REFUSE


@given(st.integers(7_620_000, 76_200_000))
def test_a_diameter_written_in_mm_reads_the_same_to_the_nanometre(nm: int) -> None:
    assert DOI.read(DOI.write(nm), Setting("mm")) == nm


@given(st.integers(0, 50_000 * 10**9))
def test_a_run_written_in_metres_reads_the_same_to_the_nanometre(nm: int) -> None:
    assert RUN.read(RUN.write(nm), Setting("m")) == nm


def test_a_size_takes_the_unit_of_its_header() -> None:
    assert str(SIZE.read("95", Setting("mm2"))) == "95 mm2"
    assert str(SIZE.read("1/0", Setting("AWG"))) == "1/0 AWG"
    assert str(SIZE.read("500 kcmil", Setting("mm2"))) == "500 kcmil"
    assert doubt_about(SIZE, "95").severity == ASK


def test_a_date_in_a_size_cell_is_asked_with_the_size_it_was() -> None:
    """Trap T22."""
    for text, size in (("2000-01-01", "1/0?"), ("2000-02-01", "2/0?"), ("1-Jan", "1/0?")):
        doubt = doubt_about(SIZE, text)
        assert (doubt.severity, doubt.suggestion) == (ASK, size)


def test_a_class_that_could_be_several_is_asked() -> None:
    assert [CLASS.read(text, HERE) for text in ("15", "25 kV", "12/20 (24) kV")] == ["15", "25", "12/20(24)"]
    doubt = doubt_about(CLASS, "20")
    assert doubt.severity == ASK
    assert "12/20(24)" in doubt.suggestion
    assert doubt_about(CLASS, "17").severity == REFUSE


def test_an_insulation_level_is_a_percentage_or_a_rated_voltage() -> None:
    assert [LEVEL.read(text, HERE) for text in ("133", "133 %", "100%", "12/20(24)")] == [133, 133, 100, "12/20(24)"]
    for text in ("120", "25", "full"):
        assert doubt_about(LEVEL, text).severity == REFUSE


def test_an_interface_is_taken_by_name_only() -> None:
    for name in INTERFACES:
        assert INTERFACE.read(name.lower().replace(" a ", "a "), HERE) == name
    assert doubt_about(INTERFACE, "somewhere").severity == REFUSE


def test_a_bare_class_in_an_interface_cell_is_asked_with_the_interfaces_of_that_class() -> None:
    doubt = doubt_about(INTERFACE, "35 kV")
    assert doubt.severity == ASK
    assert [label for label, _ in doubt.options] == ["200 A 35 kV small", "200 A 35 kV large", "600 A 35 kV"]
    small_or_large = doubt_about(INTERFACE, "200 A 35 kV")
    assert small_or_large.suggestion == "200 A 35 kV small or 200 A 35 kV large?"
    assert doubt_about(INTERFACE, "600 A 25 kV").suggestion == "600 A 15/25 kV?"


def test_contents_are_codes_with_counts() -> None:
    assert CONTENTS.read("CC-1; PB 1 ; JS-1 x2", HERE) == (("CC-1", 1), ("PB 1", 1), ("JS-1", 2))
    assert CONTENTS.read("BOX-x2", HERE) == (("BOX-x2", 1),)
    assert doubt_about(CONTENTS, "CC-1; CC-1").problem == "names CC-1 twice"
    assert doubt_about(CONTENTS, "CC-1 x0").severity == REFUSE


def test_an_unknown_lot_is_blank_and_any_other_text_is_the_lot() -> None:
    assert [LOT.read(text, HERE) for text in ("?", "N/A", "unknown")] == [None] * 3
    assert [LOT.read(text, HERE) for text in ("L-2409-17", "0012", "2026-03-01")] == ["L-2409-17", "0012", "2026-03-01"]
    assert doubt_about(LOT, "2.40917E+11").severity == ASK


@given(st.decimals(0, 99_999, places=3))
def test_a_quantity_is_exact_in_thousandths(quantity: Decimal) -> None:
    assert QUANTITY.read(f"{quantity:f}", HERE) == quantity * 1000


def test_a_quantity_is_never_negative_nor_beyond_any_store() -> None:
    for text in ("-1", "1000001", "six"):
        assert doubt_about(QUANTITY, text).severity == REFUSE
    assert doubt_about(QUANTITY, "1,5").severity == ASK
