"""Three-valued fit on whole nanometres, ends included."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.cable_geometry import CABLE_TYPE, CALCULATED, GAUGE, Band
from kitting.calculation.fit_matching.fits import DOES_NOT_FIT, FITS, MEASURE, fit
from kitting.calculation.fit_matching.wording import length_words, misfit_words, range_words
from kitting.calculation.lengths import NM_PER_IN, both, parse_length

DIAMETERS = st.integers(5_000_000, 80_000_000)
ORIGINS = st.sampled_from([GAUGE, CABLE_TYPE, CALCULATED])
POLICIES = st.sampled_from(["accept", "measure"])
BETTER = {DOES_NOT_FIT: 0, MEASURE: 1, FITS: 2}


def inches(text: str) -> int:
    return int(Decimal(text) * NM_PER_IN)


def band(low: str, high: str, origin: str = CABLE_TYPE) -> Band:
    return Band(inches(low), inches(high), origin)


@st.composite
def bands(draw: st.DrawFn) -> Band:
    low = draw(DIAMETERS)
    high = low + draw(st.integers(0, 5_000_000))
    return Band(draw(st.sampled_from([low, None])), draw(st.sampled_from([high, None])), draw(ORIGINS))


def test_a_band_that_touches_both_ends_fits_and_a_nanometre_more_is_measured() -> None:
    low, high = inches("0.780"), inches("0.970")
    assert fit(Band(low, high, GAUGE), low, high, estimates="accept").margin_nm == 0
    assert fit(Band(low - 1, high, GAUGE), low, high, estimates="accept").state == MEASURE
    assert fit(Band(low, high + 1, GAUGE), low, high, estimates="accept").state == MEASURE
    assert fit(Band(high, high, GAUGE), low, high, estimates="accept").state == FITS
    assert fit(Band(high + 1, high + 1, GAUGE), low, high, estimates="accept").state == DOES_NOT_FIT


def test_the_margin_is_the_smaller_side() -> None:
    found = fit(band("0.820", "0.880"), inches("0.780"), inches("0.970"), estimates="accept")
    assert (found.state, found.margin_nm) == (FITS, inches("0.040"))
    assert length_words(inches("0.040")) == "1.02 mm (0.040 in)"


@pytest.mark.parametrize(
    ("cable", "limits", "words"),
    [
        (("0.845", "0.845"), ("0.600", "0.800"), "entrance too small by 1.14 mm (0.045 in)"),
        (("0.820", "0.880"), ("0.600", "0.800"), "entrance too small by 0.51 mm (0.020 in)"),
        (("0.971", "1.031"), ("0.780", "0.970"), "entrance too small by 0.03 mm (0.001 in)"),
        (("0.652", "0.712"), ("0.780", "0.970"), "entrance too large by 1.73 mm (0.068 in)"),
    ],
    ids=["trap T21", "trap T01", "CT-04 misses EL15-2 by a thousandth", "a thin cable"],
)
def test_a_cable_outside_the_range_does_not_fit_by_the_gap_on_its_side(
    cable: tuple[str, str], limits: tuple[str, str], words: str
) -> None:
    found = fit(band(*cable), inches(limits[0]), inches(limits[1]), estimates="accept")
    assert (found.state, misfit_words(found, "insulation")) == (DOES_NOT_FIT, words)


def test_ct_08_would_fit_cs35_2_by_a_thousandth_of_an_inch() -> None:
    found = fit(band("1.051", "1.111"), inches("1.050"), inches("1.350"), estimates="accept")
    assert (found.state, found.margin_nm) == (FITS, inches("0.001"))


def test_a_straddling_band_says_which_gauge_reading_would_do() -> None:
    """Traps T02 and T13."""
    low_side = fit(band("0.900", "0.985"), inches("0.760"), inches("0.970"), estimates="accept")
    high_side = fit(band("0.900", "0.985"), inches("0.950"), inches("1.180"), estimates="accept")
    over = fit(band("1.436", "1.505"), inches("1.280"), inches("1.500"), estimates="accept")
    assert (low_side.reading_low_nm, low_side.reading_high_nm) == (inches("0.900"), inches("0.970"))
    assert misfit_words(high_side, "insulation") == (
        "the cable may be 1.27 mm (0.050 in) under its range; a gauge reading over the insulation "
        "from 24.13 to 25.02 mm (0.950 to 0.985 in) would do"
    )
    assert misfit_words(over, "insulation").startswith("the cable may be 0.13 mm (0.005 in) over its range; ")


def test_one_known_end_may_refuse_or_ask_for_a_reading_but_never_fits() -> None:
    low, high = inches("0.780"), inches("0.970")
    assert fit(Band(inches("0.971"), None, CABLE_TYPE), low, high, estimates="accept").state == DOES_NOT_FIT
    assert fit(Band(None, inches("0.779"), CABLE_TYPE), low, high, estimates="accept").state == DOES_NOT_FIT
    for half_known in (Band(inches("0.8"), None, CABLE_TYPE), Band(None, inches("0.9"), CALCULATED)):
        assert fit(half_known, low, high, estimates="accept").state == MEASURE


def test_an_estimate_fits_unless_the_owner_wants_a_reading() -> None:
    estimate = band("0.820", "0.880", CALCULATED)
    assert fit(estimate, inches("0.780"), inches("0.970"), estimates="accept").state == FITS
    asked = fit(estimate, inches("0.780"), inches("0.970"), estimates="measure")
    assert (asked.state, asked.reading_low_nm, asked.reading_high_nm) == (MEASURE, inches("0.780"), inches("0.970"))
    assert fit(estimate, inches("0.600"), inches("0.800"), estimates="measure").state == DOES_NOT_FIT


def test_a_part_without_limits_holds_any_cable() -> None:
    assert fit(Band(None, None, CALCULATED), None, None, estimates="measure").state == FITS


def test_the_same_length_in_both_units_is_the_same_length() -> None:
    """0.800 in = 20.32 mm (the inch of 1959)."""
    assert parse_length("0.800", "in") == parse_length("20.32", "mm")
    end = Band(parse_length("20.32", "mm"), parse_length("20.32", "mm"), GAUGE)
    assert fit(end, inches("0.600"), inches("0.800"), estimates="accept").margin_nm == 0


@given(cable=bands(), low=DIAMETERS, width=st.integers(0, 20_000_000), wider=st.integers(0, 9_000_000), policy=POLICIES)
def test_a_wider_range_never_fits_less(cable: Band, low: int, width: int, wider: int, policy: str) -> None:
    narrow = fit(cable, low, low + width, estimates=policy)
    for lower, upper in ((low - wider, low + width), (low, low + width + wider), (None, low + width), (low, None)):
        wide = fit(cable, lower, upper, estimates=policy)
        assert BETTER[wide.state] >= BETTER[narrow.state]


@given(cable=bands(), low=DIAMETERS, width=st.integers(0, 20_000_000), narrower=st.integers(0, 4_000_000))
def test_a_narrower_band_inside_a_band_that_fits_fits_too(cable: Band, low: int, width: int, narrower: int) -> None:
    outer = fit(cable, low, low + width, estimates="accept")
    if outer.state == FITS and cable.low_nm is not None and cable.high_nm is not None:
        inner = Band(min(cable.low_nm + narrower, cable.high_nm), cable.high_nm, cable.origin)
        assert fit(inner, low, low + width, estimates="accept").state == FITS


@given(cable=bands(), low=DIAMETERS, width=st.integers(0, 20_000_000))
def test_the_three_answers_say_where_the_cable_lies(cable: Band, low: int, width: int) -> None:
    found = fit(cable, low, low + width, estimates="accept")
    least, most = cable.low_nm or 0, cable.high_nm or 10**12
    apart = least > low + width or most < low
    inside = None not in (cable.low_nm, cable.high_nm) and least >= low and most <= low + width
    assert found.state == (DOES_NOT_FIT if apart else FITS if inside else MEASURE)
    assert (found.margin_nm is None) == (found.state != FITS)


@given(nm=st.integers(0, 200_000_000))
def test_shown_lengths_are_rounded_as_everywhere(nm: int) -> None:
    assert range_words(nm, nm) == both(nm)
    if nm >= 25_400:
        assert length_words(nm) == both(nm)


def test_a_gap_too_small_to_show_gets_more_digits() -> None:
    assert length_words(2_540) == "0.003 mm (0.0001 in)"
    assert length_words(0) == "0.00 mm (0.000 in)"
