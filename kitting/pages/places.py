"""Where a person can go from any page: what their roles let them see."""

from django.urls import reverse

from kitting.roles import SEE, Actor

# Label, name of the route, action of the table of roles that must be visible.
PLACES: tuple[tuple[str, str, str], ...] = (
    ("Today", "home", ""),
    ("Cutovers", "cutovers", "job dates"),
    ("Plan", "plans", "job dates"),
    ("Does it fit?", "fit-check", "field answers"),
    ("Reels", "reels", "reel band"),
    ("People", "people", "people"),
    ("Stock", "stock", "items"),
    ("Receive", "receive", "warehouse"),
    ("Transfers", "transfers", "warehouse"),
    ("Bags", "bags", "bags"),
)


def places(actor: Actor, here: str) -> list[dict[str, object]]:
    """The pages at the top, and on which of them one is."""
    found = [(label, reverse(name)) for label, name, sees in PLACES if not sees or actor.may(sees, SEE)]
    return [
        {"label": label, "href": href, "here": here == href or (href != "/" and here.startswith(href))}
        for label, href in found
    ]
