"""The sheets of items, stock and orders, and of what people decide by hand."""

from kitting.calculation.sheets.columns import Column, Rows, Sheet
from kitting.calculation.sheets.date_parsers import DATE, USE_BY
from kitting.calculation.sheets.parsers import CODE, TEXT, YES_NO, Parser, Setting, number, plain, whole, word
from kitting.calculation.sheets.trade_parsers import (
    CLASSES,
    CODES,
    CONTENTS,
    DOI,
    INTERFACE,
    JACKET,
    KIND,
    LOT,
    MADE_OF,
    METALS,
    PRICE_BREAKS,
    QUANTITY,
    SHIELDS,
    SIZES,
    STRANDS,
    SWITCHING,
    WEIGHT,
)

HOLD = "hold"
PLACE_KINDS = ("bin", "staging", "bag", "truck", "van", HOLD, "reserve", "supplier-owned", "lent")
_UNIT_NAMES = {"each": "ea", "pc": "ea", "pcs": "ea", "foot": "ft", "feet": "ft", "metre": "m", "meter": "m"}


def _read_unit(text: str, _: Setting) -> str:
    unit = plain(text).casefold()
    return _UNIT_NAMES.get(unit, unit)


STATE = Parser("blank or active for an item in use, else any other word", lambda text, _: plain(text).casefold())
STOCK_UNIT = Parser("the unit in which stock is counted, such as ea, ft or m", _read_unit)


def _more_than_none(quantity: object) -> bool:
    return isinstance(quantity, int) and quantity > 0


_NOT_NONE = "must be more than 0"

ITEMS = Sheet(
    "items",
    (
        Column("stock code", "stock_code", CODE, required=True, key=True),
        Column("description", "description", TEXT, required=True),
        Column("kind", "kind", KIND, required=True),
        Column("class kV", "classes_kv", CLASSES),
        Column("interface", "interface", INTERFACE),
        Column("gives interface", "gives_interface", INTERFACE),
        Column("current A", "current_a", whole(1, 5000, ("A",))),
        Column("rated 900 A", "rated_900", YES_NO),
        Column("ways", "ways", whole(1, 12)),
        Column("switching", "switching", SWITCHING),
        Column("phase to phase", "phase_to_phase", YES_NO),
        Column("DOI low", "doi_low_nm", DOI),
        Column("DOI high", "doi_high_nm", DOI),
        Column("DOI low 2", "doi_low_2_nm", DOI),
        Column("DOI high 2", "doi_high_2_nm", DOI),
        Column("conductor sizes", "conductor_sizes", SIZES),
        Column("conductor sizes 2", "conductor_sizes_2", SIZES),
        Column("metal", "metals", METALS),
        Column("metal 2", "metals_2", METALS),
        Column("made of", "made_of", MADE_OF),
        Column("strand", "strand", STRANDS),
        Column("jacket low", "jacket_low_nm", JACKET),
        Column("jacket high", "jacket_high_nm", JACKET),
        Column("MCOV kV", "mcov_kv", number("0.1", "100", ("kV",))),
        Column("test point", "test_point", YES_NO),
        Column("shield", "shield", SHIELDS),
        Column("maker", "maker", TEXT),
        Column("contains", "contains", CONTENTS),
        Column("stock unit", "stock_unit", STOCK_UNIT, blank="ea"),
        Column("purchase unit", "purchase_unit", TEXT),
        Column("per purchase unit", "per_purchase_unit", QUANTITY, rule=_more_than_none, message=_NOT_NONE),
        Column("minimum order", "minimum_order", QUANTITY),
        Column("order multiple", "order_multiple", QUANTITY, rule=_more_than_none, message=_NOT_NONE),
        Column("lead days", "lead_days", whole(0, 3650, ("days", "day", "d"))),
        Column("lead date", "lead_date", DATE),
        Column("supplier", "supplier", TEXT),
        Column("supplier code", "supplier_code", CODE),
        Column("price", "price", number("0", "10000000")),
        Column("price date", "price_date", DATE),
        Column("price breaks", "price_breaks", PRICE_BREAKS),
        Column("shelf months", "shelf_months", whole(1, 600)),
        Column("weight", "weight_ng", WEIGHT),
        Column("per box", "per_box", whole(0, 1_000_000)),
        Column("lot tracked", "lot_tracked", YES_NO),
        Column("old codes", "old_codes", CODES),
        Column("rank", "rank", whole(1, 999)),
        Column("state", "state", STATE),
    ),
    required=True,
    rows=Rows.REQUIRED,
)

LEVELS = Sheet(
    "levels",
    (
        Column("stock code", "stock_code", CODE, required=True, key=True),
        Column("depot", "depot", CODE, required=True, key=True),
        Column("min", "minimum", QUANTITY),
        Column("max", "maximum", QUANTITY),
        Column("reserve floor", "reserve_floor", QUANTITY),
    ),
    rows=Rows.WHOLE,
)

STOCK = Sheet(
    "stock",
    (
        Column("stock code", "stock_code", CODE, required=True),
        Column("depot", "depot", CODE, required=True),
        Column("place", "place", CODE, required=True),
        Column("place kind", "place_kind", word(PLACE_KINDS)),
        Column("lot", "lot", LOT),
        Column("use by", "use_by", USE_BY),
        Column("quantity", "quantity", QUANTITY, required=True),
        Column("counted on", "counted_on", DATE),
        Column("job", "job", CODE),
        Column("structure", "structure", CODE),
    ),
    required=True,
    rows=Rows.WHOLE,
)

ORDERS = Sheet(
    "orders",
    (
        Column("order", "order", CODE, required=True, key=True),
        Column("line", "line", CODE, required=True, key=True),
        Column("stock code", "stock_code", CODE, required=True),
        Column("quantity", "quantity", QUANTITY, required=True),
        Column("depot", "depot", CODE, required=True),
        Column("promised", "promised", DATE),
        Column("supplier", "supplier", TEXT),
    ),
    rows=Rows.WHOLE,
)

STAND_INS = Sheet(
    "stand ins",
    (
        Column("wanted", "wanted", CODE, required=True),
        Column("allowed", "allowed", CODE, required=True),
        Column("system", "system", CODE),
        Column("from", "valid_from", DATE),
        Column("to", "valid_to", DATE),
        Column("max quantity", "max_quantity", QUANTITY),
        Column("approved by", "approved_by", TEXT, required=True),
        Column("reason", "reason", TEXT),
    ),
    rows=Rows.WHOLE,
)

PINS = Sheet(
    "pins",
    (
        Column("job", "job", CODE, required=True),
        Column("line", "line", TEXT, required=True),
        Column("stock code", "stock_code", CODE, required=True),
        Column("lot", "lot", LOT),
        Column("depot", "depot", CODE),
        Column("quantity", "quantity", QUANTITY, required=True, rule=_more_than_none, message=_NOT_NONE),
        Column("reason", "reason", TEXT, required=True),
        Column("by", "by", TEXT, required=True),
    ),
    rows=Rows.WHOLE,
)

ADDED_LINES = Sheet(
    "added lines",
    (
        Column("job", "job", CODE, required=True),
        Column("structure", "structure", CODE, required=True),
        Column("position", "position", CODE),
        Column("kind", "kind", KIND, required=True),
        Column("stock code", "stock_code", CODE),
        Column("quantity", "quantity", QUANTITY, required=True, rule=_more_than_none, message=_NOT_NONE),
        Column("reason", "reason", TEXT, required=True),
        Column("by", "by", TEXT, required=True),
    ),
    rows=Rows.WHOLE,
)
