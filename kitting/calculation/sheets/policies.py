"""The owner's policies, with the defaults that hold where the sheet is silent."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from kitting.calculation.doubts import Doubt
from kitting.calculation.questions import REFUSE
from kitting.calculation.sheets.date_parsers import DATE_ORDERS
from kitting.calculation.sheets.parsers import YES_NO, CellDoubt, Parser, Setting, loose, number, several, whole, word
from kitting.calculation.sheets.reading import SheetReading
from kitting.calculation.sheets.trade_parsers import KIND, RUN


@dataclass(frozen=True, slots=True)
class Policies:
    """Choices that the owner of the stock makes once for all jobs.

    Args:
        staging_days: working days before the cutover on which the bags must be ready.
        expiry_margin_days: days a lot must stay good beyond the cutover.
        max_factor: highest system voltage over nominal (ANSI C84.1 Range A: 1.05).
        estimates: ``accept`` or ``measure``: what a diameter estimated from standard limits is good for.
        spares: whether the spares table is used.
        tails_nm: length of cable a conductor used up at its ends, in nanometres.
        jacket_seals: ``everywhere`` or ``wet``.
        arrester_sides: ``insert``, ``parked`` or ``both``.
        crew_stock_kinds: kinds that crews carry; they give no line.
        paper: ``Letter`` or ``A4``.
        date_order: ``asked``, ``month first`` or ``day first``.
        wording: ``splice`` or ``joint``.
        count_limit: stock units by which a count may differ from the books without another person's approval.
        tier_weeks: weeks whose kits compete by weight for the stock; 0: strictly by date, kit by kit.
        demo: whether every document says DEMO.
    """

    staging_days: int = 2
    expiry_margin_days: int = 0
    max_factor: Decimal = Decimal("1.05")
    estimates: str = "accept"
    spares: bool = True
    tails_nm: int = 0
    jacket_seals: str = "everywhere"
    arrester_sides: str = "insert"
    crew_stock_kinds: frozenset[str] = frozenset({"neutral connector", "end cap"})
    paper: str = "Letter"
    date_order: str = "asked"
    wording: str = "splice"
    count_limit: Decimal = Decimal(2)
    tier_weeks: int = 0
    demo: bool = False


_PARSERS: Mapping[str, Parser] = MappingProxyType(
    {
        "staging_days": whole(0, 60, ("days", "day")),
        "expiry_margin_days": whole(0, 3650, ("days", "day")),
        "max_factor": number("1", "2"),
        "estimates": word(("accept", "measure")),
        "spares": YES_NO,
        "tails_nm": RUN,
        "jacket_seals": word(("everywhere", "wet")),
        "arrester_sides": word(("insert", "parked", "both")),
        "crew_stock_kinds": several(KIND),
        "paper": word(("Letter", "A4")),
        "date_order": word(DATE_ORDERS),
        "wording": word(("splice", "joint")),
        "count_limit": number("0", "1000000"),
        "tier_weeks": whole(0, 520, ("weeks", "week")),
        "demo": YES_NO,
    }
)
_LABELS = {field.name: field.name.removesuffix("_nm").replace("_", " ") for field in fields(Policies)}
_FIELDS = {loose(label): name for name, label in _LABELS.items()}


def policy_name(text: str) -> str:
    """The one name of a policy, whatever the case and blanks in which it is written.

    Raises:
        KeyError: it is no policy.
    """
    return _LABELS[_FIELDS[loose(text)]]


def read_policies(reading: SheetReading) -> Policies:
    """The policies that the sheet gives, defaults for the others; unknown names and values are asked about."""
    chosen: dict[str, Any] = {}
    for at, name in enumerate(reading.values("policy")):
        text = reading.values("value")[at]
        if not isinstance(name, str) or not isinstance(text, str):
            continue  # blank, and asked about already
        field = _FIELDS.get(loose(name))
        if field is None:
            known = f"one of: {', '.join(_LABELS.values())}"
            reading.doubt(at, "policy", CellDoubt("is not a policy", known, REFUSE))
        elif field in chosen:
            reading.doubt(at, "policy", CellDoubt("is given twice; the first stands", "keep one row", REFUSE))
        else:
            _choose(chosen, field, reading, at)
    return Policies(**chosen)


def _choose(chosen: dict[str, Any], field: str, reading: SheetReading, at: int) -> None:
    try:
        value = _PARSERS[field].read(reading.texts("value")[at], Setting())
    except Doubt as doubt:
        reading.doubt(at, "value", doubt)
    else:
        chosen[field] = frozenset(value) if isinstance(value, tuple) else value
