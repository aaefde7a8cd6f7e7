"""Diameters of a cable, layer by layer: a value or a band, with its origin.

Nominal diameter over insulation = conductor + 2 x (conductor shield + wall). A calculated band spans every cable that
the limits of ICEA S-94-649 and S-97-682 allow: from the smallest conductor form with minimum-point shield and
wall to the largest form with nominal shield and maximum wall. IEC 60502-2 sets no upper limit, so its band has no
upper end. Lengths are nanometres.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from kitting.calculation.conductor_sizes import MM2, ConductorSize, parse_size
from kitting.calculation.lengths import mm_text, parse_length
from kitting.calculation.published_tables import table_rows

GAUGE = "gauge"
MAKER = "maker"
CABLE_TYPE = "cable type"
SCHEDULE = "schedule"
CALCULATED = "calculated"
ORIGINS = (GAUGE, MAKER, CABLE_TYPE, SCHEDULE, CALCULATED)

PAPER = "paper"
SOLID = "solid"
STRANDS = (SOLID, "concentric", "compressed", "compact")


@dataclass(frozen=True, slots=True)
class Band:
    """A diameter's lowest and highest value with its origin, one of ORIGINS; a side that is not known is None."""

    low_nm: int | None
    high_nm: int | None
    origin: str

    @property
    def estimated(self) -> bool:
        """Whether it is worked out from a standard's limits and not from this cable."""
        return self.origin == CALCULATED


@dataclass(frozen=True, slots=True)
class _Wall:
    nominal_nm: int
    low_nm: int
    high_nm: int | None
    label: str


def _conductor_diameters() -> Mapping[ConductorSize, Mapping[str, int]]:
    """Diameter by size and strand form (ASTM B8, B231, B400, B496, B258)."""
    found: dict[ConductorSize, dict[str, int]] = {}
    for row in table_rows("conductor_diameters"):
        size = parse_size(f"{row['size']} {row['family']}")
        found.setdefault(size, {})[row["strand"]] = parse_length(row["diameter_in"], "in")
    return MappingProxyType(found)


def _metric_conductor_minimums() -> Mapping[tuple[ConductorSize, bool], Mapping[str, int]]:
    """Smallest diameter by size and solidity, then by metal (IEC 60228 Annex C)."""
    found: dict[tuple[ConductorSize, bool], dict[str, int]] = {}
    for row in table_rows("conductor_diameters_iec"):
        if row["min_mm"]:
            key = (parse_size(f"{row['area_mm2']} mm2"), row["strand"] == SOLID)
            found.setdefault(key, {})[row["metal"]] = parse_length(row["min_mm"], "mm")
    return MappingProxyType(found)


def _icea_wall(row: Mapping[str, str]) -> _Wall:
    nominal, low, high = (parse_length(row[f"{name}_mil"], "mil") for name in ("nominal", "min_point", "max_point"))
    return _Wall(nominal, low, high, f"{row['nominal_mil']} mil")


def _icea_walls_by_thickness() -> Mapping[int, _Wall]:
    """Standard walls by nominal thickness, in mil as specified and in the millimetres printed beside it."""
    found: dict[int, _Wall] = {}
    for row in table_rows("insulation_walls"):
        wall = _icea_wall(row)
        found[wall.nominal_nm] = wall
        found[parse_length(row["nominal_mm"], "mm")] = wall
    return MappingProxyType(found)


_CONDUCTORS = _conductor_diameters()
_METRIC_CONDUCTORS = _metric_conductor_minimums()
_ICEA_WALLS = _icea_walls_by_thickness()


def conductor_nm(size: ConductorSize, strand: str) -> int | None:
    """Nominal diameter of an AWG or kcmil conductor in one strand form, or None where the tables have none."""
    return _CONDUCTORS.get(size, {}).get(strand)


def conductor_shield_nm(size: ConductorSize) -> tuple[int, int]:
    """Minimum-point and nominal thickness of the extruded conductor shield on an AWG or kcmil size (ICEA, AEIC)."""
    row = next(
        row
        for row in table_rows("conductor_shields")
        if not row["largest_size"] or not parse_size(row["largest_size"]) < size
    )
    return parse_length(row["min_point_mil"], "mil"), parse_length(row["nominal_mil"], "mil")


def diameter_over_nm(inside_nm: int, *layers_nm: int) -> int:
    """Diameter over layers of given thickness laid on a diameter."""
    return inside_nm + 2 * sum(layers_nm)


def nominal_doi_nm(size: ConductorSize, strand: str, wall_nm: int) -> int | None:
    """Nominal diameter over insulation of an AWG or kcmil cable; None where no conductor diameter is published.

    Published cable tables are met within 0.03 in, not closer (they round, and name no strand form).
    """
    conductor = conductor_nm(size, strand)
    return None if conductor is None else diameter_over_nm(conductor, conductor_shield_nm(size)[1], wall_nm)


def over_insulation_shield_nm(doi_nm: int) -> int:
    """Nominal diameter over the insulation shield (ICEA S-94-649 bands; last digits of the table from memory)."""
    return diameter_over_nm(doi_nm, _layer_nm("insulation_shields", "largest_doi_in", doi_nm))


def over_jacket_nm(under_jacket_nm: int, shield: str) -> int | None:
    """Nominal diameter over the jacket on a ``concentric neutral`` or ``tape`` shield; None for any other shield."""
    if shield not in {row["shield"] for row in table_rows("jackets")}:
        return None
    return diameter_over_nm(under_jacket_nm, _layer_nm("jackets", "largest_under_jacket_in", under_jacket_nm, shield))


def _layer_nm(table: str, limit: str, diameter_nm: int, shield: str | None = None) -> int:
    row = next(
        row
        for row in table_rows(table)
        if row.get("shield") == shield and (not row[limit] or diameter_nm <= parse_length(row[limit], "in"))
    )
    return parse_length(row["nominal_mil"], "mil")


def possible_dois(
    *,
    size: ConductorSize,
    strand: str | None,
    wall_nm: int | None,
    cable_class_kv: str | None,
    insulation_level: int | str | None,
    metal: str | None = None,
    insulation: str | None = None,
) -> tuple[tuple[str, Band], ...]:
    """Calculated bands over insulation, one for each standard wall that the facts leave possible.

    Args:
        size: conductor size; a mm2 size makes it an IEC build, any other an ICEA build.
        strand: one of STRANDS; None spans compact to concentric, never solid.
        wall_nm: stated nominal wall; None takes the walls of the class and level.
        cable_class_kv: ``15``, or ``12/20(24)``.
        insulation_level: 100, 133 or 173 percent, or ``12/20(24)``; None leaves every level of the class possible.
        metal: ``Al`` or ``Cu``; None takes the smaller conductor (matters to IEC builds only).
        insulation: ``paper`` is not an extruded build, so no wall of these standards applies.

    Returns:
        Pairs of the wall's label (``175 mil``, ``5.5 mm``) and the band; empty where no standard wall or no published
        conductor agrees with the facts.
    """
    if insulation == PAPER:
        return ()
    if wall_nm is not None:
        walls = _stated_wall(size, wall_nm)
    elif size.family == MM2:
        walls = _metric_walls(size, insulation_level if isinstance(insulation_level, str) else cable_class_kv or "")
    else:
        walls = _walls_of_class(cable_class_kv, insulation_level)
    conductor = _metric_conductor(size, strand, metal) if size.family == MM2 else _conductor(size, strand)
    if conductor is None:
        return ()
    return tuple((wall.label, _band(conductor, wall)) for wall in walls)


@dataclass(frozen=True, slots=True)
class _Core:
    """A conductor under its shield: the smallest and the largest diameter that the standards allow."""

    low_nm: int
    high_nm: int


def _conductor(size: ConductorSize, strand: str | None) -> _Core | None:
    """ICEA: smallest form with the minimum-point shield, largest form with the nominal shield."""
    forms = _CONDUCTORS.get(size, {})
    found = [nm for form, nm in forms.items() if form == strand or (strand is None and form != SOLID)]
    if not found:
        return None
    least_shield, nominal_shield = conductor_shield_nm(size)
    return _Core(diameter_over_nm(min(found), least_shield), diameter_over_nm(max(found), nominal_shield))


def _metric_conductor(size: ConductorSize, strand: str | None, metal: str | None) -> _Core | None:
    """IEC 60228: only the least diameter counts. IEC 60502-2 gives the screen no thickness, so it adds nothing."""
    if strand is not None and strand not in STRANDS:
        return None
    minimums = _METRIC_CONDUCTORS.get((size, strand == SOLID), {})
    found = [nm for of_metal, nm in minimums.items() if metal in {None, of_metal}]
    return _Core(min(found), min(found)) if found else None


def _band(core: _Core, wall: _Wall) -> Band:
    high = None if wall.high_nm is None else diameter_over_nm(core.high_nm, wall.high_nm)
    return Band(diameter_over_nm(core.low_nm, wall.low_nm), high, CALCULATED)


def _stated_wall(size: ConductorSize, wall_nm: int) -> tuple[_Wall, ...]:
    if size.family == MM2:
        return tuple(wall for wall in _metric_walls(size, None) if wall.nominal_nm == wall_nm)[:1]
    wall = _ICEA_WALLS.get(wall_nm)
    return () if wall is None else (wall,)


def _walls_of_class(class_kv: str | None, level: int | str | None) -> tuple[_Wall, ...]:
    """Walls of ICEA S-94-649 for a class and a level in percent; a blank level leaves all three."""
    return tuple(
        _icea_wall(row)
        for row in table_rows("insulation_walls")
        if row["class_kv"] == class_kv and level in {None, int(row["level_percent"])}
    )


def _metric_wall(row: Mapping[str, str]) -> _Wall:
    nominal, low = (parse_length(row[f"{name}_mm"], "mm") for name in ("nominal", "min_point"))
    return _Wall(nominal, low, None, f"{mm_text(nominal)} mm")


def _metric_walls(size: ConductorSize, designation: str | None) -> tuple[_Wall, ...]:
    """Walls of IEC 60502-2 at this size for a rated voltage U0/U(Um); None gives those of all rated voltages."""
    rated = None if designation is None else designation.partition("(")[0].strip()
    return tuple(
        _metric_wall(row)
        for row in table_rows("insulation_walls_iec")
        if rated in {None, row["u0_u_kv"]} and int(row["smallest_mm2"]) <= size.area_mm2 <= int(row["largest_mm2"])
    )
