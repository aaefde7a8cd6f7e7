"""People who ask, approve and sign, each in one role."""

from kitting.roles import Actor


def person(name: str, *roles: str) -> Actor:
    """Somebody with these roles at every depot."""
    return Actor(name, frozenset(roles))


STANDARDS = person("I. Varga", "standards engineer")
OTHER_STANDARDS = person("D. Moreau", "standards engineer")
PLANNER = person("R. Tolley", "planner")
STORES = person("M. Osei", "storekeeper")
CREW = person("T. Ahola", "crew lead")
DUTY = person("J. Brandt", "duty supervisor")
AUDITOR = person("C. Silva", "auditor")
OTHER_AUDITOR = person("H. Lindqvist", "auditor")
BUYER = person("P. Nakamura", "buyer")
