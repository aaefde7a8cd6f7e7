"""The rights that drafts, requests and approvals need, in the words of the table of roles: the one door to it here."""

from kitting.errors import Refusal
from kitting.models import SHORT_ISSUE, TO_BORROW
from kitting.roles import APPROVE, ASK, AUDITOR, DO, DUTY_SUPERVISOR, SEE, STANDARDS_ENGINEER, Actor, require

_RULES, _STAND_IN, _RESERVE, _HOLD = "rules", "stand-in", "reserve", "lot hold"
_EXPIRED = "expired lot"
_OF_BAG = {SHORT_ISSUE: "short bag", TO_BORROW: "staged bag"}


def role_of(actor: Actor, *among: str) -> str:
    """The first of these roles that a person has; '' for none."""
    return next((role for role in among if role in actor.roles), "")


def need_draft_rules(actor: Actor) -> None:
    """Refuse who may not draft rules."""
    require(actor, _RULES, DO)


def need_see_rules(actor: Actor) -> None:
    """Refuse who may not look at drafts."""
    require(actor, _RULES, SEE)


def need_publish_rules(actor: Actor) -> None:
    """Refuse who may neither review nor publish rules."""
    require(actor, _RULES, APPROVE)


def need_keep_items(actor: Actor) -> None:
    """Refuse who may not change items."""
    require(actor, "items", DO)


def need_pin(actor: Actor) -> None:
    """Refuse who may not pin."""
    require(actor, "job dates", DO)


def need_own_short_lines(actor: Actor) -> None:
    """Refuse who may not say who sees to a short line: buyers and planners may."""
    if not actor.may("order sheet", DO):
        require(actor, "job dates", DO)


def need_ask_stand_in(actor: Actor) -> None:
    """Refuse who may not ask for a stand-in; who approves may ask too, and then another approves."""
    if not actor.may(_STAND_IN, APPROVE):
        require(actor, _STAND_IN, ASK)


def need_see_stand_in(actor: Actor) -> None:
    """Refuse who may not look at the facts of a stand-in."""
    require(actor, _STAND_IN, SEE)


def need_decide_stand_in(actor: Actor) -> bool:
    """Refuse who may decide about no stand-in; True for who may only within the limits that standards have listed."""
    require(actor, _STAND_IN, APPROVE)
    return STANDARDS_ENGINEER not in actor.roles


def need_keep_stand_ins(actor: Actor) -> None:
    """Refuse who may not say how long stand-ins hold, and what may be approved without standards.

    Raises:
        Refusal: ``not-allowed``.
    """
    if need_decide_stand_in(actor):
        message = f"{actor.name} approves within listed limits; a {STANDARDS_ENGINEER} sets them."
        raise Refusal("not-allowed", message, {"action": _STAND_IN, "roles": [STANDARDS_ENGINEER]})


def need_ask_reserve(actor: Actor, depot: str) -> None:
    """Refuse who may not ask for the reserve of a depot; who opens it may ask too, and then another opens it."""
    if not actor.may(_RESERVE, APPROVE, depot):
        require(actor, _RESERVE, ASK, depot)


def need_release_reserve(actor: Actor, depot: str) -> None:
    """Refuse who may not open the reserve of a depot."""
    require(actor, _RESERVE, APPROVE, depot)


def bag_right(what: str) -> str:
    """The action of the table of roles that a request about a bag needs."""
    return _OF_BAG[what]


def need_ask_of_bag(actor: Actor, what: str, depot: str) -> None:
    """Refuse who may not ask that a bag goes out short, or lends; who lets it may ask too, and then another decides."""
    if not actor.may(_OF_BAG[what], APPROVE, depot):
        require(actor, _OF_BAG[what], ASK, depot)


def need_let_bag(actor: Actor, what: str, depot: str) -> None:
    """Refuse who may not let a bag of a depot go out short, or lend."""
    require(actor, _OF_BAG[what], APPROVE, depot)


def signing_of_expired(actor: Actor) -> str:
    """The role in which a person signs that a lot is used past its date, standards first; refuses who may not.

    Raises:
        Refusal: ``not-allowed``.
    """
    require(actor, _EXPIRED, APPROVE)
    return role_of(actor, STANDARDS_ENGINEER, DUTY_SUPERVISOR)


def signing_role(actor: Actor) -> str:
    """The role in which a person signs that a lot is good, standards first; refuses who may not.

    Raises:
        Refusal: ``not-allowed``.
    """
    require(actor, _HOLD, APPROVE)
    return role_of(actor, STANDARDS_ENGINEER, AUDITOR)
