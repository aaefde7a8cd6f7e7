"""What one requirement line asks of an item: the facts that the checks read, and nothing else.

Two lines that ask the same of an item have equal needs, so each distinct need is matched once.
"""

from dataclasses import dataclass
from decimal import Decimal

from kitting.calculation.cable_geometry import Band
from kitting.calculation.conductor_sizes import ConductorSize
from kitting.calculation.questions import Missing
from kitting.calculation.rule_table import Limits

# What a rule may fit a part by, and which facts of the cable that reads.
FITTED_BY = (
    "insulation",
    "conductor",
    "jacket",
    "both insulations",
    "both conductors",
    "both jackets",
    "none",
)


@dataclass(frozen=True, slots=True)
class Side:
    """One cable at the part: an end has one side, a joint two or three.

    Only what the rule's ``fitted by`` reads is filled in; the rest is None (not read). ``doi`` and ``jacket`` are
    bands in nanometres. A fact that is read but not known is a Missing.
    """

    conductor_size: ConductorSize | Missing | None = None
    metal: str | Missing | None = None
    strand: str | Missing | None = None
    doi: Band | Missing | None = None
    jacket: Band | Missing | None = None
    shield: str | Missing | None = None


@dataclass(frozen=True, slots=True)
class Alternative:
    """One rule's say about the kind: rank (lower first), the limits on items, and the rule that speaks."""

    rank: int
    limits: Limits
    rule: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Need:
    """What an item must meet to serve a line.

    Args:
        kind: kind of part, as in ``tables/kinds.csv``.
        fitted_by: one of FITTED_BY.
        sides: the cables at the part (empty when fitted by none).
        alternatives: the rules that give the kind here, best rank first; at least one unless ``fixed_code`` is set.
        class_kv: voltage class that must be among the item's (kV text, ``15`` or ``12/20(24)``); None is not read.
        interface: interface the item must have; None is not read.
        gives_interface: interface that the item must offer onwards (a reducing tap plug); None is not read.
        current_a: continuous current of the position in A; None is not stated.
        switching: ``loadbreak`` or ``deadbreak``; None is not stated.
        between_phases: true where the part may meet line-to-line duty (several phases, or not a multigrounded wye).
        mcov_kv: least MCOV for an arrester, in kV.
        fixed_code: the one stock code that a pin, a spare or a line added by hand names.
        system: the system's code, read by stand-ins that are limited to one system.
    """

    kind: str
    fitted_by: str = "none"
    sides: tuple[Side, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    class_kv: str | Missing | None = None
    interface: str | Missing | None = None
    gives_interface: str | Missing | None = None
    current_a: int | Missing | None = None
    switching: str | Missing | None = None
    between_phases: bool = False
    mcov_kv: Decimal | Missing | None = None
    fixed_code: str | None = None
    system: str | None = None


@dataclass(frozen=True, slots=True)
class NearMiss:
    """An item of the kind that does not serve: the first check that failed, and by how much. Not approved for use."""

    stock_code: str
    check: str
    sentence: str
    failed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StandInOption:
    """An approved stand-in that serves the need, with its limits (dates are local dates of the cutover)."""

    stock_code: str
    wanted: str
    valid_from: str
    valid_to: str
    max_quantity: int | None
    approved_by: str


CHOSEN = "chosen"
CANT_TELL = "can't tell"
NO_ITEM = "no item"


@dataclass(frozen=True, slots=True)
class Match:
    """The answer to a need.

    Args:
        status: CHOSEN, CANT_TELL (a fact is missing, or every candidate is at ``measure``) or NO_ITEM (nothing serves).
        codes: stock codes that serve, in the order of choice (own codes only).
        stand_ins: approved stand-ins that serve, in order, to be taken after all own codes.
        rules: for each of ``codes`` the id of the rule that lets it serve.
        margins_nm: for each of ``codes`` the fit margin in nanometres (None where no diameter is read).
        sentence: one sentence a splicer understands: what was chosen and why, or what is missing.
        missing: the facts that are missing, for the questions.
        near_misses: up to three items that fail, nearest first.
        estimated: true when the fit rests on an estimate from standard limits.
    """

    status: str
    codes: tuple[str, ...]
    stand_ins: tuple[StandInOption, ...]
    rules: tuple[str, ...]
    margins_nm: tuple[int | None, ...]
    sentence: str
    missing: tuple[Missing, ...] = ()
    near_misses: tuple[NearMiss, ...] = ()
    estimated: bool = False
