"""Voltage class names: 15, 25, 35 kV (IEEE 386), the other cable classes of ICEA, and U0/U(Um) of IEC 60502-2.

The families never match each other: ``12/20(24)`` is not ``25``, however near.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType

from kitting.calculation.doubts import Doubt
from kitting.calculation.published_tables import listed, table_rows

NORTH_AMERICAN = "North American"
IEC = "IEC"


class ClassDoubt(Doubt):
    """A voltage class that can't be read as one."""


@dataclass(frozen=True, slots=True)
class VoltageClass:
    """One class.

    Args:
        name: as written on items, such as ``15`` or ``12/20(24)``.
        family: NORTH_AMERICAN or IEC; only classes of one family are compared.
        max_line_to_line_kv: highest line-to-line voltage marked on it (Um in the IEC family).
        max_line_to_earth_kv: highest line-to-earth voltage marked on it; None where only the other is published.
    """

    name: str
    family: str
    max_line_to_line_kv: Decimal
    max_line_to_earth_kv: Decimal | None


def _voltage_classes() -> Mapping[str, VoltageClass]:
    cables = (
        VoltageClass(row["class_kv"], NORTH_AMERICAN, Decimal(row["class_kv"]), None)
        for row in table_rows("insulation_walls")
    )
    connectors = (
        VoltageClass(
            row["class_kv"], NORTH_AMERICAN, Decimal(row["max_line_to_line_kv"]), Decimal(row["max_line_to_earth_kv"])
        )
        for row in table_rows("connector_class_ratings")
    )
    rated = (
        VoltageClass(row["class_kv"], IEC, Decimal(row["um_kv"]), None) for row in table_rows("iec_rated_voltages")
    )
    return MappingProxyType({known.name: known for known in (*cables, *connectors, *rated)})


VOLTAGE_CLASSES: Mapping[str, VoltageClass] = _voltage_classes()


def parse_class(text: str) -> str:
    """Read one class: ``15``, ``15 kV``, ``12/20(24)``, ``12/20 (24) kV``, ``12/20``.

    Raises:
        ClassDoubt: not a class, or a bare number of the IEC family (``20``), which is asked.
    """
    cleaned = "".join(text.lower().replace("kv", "").split())
    if cleaned in VOLTAGE_CLASSES:
        return cleaned
    designations = [name for name in VOLTAGE_CLASSES if name.partition("(")[0] == cleaned]
    if designations:
        return designations[0]
    meant = [
        row["class_kv"]
        for row in table_rows("iec_rated_voltages")
        if cleaned in {row["u0_kv"], row["u_kv"], row["um_kv"], *listed(row["nominal_system_kv"])}
    ]
    if meant:
        raise ClassDoubt(f"{text.strip()} is not a class by itself", " or ".join(meant))
    raise ClassDoubt("not a voltage class such as 15, 25, 35 or 12/20(24)")
