"""Diameters over insulation: what the standards allow, and nothing where they are silent."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.cable_geometry import (
    CALCULATED,
    GAUGE,
    STRANDS,
    Band,
    diameter_over_nm,
    nominal_doi_nm,
    over_jacket_nm,
    possible_dois,
)
from kitting.calculation.conductor_sizes import MM2, SIZES, ConductorSize, parse_size
from kitting.calculation.lengths import NM_PER_MIL, NM_PER_MM, parse_length
from kitting.calculation.published_tables import table_rows

NORTH_AMERICAN_SIZES = [size for size in SIZES if size.family != MM2]
WALLS_NM = sorted({int(row["nominal_mil"]) * NM_PER_MIL for row in table_rows("insulation_walls")})


def dois(
    size: str,
    *,
    strand: str | None = None,
    wall: str | None = None,
    class_kv: str | None = None,
    level: int | str | None = None,
    metal: str | None = None,
    insulation: str | None = None,
) -> dict[str, Band]:
    found = possible_dois(
        size=parse_size(size),
        strand=strand,
        wall_nm=None if wall is None else parse_length(wall, None),
        cable_class_kv=class_kv,
        insulation_level=level,
        metal=metal,
        insulation=insulation,
    )
    return dict(found)


def inches(text: str) -> int:
    return parse_length(text, "in")


def test_an_unknown_strand_spans_compact_to_concentric_and_solid_must_be_stated() -> None:
    """1/0, 220 mil: 0.336 + 2 x (0.012 + 0.210) to 0.373 + 2 x (0.015 + 0.250) in (ASTM, ICEA S-94-649)."""
    assert dois("1/0", wall="220 mil") == {"220 mil": Band(inches("0.780"), inches("0.903"), CALCULATED)}
    compact = dois("1/0", wall="220 mil", strand="compact")["220 mil"]
    solid = dois("1/0", wall="220 mil", strand="solid")["220 mil"]
    assert compact == Band(inches("0.780"), inches("0.866"), CALCULATED)
    assert solid == Band(inches("0.7689"), inches("0.8549"), CALCULATED)


def test_a_calculated_band_is_an_estimate_and_a_gauge_reading_is_none() -> None:
    assert dois("1/0", wall="220 mil")["220 mil"].estimated
    assert not Band(inches("0.845"), inches("0.845"), GAUGE).estimated


def test_a_blank_wall_leaves_one_band_for_each_wall_of_the_class_and_a_level_leaves_one() -> None:
    """Trap T01: 1/0 15 kV may be 175 or 220 mil (or 260 mil at 173 percent)."""
    assert list(dois("1/0", class_kv="15")) == ["175 mil", "220 mil", "260 mil"]
    assert dois("1/0", class_kv="15", level=133) == dois("1/0", wall="220 mil")


def test_a_wall_written_in_millimetres_as_printed_is_the_same_standard_wall() -> None:
    assert dois("1/0", wall="5.59 mm") == dois("1/0", wall="220 mil") == dois("1/0", wall="5.588 mm")


@pytest.mark.parametrize(
    ("size", "facts"),
    [
        ("1/0", {"wall": "200 mil"}),
        ("4/0", {"wall": "220 mil", "insulation": "paper"}),
        ("1/0", {}),
        ("1/0", {"level": 133}),
        ("1/0", {"class_kv": "12/20(24)"}),
        ("1/0", {"wall": "220 mil", "strand": "sector"}),
        ("500", {"wall": "220 mil", "strand": "solid"}),
        ("95 mm2", {}),
        ("95 mm2", {"wall": "220 mil"}),
        ("95 mm2", {"class_kv": "15"}),
        ("800 mm2", {"class_kv": "12/20(24)"}),
        ("240 mm2", {"class_kv": "12/20(24)", "strand": "solid", "metal": "Cu"}),
        ("240 mm2", {"class_kv": "12/20(24)", "strand": "sector"}),
        ("25 mm2", {"class_kv": "12/20(24)"}),
    ],
)
def test_a_build_that_no_standard_describes_gives_no_band(size: str, facts: dict[str, str]) -> None:
    assert dois(size, **facts) == {}  # type: ignore[arg-type]


def test_a_metric_build_has_a_lower_end_and_never_an_upper_one() -> None:
    """95 mm2, 12/20(24) kV: 11.0 + 2 x 4.85 mm (IEC 60228, IEC 60502-2); the screens have no least thickness."""
    band = dois("95 mm2", class_kv="12/20(24)")["5.5 mm"]
    assert band == Band(20_700_000, None, CALCULATED)
    assert dois("95 mm2", level="12/20(24)") == dois("95 mm2", wall="5.5 mm") == {"5.5 mm": band}
    assert dois("240 mm2", class_kv="12/20(24)", metal="Al")["5.5 mm"].low_nm == 27_500_000
    assert dois("240 mm2", class_kv="12/20(24)")["5.5 mm"].low_nm == 27_300_000  # copper may be thinner
    assert dois("240 mm2", class_kv="12/20(24)", strand="solid")["5.5 mm"].low_nm == 26_400_000


@given(st.sampled_from(NORTH_AMERICAN_SIZES), st.sampled_from(WALLS_NM), st.sampled_from(STRANDS))
def test_the_nominal_diameter_lies_in_the_band_of_its_strand_and_that_in_the_band_of_an_unknown_strand(
    size: ConductorSize, wall_nm: int, strand: str
) -> None:
    facts = {"size": size, "wall_nm": wall_nm, "cable_class_kv": None, "insulation_level": None}
    nominal = nominal_doi_nm(size, strand, wall_nm)
    stated = possible_dois(strand=strand, **facts)  # type: ignore[arg-type]
    ((_, unknown),) = possible_dois(strand=None, **facts)  # type: ignore[arg-type]
    assert (nominal is None) == (stated == ())
    if nominal is None:
        return
    band = stated[0][1]
    assert band.low_nm is not None
    assert band.high_nm is not None
    assert band.low_nm < nominal < band.high_nm
    if strand != "solid":
        assert unknown.low_nm is not None
        assert unknown.high_nm is not None
        assert unknown.low_nm <= band.low_nm
        assert band.high_nm <= unknown.high_nm


@given(st.sampled_from(NORTH_AMERICAN_SIZES), st.sampled_from(NORTH_AMERICAN_SIZES), st.sampled_from(WALLS_NM))
def test_a_larger_conductor_under_the_same_wall_is_never_thinner(
    first: ConductorSize, second: ConductorSize, wall_nm: int
) -> None:
    smaller, larger = sorted((first, second))
    thin, thick = (nominal_doi_nm(size, "concentric", wall_nm) for size in (smaller, larger))
    assert thin is not None
    assert thick is not None
    assert thin <= thick


def test_layers_add_up_exactly_on_both_sides() -> None:
    assert diameter_over_nm(38_100_000, 300_000, 600_000, 8 * NM_PER_MM) == 55_900_000


def test_a_jacket_is_worked_out_only_on_a_shield_that_the_table_knows() -> None:
    assert over_jacket_nm(inches("1.000"), "tape") == inches("1.160")
    assert over_jacket_nm(inches("1.000"), "concentric neutral") == inches("1.100")
    assert over_jacket_nm(inches("1.000"), "lead sheath") is None
