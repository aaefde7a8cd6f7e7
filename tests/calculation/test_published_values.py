"""What the standards and textbooks print, against what the calculation gives: one row, one check.

Each row of ``published_values`` has its inputs, the expected value, its unit, a tolerance, the source and whether the
value was seen in print (``text``) or is from memory. Rows of low confidence are kept for the record and not checked.
"""

import csv
from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from kitting.calculation.cable_geometry import (
    Band,
    conductor_nm,
    conductor_shield_nm,
    diameter_over_nm,
    nominal_doi_nm,
    over_insulation_shield_nm,
    over_jacket_nm,
    possible_dois,
)
from kitting.calculation.conductor_sizes import MM2, parse_size
from kitting.calculation.interfaces import INTERFACES
from kitting.calculation.lengths import NM_PER_IN, NM_PER_UNIT, parse_length
from kitting.calculation.systems import max_line_to_earth_kv, max_line_to_line_kv, mcov_need_kv, standard_mcov_kv
from kitting.calculation.voltage_classes import VOLTAGE_CLASSES, parse_class

Row = Mapping[str, str]
Value = Fraction | Decimal | int | str | None

PUBLISHED = Path(__file__).parent / "published_values"
PACKAGED = Path(__file__).parents[2] / "kitting" / "calculation" / "tables"
USUAL_FACTOR = Decimal("1.05")
PI = Fraction(355, 113)  # within 0.0000003

# These need the rule book, the promises or the reorder sheet and are read by the tests of those.
READ_BY_OTHER_TESTS = {"class_by_nominal_voltage", "first_to_expire", "netting"}


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def conductor(row: Row) -> int | None:
    return conductor_nm(parse_size(row["size"]), row["strand"])


def area(row: Row) -> Decimal:
    return parse_size(row["size"]).area_mm2


def compact_area(row: Row) -> Fraction:
    diameter = conductor_nm(parse_size(row["size"]), "compact")
    assert diameter is not None
    return PI * Fraction(diameter, NM_PER_IN) ** 2 / 4


def one_band(**facts: object) -> tuple[str, Band]:
    known = {"strand": None, "wall_nm": None, "cable_class_kv": None, "insulation_level": None} | facts
    (found,) = possible_dois(**known)  # type: ignore[arg-type]
    return found


def icea_wall(row: Row) -> int:
    """The wall that the band of a 500 kcmil compact cable contains."""
    size = parse_size("500 kcmil")
    label, band = one_band(
        size=size, strand="compact", cable_class_kv=row["class_kv"], insulation_level=int(row["level_percent"])
    )
    core = conductor_nm(size, "compact")
    assert core is not None
    assert band.low_nm is not None
    assert band.high_nm is not None
    least, nominal = conductor_shield_nm(size)
    walls = {
        "nominal": parse_length(label, None),
        "minimum point": (band.low_nm - core) // 2 - least,
        "maximum point": (band.high_nm - core) // 2 - nominal,
    }
    return walls[row["wall"]]


def iec_wall(row: Row) -> int:
    """The wall that the lower end of an aluminium cable's band contains, over the least conductor of IEC 60228."""
    size = parse_size(row["size"])
    label, band = one_band(size=size, metal="Al", cable_class_kv=parse_class(row["rated_kv"]))
    assert band.low_nm is not None
    assert band.high_nm is None
    least = next(
        parse_length(line["min_mm"], "mm")
        for line in rows_of(PACKAGED / "conductor_diameters_iec.csv")
        if (f"{line['area_mm2']} {MM2}", line["metal"], line["strand"]) == (row["size"], "Al", "compact")
    )
    return parse_length(label, None) if row["wall"] == "nominal" else (band.low_nm - least) // 2


def doi_of_build(row: Row) -> int | None:
    size, wall = parse_size(row["size"]), parse_length(row["wall_mil"], "mil")
    if row["conductor_in"]:
        return diameter_over_nm(parse_length(row["conductor_in"], "in"), conductor_shield_nm(size)[1], wall)
    return nominal_doi_nm(size, row["strand"], wall)


def over_shield(row: Row) -> int:
    return over_insulation_shield_nm(parse_length(row["doi_in"], "in"))


def over_jacket(row: Row) -> int | None:
    under = diameter_over_nm(parse_length(row["over_shield_in"], "in"), parse_length(row["tape_mil"], "mil"))
    return over_jacket_nm(under, row["shield"])


def metric_layers(row: Row) -> int:
    layers = [parse_length(layer, "mm") for layer in row["thicknesses_mm"].split("; ")]
    return diameter_over_nm(parse_length(row["inside_mm"], "mm"), *layers)


def doi_band(row: Row) -> int | None:
    wall = parse_length(row["wall_mil"], "mil")
    _, band = one_band(size=parse_size(row["size"]), strand=row["strand"] or None, wall_nm=wall)
    return band.low_nm if row["side"] == "low" else band.high_nm


def mcov_need(row: Row) -> Decimal:
    return mcov_need_kv(
        nominal_kv=Decimal(row["nominal_kv"]),
        earthing=row["earthing"],
        wires=int(row["wires"]),
        max_factor=USUAL_FACTOR,
    )


def arrester(row: Row) -> Decimal | None:
    return standard_mcov_kv(mcov_need(row))


def range_a(row: Row) -> Decimal:
    highest = {"line to line": max_line_to_line_kv, "line to earth": max_line_to_earth_kv}
    return highest[row["between"]](Decimal(row["nominal_kv"]), USUAL_FACTOR)


def class_rating(row: Row) -> Decimal | None:
    known = VOLTAGE_CLASSES[parse_class(row["class_kv"])]
    return known.max_line_to_line_kv if row["between"] == "line to line" else known.max_line_to_earth_kv


def interface(row: Row) -> Value:
    known = INTERFACES[row["interface"]]
    facts: dict[str, Value] = {
        "current": known.current_a,
        "switching": known.switching,
        "line to earth only": "yes" if known.line_to_earth_only else "no",
        "classes": "; ".join(known.classes),
    }
    return facts[row["fact"]]


CALCULATED: Mapping[str, Callable[[Row], Value]] = {
    "arrester_by_system": arrester,
    "arrester_mcov": lambda row: standard_mcov_kv(Decimal(row["need_kv"])),
    "class_ratings": class_rating,
    "compact_areas": compact_area,
    "conductor_areas": area,
    "conductor_diameters": conductor,
    "doi_bands": doi_band,
    "doi_of_published_builds": doi_of_build,
    "en50181_interfaces": interface,
    "ieee386_interfaces": interface,
    "mcov_need_by_system": mcov_need,
    "metric_layers": metric_layers,
    "over_jacket_of_published_builds": over_jacket,
    "over_shield_of_published_builds": over_shield,
    "range_a_maximum": range_a,
    "walls_icea": icea_wall,
    "walls_iec60502_2": iec_wall,
}


def number(text: str, unit: str) -> Fraction:
    return Fraction(parse_length(text, unit)) if unit in NM_PER_UNIT else Fraction(text)


def checked_rows() -> list[object]:
    return [
        pytest.param(table, row, id=f"{table}-{number}")
        for table in CALCULATED
        for number, row in enumerate(rows_of(PUBLISHED / f"{table}.csv"), start=2)
        if row["confidence"] != "low"
    ]


@pytest.mark.parametrize(("table", "row"), checked_rows())
def test_a_published_figure_is_met_within_its_tolerance(table: str, row: Row) -> None:
    computed = CALCULATED[table](row)
    assert computed is not None
    if row["unit"] == "text":
        assert computed == row["expected"]
    elif row["relation"] == "<=":
        assert Fraction(computed) <= number(row["expected"], row["unit"])
    else:
        difference = Fraction(computed) - number(row["expected"], row["unit"])
        assert abs(difference) <= number(row["tolerance"], row["unit"])


def test_every_published_table_is_checked_by_a_test() -> None:
    assert {path.stem for path in PUBLISHED.glob("*.csv")} == set(CALCULATED) | READ_BY_OTHER_TESTS


@pytest.mark.parametrize("path", [*PUBLISHED.glob("*.csv"), *PACKAGED.glob("*.csv")], ids=lambda path: path.stem)
def test_no_table_row_lacks_its_source(path: Path) -> None:
    rows = rows_of(path)
    assert rows or path.stem == "rules_location_accessories"  # the owner's rules fill this one
    assert [row for row in rows if not (row["source"] or "").strip()] == []


@pytest.mark.parametrize(
    "path",
    [*PUBLISHED.glob("*.csv"), *(path for path in PACKAGED.glob("*.csv") if not path.stem.startswith("rules_"))],
    ids=lambda path: path.stem,
)
def test_every_published_row_says_whether_it_was_seen_in_print(path: Path) -> None:
    assert {row["confirmed"] for row in rows_of(path)} <= {"text", "memory", "practice"}
    if "confidence" in rows_of(path)[0]:
        assert {row["confidence"] for row in rows_of(path)} <= {"high", "medium", "low"}
