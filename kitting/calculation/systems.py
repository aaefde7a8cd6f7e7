"""What a system asks of insulation and arresters: its voltages and the least MCOV. Exact kV, to 28 digits."""

from decimal import Decimal

from kitting.calculation.published_tables import table_rows

MULTIGROUNDED_WYE = "multigrounded wye"
SOLID = "solid"
EARTHINGS = (MULTIGROUNDED_WYE, SOLID, "impedance", "ungrounded delta", "compensated")
_WIRES_WITH_NEUTRAL = 4
_SQRT_3 = Decimal(3).sqrt()


def line_to_earth_kv(nominal_kv: Decimal) -> Decimal:
    """Nominal line-to-earth voltage: line-to-line over the square root of three."""
    return nominal_kv / _SQRT_3


def max_line_to_line_kv(nominal_kv: Decimal, max_factor: Decimal) -> Decimal:
    """Highest continuous line-to-line voltage; the usual factor 1.05 is Range A of ANSI C84.1."""
    return nominal_kv * max_factor


def max_line_to_earth_kv(nominal_kv: Decimal, max_factor: Decimal) -> Decimal:
    """Highest continuous line-to-earth voltage of a healthy system."""
    return line_to_earth_kv(max_line_to_line_kv(nominal_kv, max_factor))


def is_multigrounded_wye(earthing: object) -> bool:
    """Whether the earthing is known to be a multigrounded wye."""
    return earthing == MULTIGROUNDED_WYE


def holds_line_to_earth(earthing: str, wires: int | None) -> bool:
    """Whether sound phases stay near line-to-earth voltage during an earth fault.

    Only a multigrounded wye, or a solidly earthed system with four wires (IEEE C62.22). Unknown wires count as not.
    """
    return is_multigrounded_wye(earthing) or (earthing == SOLID and wires == _WIRES_WITH_NEUTRAL)


def mcov_need_kv(
    *, nominal_kv: Decimal, earthing: str | None, wires: int | None, max_factor: Decimal, given: Decimal | None = None
) -> Decimal:
    """Least maximum continuous operating voltage (MCOV, Uc) that an arrester line to earth must have.

    Args:
        nominal_kv: nominal line-to-line voltage.
        earthing: one of EARTHINGS; may be None only where ``given`` is set.
        wires: 3 or 4; None is not known, which counts as 3.
        max_factor: highest continuous voltage over nominal voltage.
        given: the need that the owner states with a reason; it is taken as it stands.

    Raises:
        ValueError: earthing unknown, where nothing may be chosen (IEEE C62.22).
    """
    if given is not None:
        return given
    if earthing not in EARTHINGS:
        raise ValueError(f"no arrester can be chosen without the earthing: {earthing!r}")
    if holds_line_to_earth(earthing, wires):
        return max_line_to_earth_kv(nominal_kv, max_factor)
    return max_line_to_line_kv(nominal_kv, max_factor)


def standard_mcov_kv(need_kv: Decimal) -> Decimal | None:
    """The lowest published MCOV (IEEE C62.11) that is not below the need; None above the table."""
    published = (Decimal(row["mcov_kv"]) for row in table_rows("arrester_mcov"))
    return min((mcov for mcov in published if mcov >= need_kv), default=None)


def kv_text(voltage_kv: Decimal) -> str:
    """A voltage as shown to people, to 0.01 kV without trailing zeros: ``7.56``, ``24``."""
    text = format(voltage_kv.quantize(Decimal("0.01")), "f")
    return text.rstrip("0").rstrip(".")
