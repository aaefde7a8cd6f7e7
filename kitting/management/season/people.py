"""The invented people of the demo, each in one role."""

from typing import NamedTuple

from kitting.roles import (
    ADMINISTRATOR,
    AUDITOR,
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
AUDITS = _person("C. Silva", AUDITOR)
KEEPS_PEOPLE = _person("A. Dara", ADMINISTRATOR)


class SignIn(NamedTuple):
    """Who may sign in to the demo's pages: what they type, who they are, their depots (none: all), and what for."""

    sign_in: str
    actor: Actor
    depots: tuple[str, ...]
    task: str


SIGN_INS = (
    SignIn("planner", PLANS, (), "cutovers and their answers, files, plans, what-ifs"),
    SignIn("stores", STORES, ("N",), "pick, stage, issue, receive and count at depot N"),
    SignIn("stores2", SECOND, (), "the second person, who checks bags, at every depot"),
    SignIn("buyer", BUYS, (), "shortages to a reorder sheet, orders, late deliveries"),
    SignIn("crew", CREW, (), "what is in the bag, does it fit, what was installed"),
    SignIn("duty", NIGHT, (), "short bags, reserve and stand-ins at night"),
    SignIn("standards", STANDARDS, (), "rules, stand-ins, holds to release"),
    SignIn("auditor", AUDITS, (), "trace of a lot, overrides, count differences"),
    SignIn("admin", KEEPS_PEOPLE, (), "who may sign in and do what"),
)
