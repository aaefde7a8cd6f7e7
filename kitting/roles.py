"""Who may do what: one table of actions and roles. What it doesn't allow is refused."""

import csv
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files

from kitting.errors import Refusal

STANDARDS_ENGINEER, PLANNER, STOREKEEPER, BUYER, CREW_LEAD, DUTY_SUPERVISOR, AUDITOR, ADMINISTRATOR, VISITING_CREW = (
    "standards engineer", "planner", "storekeeper", "buyer", "crew lead", "duty supervisor", "auditor",
    "administrator", "visiting crew",
)  # fmt: skip
ROLES = (
    STANDARDS_ENGINEER, PLANNER, STOREKEEPER, BUYER, CREW_LEAD, DUTY_SUPERVISOR, AUDITOR, ADMINISTRATOR, VISITING_CREW,
)  # fmt: skip
SEE, ASK, SIGN, DO, APPROVE = "see", "ask", "sign", "do", "approve"
LEVELS = (SEE, ASK, SIGN, DO, APPROVE)


def _table() -> dict[tuple[str, str], frozenset[str]]:
    """The levels of each action and role; whoever may ask, do or approve something may see it."""
    text = files("kitting").joinpath("roles.csv").read_text(encoding="utf-8")
    found = {}
    for row in csv.DictReader(text.splitlines()):
        for role in ROLES:
            given = {level.strip() for level in row[role].split(";") if level.strip()}
            found[(row["action"], role)] = frozenset(given | {SEE} if given else given)
    return found


_MAY = _table()
ACTIONS = tuple(dict.fromkeys(action for action, _ in _MAY))


@dataclass(frozen=True, slots=True)
class Actor:
    """A person who acts, with roles; ``depots`` limits where, empty means everywhere.

    ``until`` is when the access of a visiting crew ends.
    """

    name: str
    roles: frozenset[str]
    depots: frozenset[str] = frozenset()
    until: datetime | None = None

    @property
    def is_visiting(self) -> bool:
        """Whether they are a visiting crew, and nothing else."""
        return self.roles == {VISITING_CREW}

    def may(self, action: str, level: str, depot: str | None = None) -> bool:
        """Whether the table allows it, at this depot; to see another depot is always allowed.

        Raises:
            KeyError: the table has no such action.
        """
        allowed = any(level in _MAY[(action, role)] for role in self.roles)
        return allowed and (level == SEE or not depot or not self.depots or depot in self.depots)


def who_may(action: str, *levels: str) -> list[str]:
    """The roles to which the table allows one of these levels of an action."""
    return [role for role in ROLES if _MAY[(action, role)].intersection(levels)]


def require(actor: Actor, action: str, level: str, depot: str | None = None) -> None:
    """Go on only with the right.

    Raises:
        Refusal: ``not-allowed`` names the roles that may; ``other-depot`` where only the depot is wrong.
    """
    if actor.may(action, level, depot):
        return
    if actor.may(action, level):
        own = ", ".join(sorted(actor.depots))
        message = f"{actor.name} acts for {own} only, not for {depot}: ask there, or make a transfer."
        raise Refusal("other-depot", message, {"depot": depot, "depots": sorted(actor.depots)})
    allowed = who_may(action, level)
    who = " or ".join(allowed) or "nobody"
    message = f"{actor.name} may not {level} this ({action}); {who} may."
    raise Refusal("not-allowed", message, {"action": action, "level": level, "roles": allowed})
