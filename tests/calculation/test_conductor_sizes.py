"""Conductor sizes: every trade spelling, no size taken for another."""

from decimal import Decimal
from math import isqrt

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from kitting.calculation.cable_geometry import conductor_nm
from kitting.calculation.conductor_sizes import (
    AWG,
    SIZES,
    ConductorSize,
    SizeDoubt,
    SizeSet,
    parse_size,
    parse_size_set,
)
from kitting.calculation.lengths import NM_PER_MIL
from kitting.calculation.published_tables import table_rows

any_size = st.sampled_from(SIZES)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("1/0", "1/0 AWG"),
        ("#1/0", "1/0 AWG"),
        ("1/0 AWG", "1/0 AWG"),
        ("1 / 0", "1/0 AWG"),
        ("0 AWG", "1/0 AWG"),
        ("000", "3/0 AWG"),
        ("2 AWG", "2 AWG"),
        ("#2", "2 AWG"),
        ("No. 2", "2 AWG"),
        ("2", "2 AWG"),
        ("500 MCM", "500 kcmil"),
        ("500 kcmil", "500 kcmil"),
        ("500kcmil", "500 kcmil"),
        ("350", "350 kcmil"),
        ("350.0", "350 kcmil"),
        ("95 mm²", "95 mm2"),
        ("95mm2", "95 mm2"),
        ("95 mm^2", "95 mm2"),
        ("95 sq. mm", "95 mm2"),
        ("3x95", "95 mm2"),
        ("3×95 mm²", "95 mm2"),
        ("3x1x240", "240 mm2"),
        ("1x95/16", "95 mm2"),
        ("3x1/0", "1/0 AWG"),
    ],
)
def test_every_spelling_of_a_size_reads_as_that_size(text: str, size: str) -> None:
    assert str(parse_size(text)) == size


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("2000-01-01", "1/0"),
        ("2000-01-01 00:00:00", "1/0"),
        ("2000-02-01", "2/0"),
        ("1-Jan", "1/0"),
        ("Jan-00", "1/0"),
        ("Apr-00", "4/0"),
        ("1/1/2000", "1/0"),
        ("2/1/2000", "2/0"),
        ("01.02.2000", "2/0"),
        ("36586", "3/0"),
        ("May-00", ""),
        ("2024-05-07", ""),
        ("1/2/2001", ""),
    ],
)
def test_a_size_that_the_spreadsheet_turned_into_a_date_is_asked(text: str, size: str) -> None:
    """Trap T22."""
    with pytest.raises(SizeDoubt) as doubt:
        parse_size(text)
    assert doubt.value.suggestion == size
    assert doubt.value.problem == (
        f"looks like {size} damaged by the spreadsheet" if size else "a date, not a conductor size"
    )


@pytest.mark.parametrize(
    ("text", "suggestion"),
    [
        ("95", "95 mm2"),
        ("0", "1/0"),
        ("3x500", "500 mm2"),
        ("53.5 mm2", "1/0 AWG"),
        ("350 AWG", "350 kcmil"),
        ("1/0 Al", "1/0 AWG"),
        ("500,000", "500 kcmil"),
        ("1,000,000 CM", "1000 kcmil"),
        ("95/16", ""),
        ("3 AWG", ""),
        ("100 mm2", ""),
        ("1/0/2", ""),
        ("4/0+1/0", ""),
        ("banana", ""),
        ("", ""),
        ("1" * 60, ""),
    ],
)
def test_a_size_in_doubt_is_asked_and_never_changed_to_a_near_one(text: str, suggestion: str) -> None:
    with pytest.raises(SizeDoubt) as doubt:
        parse_size(text)
    assert doubt.value.suggestion == suggestion


def test_1_awg_is_a_size_of_its_own_and_not_1_0() -> None:
    """Trap T23."""
    assert parse_size("1 AWG").area_mm2 == Decimal("42.4")
    assert parse_size("1 AWG") != parse_size("1/0")


@given(any_size)
def test_a_size_written_out_reads_back_the_same(size: ConductorSize) -> None:
    assert parse_size(str(size)) == size
    assert str(parse_size_set(str(SizeSet(((size, size),))))) == str(size)


def test_sizes_sort_by_area_inside_their_series() -> None:
    names = [str(size) for size in sorted(map(parse_size, ("500", "1/0", "95 mm2", "2", "240 mm2", "4/0")))]
    assert names == ["2 AWG", "1/0 AWG", "4/0 AWG", "500 kcmil", "95 mm2", "240 mm2"]


def test_a_lug_list_takes_only_what_it_names_and_a_span_everything_between() -> None:
    listed, span = parse_size_set("1/0; 2/0"), parse_size_set("2 AWG..4/0")
    assert listed.holds(parse_size("2/0"))
    assert not listed.holds(parse_size("3/0"))
    assert span.holds(parse_size("3/0"))
    assert span.holds(parse_size("4/0"))
    assert not span.holds(parse_size("250 kcmil"))
    assert str(span) == "2 AWG..4/0 AWG"


def test_95_mm2_does_not_go_into_a_4_0_lug_nor_4_0_into_a_metric_span() -> None:
    """Trap T25."""
    metric = parse_size_set("50..150 mm2")
    assert metric.holds(parse_size("95 mm2"))
    assert not metric.holds(parse_size("4/0"))
    assert not parse_size_set("2..4/0").holds(parse_size("95 mm2"))


@pytest.mark.parametrize(
    ("text", "suggestion"),
    [
        ("4/0..2", "2 AWG..4/0 AWG"),
        ("1/0..95 mm2", ""),
        ("2..350..500", ""),
        ("50..150", "150 mm2"),
        ("1/0-4/0", ""),
        ("", ""),
    ],
)
def test_a_span_that_runs_backwards_or_between_families_is_asked(text: str, suggestion: str) -> None:
    with pytest.raises(SizeDoubt) as doubt:
        parse_size_set(text)
    assert doubt.value.suggestion == suggestion


@given(any_size, any_size, any_size)
def test_a_wider_span_never_takes_fewer_sizes(first: ConductorSize, second: ConductorSize, size: ConductorSize) -> None:
    assume(first.series == second.series)
    smallest, largest = sorted((first, second))
    narrow, wide = SizeSet(((smallest, smallest),)), SizeSet(((smallest, largest),))
    assert wide.holds(size) or not narrow.holds(size)
    assert wide.holds(size) == (size.series == smallest.series and not size < smallest and not largest < size)


@pytest.mark.parametrize("row", table_rows("conductor_sizes")[:27], ids=lambda row: f"{row['size']} {row['family']}")
def test_the_area_of_a_size_follows_from_its_gauge_or_its_circular_mils(row: dict[str, str]) -> None:
    """ASTM B258: 0.005 in x 92^((36 - n) / 39) for AWG; 1 kcmil = 0.5067075 mm2."""
    size = parse_size(f"{row['size']} {row['family']}")
    kcmil = Decimal(row["area_kcmil"])
    assert abs(size.area_mm2 - kcmil * Decimal("0.5067075")) <= Decimal("0.05")
    if size.family == AWG:
        gauge = 1 - int(size.name[0]) if "/" in size.name else int(size.name)
        mils = 5 * Decimal(92) ** (Decimal(36 - gauge) / 39)
        assert abs(mils**2 / 1000 - kcmil) / kcmil < Decimal("0.001")


@pytest.mark.parametrize("row", table_rows("conductor_sizes")[:27], ids=lambda row: f"{row['size']} {row['family']}")
def test_a_concentric_conductor_is_as_wide_as_its_layers_of_wires(row: dict[str, str]) -> None:
    """ASTM B8, B231: (2 x layers + 1) wires of sqrt(circular mils / wires) mils across; compressed up to 3 % less."""
    size, wires = parse_size(f"{row['size']} {row['family']}"), int(row["class_b_wires"])
    layers = (isqrt((4 * wires - 1) // 3) - 1) // 2
    across = (2 * layers + 1) * (Decimal(row["area_kcmil"]) * 1000 / wires).sqrt()
    concentric, compressed = conductor_nm(size, "concentric"), conductor_nm(size, "compressed")
    assert concentric is not None
    assert compressed is not None
    assert abs(concentric - across * NM_PER_MIL) <= Decimal("0.6") * NM_PER_MIL
    assert Decimal("0.965") * concentric < compressed < Decimal("0.975") * concentric
