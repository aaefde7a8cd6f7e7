"""The life of a job as one table: in which state which step is allowed, what it asks, and where it leads.

A date is confirmed before its outage is frozen; it is moved or cancelled before the outage begins. What happened on
the line is a fact, whatever was said before: work begins on a job that nobody has confirmed as well. What the table
does not name is refused.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from kitting.calculation.state_pictures import state_picture
from kitting.errors import Refusal

PLANNED, CONFIRMED, FROZEN, OUTAGE, ENERGISED, RETURNS_OPEN, CLOSED, CANCELLED = (
    "planned", "confirmed", "frozen", "outage", "energised", "returns open", "closed", "cancelled",
)  # fmt: skip
STATES = (PLANNED, CONFIRMED, FROZEN, OUTAGE, ENERGISED, RETURNS_OPEN, CLOSED, CANCELLED)
BEFORE_THE_OUTAGE = (PLANNED, CONFIRMED, FROZEN)
CONFIRM, UNCONFIRM, FREEZE, MOVE, CANCEL, BEGIN, ENERGISE, DENY, TURN_IN, CLOSE = (
    "confirm", "take the confirmation back", "freeze", "move", "cancel", "begin work", "energise",
    "take energised back", "turn in", "close",
)  # fmt: skip
SAME = ""  # the state stays


@dataclass(frozen=True, slots=True, kw_only=True)
class JobFacts:
    """What the guards look at.

    Args:
        name: of the job.
        is_dated: whether it has a cutover.
        is_planned: whether it is planned ahead, as no emergency is.
        unready: why it is not ready by what is known now, in words; '' where it is.
        out: bags that are out with the crew, by name.
        is_energised: whether somebody has noted when the line went back in service.
        reason: in words.
    """

    name: str
    is_dated: bool = True
    is_planned: bool = True
    unready: str = ""
    out: tuple[str, ...] = ()
    is_energised: bool = False
    reason: str = ""


def _dated(facts: JobFacts) -> str:
    return "" if facts.is_dated else "it has no date: give it one first"


def _planned(facts: JobFacts) -> str:
    return "" if facts.is_planned else "nobody plans it ahead: its outage is there already"


def _ready_or_let_be(facts: JobFacts) -> str:
    if not facts.unready or facts.reason.strip():
        return ""
    return f"{facts.unready}: say why its date holds all the same"


def _all_back(facts: JobFacts) -> str:
    return f"{', '.join(facts.out)} out with the crew: account for the pieces and close" if facts.out else ""


def _first_said(facts: JobFacts) -> str:
    return "it is noted already when the line went back in service" if facts.is_energised else ""


def _reason(facts: JobFacts) -> str:
    return "" if facts.reason.strip() else "say why"


HAS_A_DATE, IS_PLANNED, READY_OR_LET_BE = "has a date", "planned ahead", "ready, or a reason"
ALL_BACK, FIRST_SAID, REASON = "no bag is out", "nobody has noted it yet", "reason"
GUARDS: Mapping[str, Callable[[JobFacts], str]] = {
    HAS_A_DATE: _dated,
    IS_PLANNED: _planned,
    READY_OR_LET_BE: _ready_or_let_be,
    ALL_BACK: _all_back,
    FIRST_SAID: _first_said,
    REASON: _reason,
}


@dataclass(frozen=True, slots=True)
class JobTransition:
    """In this state this step may be done where all guards hold; ``effect`` says what becomes of the rest."""

    state: str
    step: str
    to: str
    guards: tuple[str, ...] = ()
    effect: str = ""


TABLE: tuple[JobTransition, ...] = (
    JobTransition(PLANNED, CONFIRM, CONFIRMED, (HAS_A_DATE, IS_PLANNED, READY_OR_LET_BE)),
    JobTransition(CONFIRMED, UNCONFIRM, PLANNED, (REASON,)),
    JobTransition(CONFIRMED, FREEZE, FROZEN, (), "what changes from now on needs a reason"),
    *(JobTransition(state, MOVE, PLANNED, (), "its promises are free") for state in BEFORE_THE_OUTAGE),
    *(JobTransition(state, CANCEL, CANCELLED, (REASON,), "its promises are free") for state in BEFORE_THE_OUTAGE),
    *(JobTransition(state, BEGIN, OUTAGE) for state in BEFORE_THE_OUTAGE),
    *(JobTransition(state, BEGIN, SAME) for state in (OUTAGE, ENERGISED, RETURNS_OPEN)),
    JobTransition(OUTAGE, ENERGISE, ENERGISED, (FIRST_SAID,), "what is out is due back"),
    JobTransition(CLOSED, ENERGISE, SAME, (FIRST_SAID,)),
    *(JobTransition(state, DENY, OUTAGE, (REASON,)) for state in (ENERGISED, RETURNS_OPEN)),
    JobTransition(ENERGISED, TURN_IN, RETURNS_OPEN),
    *(JobTransition(state, TURN_IN, SAME) for state in (*BEFORE_THE_OUTAGE, OUTAGE, RETURNS_OPEN)),
    *(JobTransition(state, CLOSE, CLOSED, (ALL_BACK,)) for state in (*BEFORE_THE_OUTAGE, OUTAGE, ENERGISED,
                                                                    RETURNS_OPEN)),
)  # fmt: skip
STEPS = tuple(dict.fromkeys(row.step for row in TABLE))
_BY_KEY = {(row.state, row.step): row for row in TABLE}


@dataclass(frozen=True, slots=True, kw_only=True)
class JobMarks:
    """What the records say of a job: each is set by one step; ``is_back``: a bag of it came back from the work."""

    is_cancelled: bool = False
    is_closed: bool = False
    is_confirmed: bool = False
    is_frozen: bool = False
    has_begun: bool = False
    is_energised: bool = False
    is_back: bool = False


def state_of(marks: JobMarks) -> str:
    """The state of a job by its marks: the furthest that holds."""
    reached = (
        (marks.is_cancelled, CANCELLED),
        (marks.is_closed, CLOSED),
        (marks.has_begun and marks.is_energised and marks.is_back, RETURNS_OPEN),
        (marks.has_begun and marks.is_energised, ENERGISED),
        (marks.has_begun, OUTAGE),
        (marks.is_frozen, FROZEN),
        (marks.is_confirmed, CONFIRMED),
    )
    return next((state for is_so, state in reached if is_so), PLANNED)


def allows(state: str, step: str) -> bool:
    """Whether the table names a step in a state, whatever its guards say."""
    return (state, step) in _BY_KEY


def next_job_state(state: str, step: str, facts: JobFacts) -> str:
    """The state after a step.

    Raises:
        Refusal: ``not-in-this-state``: the table does not name it; ``job-not-ready`` names the guard and says why it
            doesn't hold.
    """
    row = _BY_KEY.get((state, step))
    if row is None:
        when = ", ".join(one.state for one in TABLE if one.step == step)
        message = f"Can't {step}: {facts.name} stands at {state}; that is done at {when}."
        raise Refusal("not-in-this-state", message, {"job": facts.name, "state": state})
    for name in row.guards:
        if why := GUARDS[name](facts):
            message = f"Can't {step}. {facts.name}: {why}."
            raise Refusal("job-not-ready", message, {"job": facts.name, "state": state, "guard": name})
    return row.to or state


def picture() -> str:
    """The table as the text of a state picture, states and arrows in the order of the table."""
    return state_picture(PLANNED, ((row.state, row.to or row.state, row.step) for row in TABLE))
