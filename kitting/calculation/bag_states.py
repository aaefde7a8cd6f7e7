"""The life of a bag as one table: in which state which action is allowed, what it asks, and where it leads.

States and what they forbid are common practice of stores that build kits ahead of an outage. What the table does not
name is refused.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from kitting.calculation.state_pictures import state_picture
from kitting.errors import Refusal

DRAFT, LISTED, PICKING, SHORT, CHECKED, STAGED, ISSUED, IN_WORK = (
    "draft", "listed", "picking", "short", "checked", "staged", "issued", "in work",
)  # fmt: skip
RETURNING, CLOSED, REOPENED, ON_HOLD, BROKEN, CANCELLED = (
    "returning", "closed", "reopened", "on hold", "broken", "cancelled",
)  # fmt: skip
STATES = (
    DRAFT, LISTED, PICKING, SHORT, CHECKED, STAGED, ISSUED, IN_WORK, RETURNING, CLOSED, REOPENED, ON_HOLD, BROKEN,
    CANCELLED,
)  # fmt: skip
IN_STORE = (PICKING, SHORT, CHECKED, STAGED, REOPENED, BROKEN)
OUT = (ISSUED, IN_WORK, RETURNING)
EMPTIED = (PICKING, SHORT, REOPENED)  # from which a bag whose pieces were all put back may be filled at another depot
SAME = ""  # the state stays
SECOND_PERSON = "another person than who filled it"
HERE, AT_ITS_DEPOT = "not on the road", "at the depot where it is to be staged"
WITH_STORES, WITH_CREW = "stores have it", "the crew has it"
LEFT_OPEN = "closed by an exception that left pieces open"

LIST, PICK, PUT_BACK, FINISH, CHECK, STAGE, ISSUE, HAND_BACK, BEGIN = (
    "list", "pick", "put back", "finish", "check", "stage", "issue", "hand back", "begin work",
)  # fmt: skip
INSTALL, TURN_IN, WRITE_OFF, CLOSE, REOPEN, HOLD, LIFT, BORROW, CANCEL, GIVE, UNDO = (
    "install", "turn in", "write off", "close", "reopen", "hold", "lift hold", "borrow", "cancel", "give whole", "undo",
)  # fmt: skip
SEND, ARRIVE = "send whole", "take in"  # by van, from the depot where it was staged to the one where the crew picks up
FORMER, AS_BEFORE = "as before the hold", "as before what is undone"
# No scans of the bag: applying a plan renews its list, and printing its label makes the one before it old.
LIST_AGAIN, PRINT_AGAIN = "plan, apply and list again", "print its label again"


@dataclass(frozen=True, slots=True, kw_only=True)
class BagFacts:
    """What the guards look at: the bag as it is, and what the person who acts brings along.

    Args:
        name: of the bag, such as ``J03 V1``.
        decided: whether any line has a stock code, so that there is something to pick.
        missing: what is not in the bag, in words, such as ``1 JS-3``, lines that nobody can decide yet among it;
            spares are left out.
        inside: whether any piece is in the bag.
        is_out: whether the crew has it, also while it is on hold.
        pickers: who put the pieces in since the last check.
        out_of_date, held: lots in the bag that are not good through the cutover, or that a hold stops.
        superseded: why the bag's list is not what is live, '' where it is.
        old_label: why the label that was printed last is not of what is on the list; '' where it is, or none was.
        open: issued pieces that are not accounted for, in words.
        unnamed: pieces that went out in a storm and whose lot nobody has named yet, in words.
        road: where it is going by van, in words, '' while it lies at its depot.
        elsewhere: that it lies at another depot than where it is to be staged, in words, '' where it doesn't.
        by: who acts.
        approver: who lets a short bag go, '' for nobody.
        reason: in words.
        signature: of the crew.
    """

    name: str
    decided: bool = True
    missing: tuple[str, ...] = ()
    inside: bool = False
    is_out: bool = False
    pickers: frozenset[str] = field(default_factory=frozenset)
    out_of_date: tuple[str, ...] = ()
    held: tuple[str, ...] = ()
    superseded: str = ""
    old_label: str = ""
    open: tuple[str, ...] = ()
    unnamed: tuple[str, ...] = ()
    road: str = ""
    elsewhere: str = ""
    by: str = ""
    approver: str = ""
    reason: str = ""
    signature: str = ""


Guard = Callable[[BagFacts], str]


def _listed(facts: BagFacts) -> str:
    return "" if facts.decided else "no line has a stock code yet"


def _full(facts: BagFacts) -> str:
    return f"SHORT: {', '.join(facts.missing)}" if facts.missing else ""


def _full_or_approved(facts: BagFacts) -> str:
    if not facts.missing or (facts.approver and facts.reason.strip()):
        return ""
    missing = ", ".join(facts.missing)
    return f"SHORT – NEEDS SUPERVISOR: {missing}: it goes out only by planner or duty supervisor with a reason"


def _missing(facts: BagFacts) -> str:
    return "" if facts.missing else "nothing is missing: have it checked"


def _second_person(facts: BagFacts) -> str:
    same = facts.by.casefold() in {name.casefold() for name in facts.pickers}
    return f"{facts.by} filled it: another person checks" if same else ""


def _in_date(facts: BagFacts) -> str:
    return f"EXPIRES BEFORE CUTOVER: {', '.join(facts.out_of_date)}" if facts.out_of_date else ""


def _not_held(facts: BagFacts) -> str:
    return f"HOLD: {', '.join(facts.held)}" if facts.held else ""


def _current(facts: BagFacts) -> str:
    return facts.superseded


def _labelled(facts: BagFacts) -> str:
    return facts.old_label


def _signed(facts: BagFacts) -> str:
    return "" if facts.signature.strip() else "the crew has not signed"


def _balanced(facts: BagFacts) -> str:
    if not facts.open or facts.reason.strip():
        return ""
    return f"STILL OPEN: {', '.join(facts.open)}: account for them, or name the exception"


def _named(facts: BagFacts) -> str:
    return f"LOTS TO NAME FIRST: {', '.join(facts.unnamed)}" if facts.unnamed else ""


def _empty(facts: BagFacts) -> str:
    return "put its pieces back by scan first" if facts.inside else ""


def _here(facts: BagFacts) -> str:
    return f"{facts.road.upper()}: take it in there first" if facts.road else ""


def _at_its_depot(facts: BagFacts) -> str:
    return facts.elsewhere


def _on_the_road(facts: BagFacts) -> str:
    return "" if facts.road else "it is not on the road: it lies at its depot"


def _with_stores(facts: BagFacts) -> str:
    return "the crew has it: its pieces are turned in" if facts.is_out else ""


def _with_crew(facts: BagFacts) -> str:
    return "" if facts.is_out else "no crew has it: its pieces are put back"


def _left_open(facts: BagFacts) -> str:
    return "" if facts.open else "it is closed: all its pieces are accounted for"


def _reason(facts: BagFacts) -> str:
    return "" if facts.reason.strip() else "say why"


GUARDS: Mapping[str, Guard] = {
    "some line has a stock code": _listed,
    "full": _full,
    "full, or let go with a reason": _full_or_approved,
    "something is missing": _missing,
    SECOND_PERSON: _second_person,
    "in date through the cutover": _in_date,
    "nothing on hold": _not_held,
    "list is current": _current,
    "label is of its list": _labelled,
    "signed": _signed,
    "balanced, or a named exception": _balanced,
    "every lot is named": _named,
    "empty": _empty,
    HERE: _here,
    AT_ITS_DEPOT: _at_its_depot,
    "on the road": _on_the_road,
    WITH_STORES: _with_stores,
    WITH_CREW: _with_crew,
    LEFT_OPEN: _left_open,
    "reason": _reason,
}
_GOOD = ("in date through the cutover", "nothing on hold", "list is current")


@dataclass(frozen=True, slots=True)
class Transition:
    """In this state this action may be done where all guards hold; ``effect`` says what becomes of the pieces."""

    state: str
    action: str
    to: str
    guards: tuple[str, ...] = ()
    effect: str = ""


def _rows(
    states: tuple[str, ...], action: str, to: str, guards: tuple[str, ...] = (), effect: str = ""
) -> list[Transition]:
    return [Transition(state, action, to, guards, effect) for state in states]


TABLE: tuple[Transition, ...] = (
    Transition(DRAFT, LIST, LISTED, ("some line has a stock code",)),
    Transition(LISTED, PICK, PICKING, (HERE, AT_ITS_DEPOT, "list is current"), "bin to bag"),
    *_rows((PICKING, SHORT, REOPENED, BROKEN), PICK, PICKING, (HERE, "list is current"), "bin to bag"),
    *_rows((PICKING, SHORT, REOPENED, BROKEN), PUT_BACK, PICKING, (HERE,), "bag to bin"),
    Transition(CANCELLED, PUT_BACK, SAME, (HERE,), "bag to bin"),
    *_rows(
        (LISTED, PICKING, REOPENED, BROKEN),
        FINISH,
        SHORT,
        ("something is missing", "list is current"),
        "label says SHORT",
    ),
    *_rows((PICKING, REOPENED), CHECK, CHECKED, (HERE, SECOND_PERSON, "full", *_GOOD)),
    *_rows((SHORT, BROKEN), CHECK, CHECKED, (HERE, SECOND_PERSON, *_GOOD), "label says SHORT"),
    *_rows((CHECKED, STAGED), STAGE, STAGED, (HERE, *_GOOD, "label is of its list"), "into its rack place"),
    Transition(
        STAGED,
        ISSUE,
        ISSUED,
        (HERE, AT_ITS_DEPOT, "full, or let go with a reason", *_GOOD, "label is of its list", "signed"),
        "the crew has custody",
    ),
    Transition(STAGED, SEND, SAME, (HERE, *_GOOD), "bag to the van to another depot"),
    *_rows((*IN_STORE, ON_HOLD, CANCELLED), ARRIVE, SAME, ("on the road",), "van to bag, at its new depot"),
    *_rows((CHECKED, STAGED), GIVE, CLOSED, (HERE, "full", *_GOOD), "a pre-made kit's pieces to a bag that is out"),
    Transition(ISSUED, HAND_BACK, REOPENED, ("reason",), "stores have custody again"),
    Transition(ISSUED, BEGIN, IN_WORK),
    *_rows((ISSUED, IN_WORK), INSTALL, IN_WORK, ("every lot is named", "nothing on hold"), "bag to installed"),
    Transition(RETURNING, INSTALL, SAME, ("every lot is named", "nothing on hold"), "bag to installed"),
    *_rows((ISSUED, IN_WORK), WRITE_OFF, IN_WORK, ("every lot is named", "reason"), "bag to scrapped or lost"),
    Transition(RETURNING, WRITE_OFF, SAME, ("every lot is named", "reason"), "bag to scrapped or lost"),
    *_rows(
        (ISSUED, IN_WORK, RETURNING),
        TURN_IN,
        RETURNING,
        ("every lot is named",),
        "bag to bin, inspection, scrap or supplier",
    ),
    *_rows((ISSUED, ON_HOLD), UNDO, SAME, (), "into the bag again"),
    *_rows((IN_WORK, RETURNING), UNDO, AS_BEFORE, (), "into the bag again"),
    *_rows((IN_WORK, RETURNING), CLOSE, CLOSED, ("every lot is named", "balanced, or a named exception")),
    Transition(CANCELLED, CLOSE, CLOSED, ("empty",)),
    Transition(CLOSED, INSTALL, SAME, (LEFT_OPEN, "nothing on hold"), "bag to installed"),
    Transition(CLOSED, TURN_IN, SAME, (LEFT_OPEN,), "bag to bin, inspection, scrap or supplier"),
    Transition(CLOSED, WRITE_OFF, SAME, (LEFT_OPEN, "reason"), "bag to scrapped or lost"),
    *_rows((LISTED, *IN_STORE[:-2]), REOPEN, REOPENED, ("reason",)),
    *_rows((*IN_STORE, *OUT), HOLD, ON_HOLD, ("reason",)),
    Transition(ON_HOLD, PUT_BACK, SAME, (HERE, WITH_STORES), "bag to hold or bin"),
    Transition(ON_HOLD, TURN_IN, SAME, (WITH_CREW, "every lot is named"), "bag to hold, scrap or supplier"),
    Transition(ON_HOLD, WRITE_OFF, SAME, (WITH_CREW, "every lot is named", "reason"), "bag to scrapped or lost"),
    Transition(ON_HOLD, LIFT, FORMER, ("nothing on hold",)),
    *_rows((CHECKED, STAGED, SHORT), BORROW, BROKEN, (HERE, "reason"), "bag to who borrows"),
    Transition(BROKEN, BORROW, SAME, (HERE, "reason"), "bag to who borrows"),
    *_rows((DRAFT, LISTED, *IN_STORE), CANCEL, CANCELLED, ("reason",)),
)
ACTIONS = tuple(dict.fromkeys(row.action for row in TABLE))
_BY_KEY = {(row.state, row.action): row for row in TABLE}


def allows(state: str, action: str) -> bool:
    """Whether the table names an action in a state, whatever its guards say."""
    return (state, action) in _BY_KEY


def next_state(state: str, action: str, facts: BagFacts) -> str:
    """The state after an action; ``FORMER`` where it is that before the hold, ``AS_BEFORE`` that before what is undone.

    Raises:
        Refusal: ``not-in-this-state``: the table does not name it; ``already-out`` where that is why;
            ``bag-not-ready`` names the guard and says why it doesn't hold.
    """
    row = _BY_KEY.get((state, action))
    if row is None:
        out = action in (ISSUE, STAGE, PICK, CHECK) and state in OUT
        code, why = ("already-out", "ALREADY OUT") if out else ("not-in-this-state", f"it is {state}")
        raise Refusal(code, f"{facts.name}: can't {action}, {why}.", {"bag": facts.name, "state": state})
    name, why = _stopped_by(row, facts)
    if why:
        raise Refusal(
            "bag-not-ready",
            f"{facts.name}: can't {action}. {why}.",
            {"bag": facts.name, "state": state, "action": action, "guard": name, "why": why},
        )
    return row.to or state


def _stopped_by(row: Transition, facts: BagFacts) -> tuple[str, str]:
    """The first guard that doesn't hold, and why; both '' where all hold."""
    return next(((name, why) for name in row.guards if (why := GUARDS[name](facts))), ("", ""))


def next_actions(state: str, facts: BagFacts, *, comes_out: bool = False, goes_in: bool = False) -> tuple[str, ...]:
    """What brings a bag on from where it is, the first to be done first; only what may be done now.

    What can't stay comes out, then what is missing goes in, then the bag is checked and staged, with a label that is
    of its list. A bag whose list is not what is live, or holds lines that nobody can decide yet, is planned and listed
    again; so is one for another depot that nobody has begun, or that was emptied, and a staged one is sent there.

    Args:
        state: of the bag.
        facts: as they are; who acts, and why, doesn't matter here.
        comes_out: pieces are inside that can't stay.
        goes_in: pieces are missing.
    """
    is_begun = state not in (DRAFT, LISTED, *EMPTIED) or facts.inside
    is_closed = not allows(state, PICK)  # checked and staged bags are opened again before pieces move
    wanted = {
        ARRIVE: True,
        LIST_AGAIN: bool(facts.superseded or (facts.missing and not goes_in) or (facts.elsewhere and not is_begun)),
        REOPEN: is_closed and (comes_out or goes_in),
        PUT_BACK: (comes_out or (is_begun and bool(facts.elsewhere))) and not facts.is_out,
        TURN_IN: comes_out and facts.is_out,
        LIFT: True,
        PICK: goes_in,
        CHECK: not comes_out,
        PRINT_AGAIN: bool(facts.old_label) and not (comes_out or goes_in or facts.is_out),
        STAGE: not comes_out,
        SEND: bool(facts.elsewhere) and not comes_out,
    }
    acting = replace(facts, by="", pickers=frozenset(), reason="rework")
    return tuple(action for action, is_wanted in wanted.items() if is_wanted and _brings_on(state, action, acting))


def _brings_on(state: str, action: str, facts: BagFacts) -> bool:
    row = _BY_KEY.get((state, action))
    if row is None:
        return action in (LIST_AGAIN, PRINT_AGAIN)
    stays = row.to == state and action != PUT_BACK
    return not stays and not any(_stopped_by(row, facts))


def picture() -> str:
    """The table as the text of a state picture, states and arrows in the order of the table."""
    return state_picture(DRAFT, ((row.state, row.to or row.state, row.action) for row in TABLE))
