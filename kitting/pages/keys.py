"""What the keys do on the pages, for whoever has no mouse in hand: each role is told those of what it does."""

from typing import NamedTuple

from kitting.roles import APPROVE, DO, Actor

_SCANS = ("bags", "turn in", "warehouse", "count", "truck stock", "as-installed")
_DECIDES = ("stand-in", "reserve", "short bag", "staged bag", "lot hold", "expired lot", "count", "storm")


class Key(NamedTuple):
    """Keys, what they do, and who is told: who may do, or decide, one of these actions; blank: everybody."""

    keys: str
    does: str
    level: str = ""
    actions: tuple[str, ...] = ()


KEYS = (
    Key("Tab, Shift and Tab", "go to the next thing that can be acted on, or back; a thick ring stands around it"),
    Key("Tab, then Enter, on a new page", "past the list of pages: To the content"),
    Key("Enter", "follows a link, presses a button, opens what is folded in"),
    Key("Space", "ticks a box, presses a button"),
    Key("Arrow keys", "choose from a list; its first letters do as well"),
    Key("Enter in a field", "presses the first button of its form"),
    Key("A scanner", "types the code and presses Enter; a page for scanning opens with the cursor in its field", DO,
        _SCANS),
    Key("Enter in the day of an outage", "asks what would change; it saves nothing", DO, ("job dates",)),
    Key("Space on a supplier", "chooses whom to order from; Enter on the button below sends it", DO, ("order sheet",)),
    Key("Enter in a reason", "decides by the button below it: what you looked at approves, why not refuses", APPROVE,
        _DECIDES),
)  # fmt: skip


def keys_for(actor: Actor) -> list[Key]:
    """The keys that a person is told of."""
    return [one for one in KEYS if not one.level or any(actor.may(action, one.level) for action in one.actions)]
