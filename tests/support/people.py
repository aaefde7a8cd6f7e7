"""People who ask, approve and sign, each in one role."""

from kitting import roles
from kitting.roles import Actor


def person(name: str, *among: str) -> Actor:
    """Somebody with these roles at every depot."""
    return Actor(name, frozenset(among))


STANDARDS = person("I. Varga", roles.STANDARDS_ENGINEER)
OTHER_STANDARDS = person("D. Moreau", roles.STANDARDS_ENGINEER)
PLANNER = person("R. Tolley", roles.PLANNER)
STORES = person("M. Osei", roles.STOREKEEPER)
CREW = person("T. Ahola", roles.CREW_LEAD)
DUTY = person("J. Brandt", roles.DUTY_SUPERVISOR)
AUDITOR = person("C. Silva", roles.AUDITOR)
OTHER_AUDITOR = person("H. Lindqvist", roles.AUDITOR)
BUYER = person("P. Nakamura", roles.BUYER)
