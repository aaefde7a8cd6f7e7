"""Lengths, bands and fits in the words of a splicer: millimetres and inches, shown rounded, never compared."""

from functools import lru_cache

from kitting.calculation.cable_geometry import Band
from kitting.calculation.fit_matching.fits import DOES_NOT_FIT, Fit
from kitting.calculation.lengths import NM_PER_IN, NM_PER_MM, both, digits_to_tell_apart

_STEPS_MM = 100
_STEPS_IN = 1_000


def _mm(nm: int) -> str:
    whole, rest = divmod((2 * nm * _STEPS_MM + NM_PER_MM) // (2 * NM_PER_MM), _STEPS_MM)
    return f"{whole}.{rest:02d}"


def _inches(nm: int) -> str:
    whole, rest = divmod((2 * nm * _STEPS_IN + NM_PER_IN) // (2 * NM_PER_IN), _STEPS_IN)
    return f"{whole}.{rest:03d}"


@lru_cache(maxsize=4096)
def range_words(low_nm: int | None, high_nm: int | None, between: str = "–") -> str:
    """A range in both units: ``20.83–22.35 mm (0.820–0.880 in)``; None is an end that is open."""
    if low_nm is None and high_nm is None:
        return "any diameter"
    if low_nm is None:
        return f"up to {_mm(high_nm or 0)} mm ({_inches(high_nm or 0)} in)"
    if high_nm is None:
        return f"{_mm(low_nm)} mm ({_inches(low_nm)} in) or more"
    if low_nm == high_nm:
        return f"{_mm(low_nm)} mm ({_inches(low_nm)} in)"
    return f"{_mm(low_nm)}{between}{_mm(high_nm)} mm ({_inches(low_nm)}{between}{_inches(high_nm)} in)"


def length_words(nm: int) -> str:
    """A margin or gap in both units, with more digits where it would look like nothing: ``0.51 mm (0.020 in)``."""
    if 0 < nm < NM_PER_IN // _STEPS_IN:
        return both(nm, extra_digits=digits_to_tell_apart(nm, 0))
    return f"{_mm(nm)} mm ({_inches(nm)} in)"


def band_words(band: Band) -> str:
    """The diameters of a cable, and that they are only estimated where they are."""
    words = range_words(band.low_nm, band.high_nm)
    return f"{words}, estimated from standard limits" if band.estimated else words


def misfit_words(fit: Fit, over_what: str) -> str:
    """Why a diameter is not known to fit: which side and by how much, or which gauge reading would do.

    Args:
        fit: a fit that is not FITS.
        over_what: ``insulation`` or ``jacket``.
    """
    entrance = "entrance" if over_what == "insulation" else f"{over_what} opening"
    if fit.state == DOES_NOT_FIT:
        side, gap = ("small", fit.too_small_nm) if fit.too_small_nm else ("large", fit.too_large_nm)
        return f"{entrance} too {side} by {length_words(gap)}"
    outside = [
        f"{length_words(gap)} {side} its range"
        for gap, side in ((fit.too_small_nm, "over"), (fit.too_large_nm, "under"))
        if gap
    ]
    may_be = f"the cable may be {' or '.join(outside)}; " if outside else ""
    return f"{may_be}{reading_words(fit, over_what)}"


def reading_words(fit: Fit, over_what: str) -> str:
    """The gauge reading that would do: ``a gauge reading from 24.13 to 24.64 mm (0.950 to 0.970 in) would do``."""
    reading = range_words(fit.reading_low_nm, fit.reading_high_nm, " to ")
    given = fit.reading_low_nm is not None and fit.reading_high_nm is not None
    between = "from " if given and fit.reading_low_nm != fit.reading_high_nm else "of "
    return f"a gauge reading over the {over_what} {between}{reading} would do"
