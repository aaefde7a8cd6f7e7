"""The rights that drafts, requests and approvals need, in the words of the table of roles: the one door to it here."""

from kitting.errors import Refusal
from kitting.roles import (
    APPROVE,
    APPROVE_WITH_STANDARDS,
    APPROVE_WITHIN_LIMITS,
    ASK,
    DO,
    SEE,
    Actor,
    may,
    require,
)

STANDARDS, PLANNER, STOREKEEPER = "standards engineer", "planner", "storekeeper"
BUYER, CREW, DUTY, AUDITOR = "buyer", "crew lead", "duty supervisor", "auditor"
_STAND_IN, _RESERVE, _RELEASE = "approve a stand-in", "release reserve", "release a lot"


def role_of(actor: Actor, *among: str) -> str:
    """The first of these roles that a person has; '' for none."""
    return next((role for role in among if role in actor.roles), "")


def need_draft_rules(actor: Actor) -> None:
    """Refuse who may not draft rules."""
    require(actor, "rules draft", DO)


def need_see_rules(actor: Actor) -> None:
    """Refuse who may not look at drafts."""
    require(actor, "rules draft", SEE)


def need_publish_rules(actor: Actor) -> None:
    """Refuse who may neither review nor publish rules."""
    require(actor, "rules publish", APPROVE)


def need_keep_items(actor: Actor) -> None:
    """Refuse who may not change items."""
    require(actor, "items", DO)


def need_pin(actor: Actor) -> None:
    """Refuse who may not pin."""
    require(actor, "job dates and pins", DO)


def need_ask_stand_in(actor: Actor) -> None:
    """Refuse who may not ask for a stand-in."""
    require(actor, _STAND_IN, ASK)


def need_see_stand_in(actor: Actor) -> None:
    """Refuse who may not look at the facts of a stand-in."""
    require(actor, _STAND_IN, SEE)


def need_approve_stand_in(actor: Actor) -> None:
    """Refuse who may not approve any stand-in."""
    require(actor, _STAND_IN, APPROVE)


def need_decide_stand_in(actor: Actor) -> bool:
    """Refuse who may decide about no stand-in at all; True for who may only within listed limits."""
    if may(actor, _STAND_IN, APPROVE):
        return False
    require(actor, _STAND_IN, APPROVE_WITHIN_LIMITS)
    return True


def need_ask_reserve(actor: Actor, depot: str) -> None:
    """Refuse who may not ask for the reserve of a depot."""
    require(actor, _RESERVE, ASK)
    _need_depot(actor, depot)


def need_release_reserve(actor: Actor, depot: str) -> None:
    """Refuse who may not open the reserve of a depot."""
    require(actor, _RESERVE, APPROVE)
    _need_depot(actor, depot)


def signing_role(actor: Actor) -> str:
    """The role in which a person signs that a lot is good, standards first; refuses who may not.

    Raises:
        Refusal: ``not-allowed``.
    """
    if may(actor, _RELEASE, APPROVE):
        return STANDARDS
    require(actor, _RELEASE, APPROVE_WITH_STANDARDS)
    return AUDITOR


def _need_depot(actor: Actor, depot: str) -> None:
    if actor.depots and depot not in actor.depots:
        message = f"{actor.name} acts for {', '.join(sorted(actor.depots))}, not for {depot}."
        raise Refusal("not-allowed", message, {"depot": depot})
