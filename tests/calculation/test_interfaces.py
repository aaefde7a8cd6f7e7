"""Interfaces, position kinds and kinds of part: the vocabulary that positions and items share."""

import pytest

from kitting.calculation.interfaces import INTERFACES, interface_options, tap_interface
from kitting.calculation.kinds import KINDS, POSITION_KINDS
from kitting.calculation.voltage_classes import VOLTAGE_CLASSES


@pytest.mark.parametrize(
    ("position_kind", "class_kv", "options"),
    [
        ("well 200 A", "15", ("200 A 15 kV",)),
        ("integral 200 A", "25", ("200 A 25 kV",)),
        ("junction 200 A", "35", ("200 A 35 kV small", "200 A 35 kV large")),
        ("deadbreak 200 A", "25", ("200 A deadbreak 25 kV",)),
        ("bushing 600 A", "15", ("600 A 15/25 kV",)),
        ("bushing 600 A", "25", ("600 A 15/25 kV",)),
        ("junction 600 A", "35", ("600 A 35 kV",)),
        ("outer cone", "12/20(24)", ("A", "B", "C", "D", "E", "F")),
        ("outer cone", "20.8/36(42)", ("E", "F")),
        ("outer cone", "25", ()),
        ("well 200 A", "12/20(24)", ()),
        ("joint", "15", ()),
        ("riser pole", "15", ()),
        ("live-front", "15", ()),
    ],
)
def test_an_interface_is_worked_out_only_where_kind_and_class_leave_one(
    position_kind: str, class_kv: str, options: tuple[str, ...]
) -> None:
    """Trap T10: a 35 kV 200 A position may be small or large."""
    assert interface_options(position_kind, class_kv) == options


def test_a_tap_plug_gives_the_200_a_interface_of_the_class() -> None:
    assert tap_interface("15") == ("200 A 15 kV",)
    assert tap_interface("25") == ("200 A 25 kV",)
    assert tap_interface("35") == ("200 A 35 kV small", "200 A 35 kV large")
    assert tap_interface("12/20(24)") == ()


def test_only_the_small_35_kv_interface_is_for_line_to_earth_duty_alone() -> None:
    assert [name for name, known in INTERFACES.items() if known.line_to_earth_only] == ["200 A 35 kV small"]


def test_every_interface_serves_known_classes_of_its_own_family_only() -> None:
    for known in INTERFACES.values():
        families = {VOLTAGE_CLASSES[class_kv].family for class_kv in known.classes}
        assert families == ({"North American"} if known.family == "IEEE 386" else {"IEC"})


def test_every_position_kind_names_known_interfaces_of_its_own_current() -> None:
    for kind in POSITION_KINDS.values():
        for name in kind.interfaces:
            assert kind.current_a in {None, INTERFACES[name].current_a}


def test_an_item_of_a_kind_is_selectable_only_with_the_facts_of_that_kind() -> None:
    assert KINDS["elbow"].required == ("classes_kv", "interface", "doi_low_nm", "doi_high_nm")
    assert KINDS["tee"].required == ("classes_kv", "interface")
    assert KINDS["riser arrester"].required == ("mcov_kv",)
    assert KINDS["jacket seal"].required == ("jacket_low_nm", "jacket_high_nm")
    assert KINDS["stud"].required == ()


def test_every_arrester_must_state_its_mcov_and_nothing_else_does() -> None:
    assert {name for name, kind in KINDS.items() if kind.arrester} == {
        "elbow arrester",
        "parking arrester",
        "riser arrester",
    }
    assert all(("mcov_kv" in kind.required) == kind.arrester for kind in KINDS.values())


def test_a_housing_or_an_interface_size_of_its_own_asks_for_the_interface() -> None:
    for kind in KINDS.values():
        asks = "interface" in kind.required
        assert asks or not (kind.housing or kind.separable or kind.interface_current_a)


def test_drain_wire_is_counted_by_the_foot_and_only_consumables_share_a_slot() -> None:
    assert {name: kind.unit for name, kind in KINDS.items() if kind.unit != "ea"} == {"drain wire": "ft"}
    assert [name for name, kind in KINDS.items() if kind.several] == ["consumable"]
