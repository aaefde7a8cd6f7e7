"""The sheets of depots, systems, cables, positions and jobs, and the cable schedule."""

from kitting.calculation.sheets.columns import Column, Rows, Sheet
from kitting.calculation.sheets.date_parsers import DATE, MOMENT
from kitting.calculation.sheets.parsers import CODE, TEXT, WHOLE_CODE, YES_NO, number, several, whole, word
from kitting.calculation.sheets.trade_parsers import (
    CLASS,
    DOI,
    INSULATION,
    INTERFACE,
    JACKET,
    LEVEL,
    METAL,
    PHASES,
    POSITION_KIND,
    POSITION_SWITCHING,
    REEL_LIST,
    RUN,
    SHIELD,
    SIZE,
    STRAND,
    WALL,
)

_DAYS = whole(0, 365, ("days", "day", "d"))
_FACTOR = number("1", "2")
EARTHING = word(
    ("multigrounded wye", "solid", "impedance", "ungrounded delta", "compensated"),
    also={"multi-grounded wye": "multigrounded wye", "multigrounded": "multigrounded wye"},
)
_STATE = word(("in use", "open point", "end of line", "unused", "dead"))
_STAGE = word(("before", "after", "both"))

DEPOTS = Sheet(
    "depots",
    (
        Column("depot", "depot", WHOLE_CODE, required=True, key=True),
        Column("name", "name", TEXT),
        Column("time zone", "time_zone", TEXT),
        Column("closed days", "closed_days", several(DATE)),
        Column("staging days", "staging_days", _DAYS),
        Column("receiving days", "receiving_days", _DAYS),
        Column("hours", "hours", TEXT),
        Column("night contact", "night_contact", TEXT),
    ),
    required=True,
)

TRANSFERS = Sheet(
    "transfers",
    (
        Column("from", "from_depot", CODE, required=True, key=True),
        Column("to", "to_depot", CODE, required=True, key=True),
        Column("days", "days", _DAYS, required=True),
    ),
    rows=Rows.WHOLE,
)

SYSTEMS = Sheet(
    "systems",
    (
        Column("system", "system", CODE, required=True, key=True),
        Column("nominal kV", "nominal_kv", number("0.1", "69", ("kV",)), required=True),
        Column("earthing", "earthing", EARTHING, required=True),
        Column("wires", "wires", whole(2, 5, ("wires", "wire"))),
        Column("max factor", "max_factor", _FACTOR),
        Column("connector class kV", "connector_class_kv", CLASS),
        Column("MCOV need kV", "mcov_need_kv", number("1", "100", ("kV",))),
        Column("MCOV reason", "mcov_reason", TEXT),
    ),
    required=True,
)

# The facts of a cable's build stand on cable types and, where no type is known, on the schedule row itself.
_BUILD = (
    Column("conductor size", "conductor_size", SIZE),
    Column("metal", "metal", METAL),
    Column("strand", "strand", STRAND),
    Column("insulation", "insulation", INSULATION),
    Column("wall", "wall_nm", WALL),
    Column("insulation level", "insulation_level", LEVEL),
    Column("cable class kV", "cable_class_kv", CLASS),
    Column("DOI low", "doi_low_nm", DOI),
    Column("DOI high", "doi_high_nm", DOI),
    Column("jacketed", "jacketed", YES_NO),
    Column("jacket low", "jacket_low_nm", JACKET),
    Column("jacket high", "jacket_high_nm", JACKET),
    Column("shield", "shield", SHIELD),
)

CABLE_TYPES = Sheet(
    "cable types",
    (
        Column("cable type", "cable_type", CODE, required=True, key=True),
        Column("conductor size", "conductor_size", SIZE, required=True),
        Column("metal", "metal", METAL, required=True),
        Column("strand", "strand", STRAND),
        Column("insulation", "insulation", INSULATION, required=True),
        *_BUILD[4:],
        Column("cores", "cores", whole(1, 5)),
        Column("reel length", "reel_length_nm", RUN),
    ),
)

REELS = Sheet(
    "reels",
    (
        Column("reel", "reel", CODE, required=True, key=True),
        Column("cable type", "cable_type", CODE, required=True),
        Column("origin", "origin", word(("gauge", "maker"))),
        Column("DOI low", "doi_low_nm", DOI),
        Column("DOI high", "doi_high_nm", DOI),
        Column("gauge id", "gauge_id", CODE),
        Column("measured by", "measured_by", TEXT),
        Column("measured on", "measured_on", DATE),
        Column("length left", "length_left_nm", RUN),
    ),
)

POSITIONS = Sheet(
    "positions",
    (
        Column("structure", "structure", CODE, required=True, key=True),
        Column("position", "position", CODE, required=True, key=True),
        Column("kind", "kind", POSITION_KIND, required=True),
        Column("interface", "interface", INTERFACE),
        Column("phases", "phases", PHASES),
        Column("insert fitted", "insert_fitted", YES_NO),
        Column("switching", "switching", POSITION_SWITCHING),
        Column("state", "state", _STATE),
        Column("environment", "environment", word(("dry", "wet"))),
        Column("test point", "test_point", YES_NO, blank=False),
        Column("existing cable type", "existing_cable_type", CODE),
        Column("current A", "current_a", whole(1, 5000, ("A",))),
        Column("stage", "stage", _STAGE),
        Column("job", "job", CODE),
        Column("feeder", "feeder", CODE),
    ),
    required=True,
)

JOBS = Sheet(
    "jobs",
    (
        Column("job", "job", WHOLE_CODE, required=True, key=True),
        Column("title", "title", TEXT),
        Column("depot", "depot", CODE, required=True),
        Column("cutover", "cutover", MOMENT),
        Column("cutover end", "cutover_end", MOMENT),
        Column("priority", "priority", whole(1, 9999)),
        Column("staging days", "staging_days", _DAYS),
        Column("owner", "owner", TEXT),
    ),
    required=True,
)

BAG_DEPOTS = Sheet(
    "bag depots",
    (
        Column("job", "job", CODE, required=True, key=True),
        Column("structure", "structure", CODE, required=True, key=True),
        Column("depot", "depot", CODE, required=True),
    ),
    rows=Rows.WHOLE,
)

SCHEDULE = Sheet(
    "schedule",
    (
        Column("job", "job", CODE, required=True, key=True),
        Column("run", "run", CODE, required=True, key=True),
        Column("system", "system", CODE, required=True),
        Column("system after", "system_after", CODE),
        Column("phases", "phases", PHASES, required=True),
        Column("cables per phase", "cables_per_phase", whole(1, 12), blank=1),
        Column("cable type", "cable_type", CODE),
        Column("reel", "reels", REEL_LIST),
        *_BUILD,
        Column("length", "length_nm", RUN),
        Column("from structure", "from_structure", CODE, required=True),
        Column("from position", "from_position", CODE, required=True),
        Column("to structure", "to_structure", CODE, required=True),
        Column("to position", "to_position", CODE, required=True),
        Column("remarks", "remarks", TEXT),
    ),
    required=True,
    rows=Rows.MARKED,
)
