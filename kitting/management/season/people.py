"""The invented people of the demo, each in one role."""

from kitting.roles import (
    BUYER,
    CREW_LEAD,
    DUTY_SUPERVISOR,
    PLANNER,
    STANDARDS_ENGINEER,
    STOREKEEPER,
    Actor,
)


def _person(name: str, role: str) -> Actor:
    return Actor(name, frozenset({role}))


STANDARDS = _person("I. Varga", STANDARDS_ENGINEER)
PLANS = _person("R. Tolley", PLANNER)
STORES = _person("M. Osei", STOREKEEPER)
SECOND = _person("L. Fenn", STOREKEEPER)
BUYS = _person("P. Nakamura", BUYER)
CREW = _person("T. Ahola", CREW_LEAD)
NIGHT = _person("J. Brandt", DUTY_SUPERVISOR)
