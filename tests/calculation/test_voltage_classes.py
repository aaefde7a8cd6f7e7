"""Two families of class names that never match each other."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitting.calculation.voltage_classes import IEC, VOLTAGE_CLASSES, ClassDoubt, parse_class


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("15", "15"),
        ("25 kV", "25"),
        ("12/20(24)", "12/20(24)"),
        ("12/20 (24) kV", "12/20(24)"),
        ("6.35/11", "6.35/11(12)"),
    ],
)
def test_a_class_reads_in_its_usual_spellings(text: str, name: str) -> None:
    assert parse_class(text) == name


@pytest.mark.parametrize(
    ("text", "suggestion"),
    [
        ("20", "12/20(24)"),
        ("24 kV", "12/20(24) or 12.7/22(24)"),
        ("33", "18/30(36) or 19/33(36)"),
        ("banana", ""),
        ("", ""),
    ],
)
def test_a_bare_metric_voltage_is_asked_and_never_read_as_the_nearest_class(text: str, suggestion: str) -> None:
    with pytest.raises(ClassDoubt) as doubt:
        parse_class(text)
    assert doubt.value.suggestion == suggestion


@given(st.sampled_from(sorted(VOLTAGE_CLASSES)))
def test_a_class_written_out_reads_back_the_same(name: str) -> None:
    assert parse_class(name) == name
    assert (VOLTAGE_CLASSES[name].family == IEC) == ("/" in name)
