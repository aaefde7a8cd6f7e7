"""What an arrester must stand, by voltage and earthing."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.systems import (
    EARTHINGS,
    holds_line_to_earth,
    is_multigrounded_wye,
    kv_text,
    mcov_need_kv,
    standard_mcov_kv,
)


def need(
    nominal: str, earthing: str | None, wires: int | None, factor: str = "1.05", given: str | None = None
) -> Decimal:
    return mcov_need_kv(
        nominal_kv=Decimal(nominal),
        earthing=earthing,
        wires=wires,
        max_factor=Decimal(factor),
        given=None if given is None else Decimal(given),
    )


def test_a_delta_needs_line_to_line_and_a_multigrounded_wye_line_to_earth() -> None:
    """Trap T11: on the 13.2 kV delta 8.4 and 12.7 kV are too low, 15.3 kV is the least published rating."""
    assert kv_text(need("12.47", "multigrounded wye", 4)) == "7.56"
    assert need("13.2", "ungrounded delta", 3) == Decimal("13.86")
    assert standard_mcov_kv(need("13.2", "ungrounded delta", 3)) == Decimal("15.3")
    assert standard_mcov_kv(need("12.47", "multigrounded wye", 4)) == Decimal("7.65")


def test_a_resistance_earthed_system_needs_line_to_line_times_its_own_factor() -> None:
    assert need("20", "impedance", 3, factor="1.2") == 24
    assert kv_text(need("20", "impedance", 3, factor="1.2")) == "24"


def test_a_solidly_earthed_system_counts_line_to_earth_only_with_four_wires() -> None:
    assert holds_line_to_earth("solid", 4)
    assert not holds_line_to_earth("solid", 3)
    assert not holds_line_to_earth("solid", None)
    assert need("12.47", "solid", 4) < need("12.47", "solid", 3) == need("12.47", "solid", None)


def test_the_need_given_by_the_owner_is_taken_as_it_stands() -> None:
    assert need("12.47", "multigrounded wye", 4, given="10.2") == Decimal("10.2")
    assert need("12.47", None, None, given="10.2") == Decimal("10.2")


@pytest.mark.parametrize("earthing", [None, "", "grounded", "Multigrounded wye"])
def test_no_arrester_is_chosen_where_the_earthing_is_unknown(earthing: str | None) -> None:
    with pytest.raises(ValueError, match="without the earthing"):
        need("12.47", earthing, 4)
    assert not is_multigrounded_wye(earthing)


def test_a_need_above_the_highest_published_rating_has_none() -> None:
    assert standard_mcov_kv(Decimal("48.0")) == Decimal("48.0")
    assert standard_mcov_kv(Decimal("48.01")) is None


@given(
    st.decimals(min_value=1, max_value=40, places=2, allow_nan=False),
    st.sampled_from(EARTHINGS),
    st.sampled_from([None, 3, 4]),
)
def test_no_earthing_ever_needs_less_than_a_multigrounded_wye(
    nominal: Decimal, earthing: str, wires: int | None
) -> None:
    assert need(str(nominal), "multigrounded wye", 4) <= need(str(nominal), earthing, wires)
