"""Three-valued fit of a cable's diameter in the range of a part, on whole nanometres with the ends included."""

from dataclasses import dataclass

from kitting.calculation.cable_geometry import CALCULATED, Band

MEASURE_ESTIMATES = "measure"  # value of the policy ``estimates`` that asks for a gauge reading

FITS, DOES_NOT_FIT, MEASURE = "fits", "does not fit", "measure"


@dataclass(frozen=True, slots=True)
class Fit:
    """How a band lies in a range.

    Args:
        state: FITS, DOES_NOT_FIT or MEASURE.
        margin_nm: for FITS the smaller side; None where the part sets no limit.
        too_small_nm: how far the cable is above the range, or may be at MEASURE; 0 where it is not.
        too_large_nm: how far the cable is below the range, or may be at MEASURE; 0 where it is not.
        reading_low_nm: for MEASURE the least gauge reading that would do; None: the range has no such end.
        reading_high_nm: for MEASURE the greatest gauge reading that would do.
    """

    state: str
    margin_nm: int | None = None
    too_small_nm: int = 0
    too_large_nm: int = 0
    reading_low_nm: int | None = None
    reading_high_nm: int | None = None


NO_LIMIT = Fit(FITS)


def complete(band: Band) -> bool:
    """True where both ends of the band are known; with one end a diameter may refuse or say measure, never fit."""
    return band.low_nm is not None and band.high_nm is not None


def may_fit(band: Band, estimates: str) -> bool:
    """True where the band can show a fit: both ends known, and not an estimate where the owner wants a reading."""
    return complete(band) and (band.origin != CALCULATED or estimates != MEASURE_ESTIMATES)


def fit(band: Band, low_nm: int | None, high_nm: int | None, *, estimates: str) -> Fit:
    """How a band lies in the range from ``low_nm`` to ``high_nm``; None is an end that the part does not limit.

    Args:
        band: diameters in nanometres; an end may be None.
        low_nm: least diameter that the part holds.
        high_nm: greatest diameter that the part holds.
        estimates: the policy: ``accept``, or ``measure`` for a gauge reading where the band is calculated.
    """
    if low_nm is None and high_nm is None:
        return NO_LIMIT
    if high_nm is not None and band.low_nm is not None and band.low_nm > high_nm:
        return Fit(DOES_NOT_FIT, too_small_nm=band.low_nm - high_nm)
    if low_nm is not None and band.high_nm is not None and band.high_nm < low_nm:
        return Fit(DOES_NOT_FIT, too_large_nm=low_nm - band.high_nm)
    over = band.high_nm - high_nm if high_nm is not None and band.high_nm is not None else 0
    under = low_nm - band.low_nm if low_nm is not None and band.low_nm is not None else 0
    if over <= 0 and under <= 0 and may_fit(band, estimates):
        return Fit(FITS, min(-over if high_nm is not None else -under, -under if low_nm is not None else -over))
    reading_low, reading_high = _reading(band, low_nm, high_nm)
    return Fit(MEASURE, None, max(over, 0), max(under, 0), reading_low, reading_high)


def _reading(band: Band, low_nm: int | None, high_nm: int | None) -> tuple[int | None, int | None]:
    """The part of the range that the cable can have; an estimate doesn't narrow what a gauge may read."""
    if band.origin == CALCULATED:
        return low_nm, high_nm
    lows = [end for end in (low_nm, band.low_nm) if end is not None]
    highs = [end for end in (high_nm, band.high_nm) if end is not None]
    return max(lows, default=None), min(highs, default=None)
