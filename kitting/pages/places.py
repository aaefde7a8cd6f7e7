"""Where a person can go from any page: first what they act on, and behind "More" what they may look at."""

from typing import NamedTuple

from django.urls import reverse

from kitting.roles import LEVELS, SEE, Actor


class Place(NamedTuple):
    """A page that stands on the list: its label, its route, the right that it needs to be seen, and what it is for.

    One that is not ``at_top`` is found behind "More" even by who acts on it; the right
    ``or_sees`` will do as well.
    """

    label: str
    route: str
    sees: str
    purpose: str
    or_sees: str = ""
    at_top: bool = True


PLACES = (
    Place("Cutovers", "cutovers", "job dates", "jobs by week: how ready they are and what limits them"),
    Place("Plan", "plans", "job dates", "plan again, look at a plan, apply it; what would be if"),
    Place("Files", "files", "sheets", "send cable schedules and other sheets, and answer their questions"),
    Place("Bags", "bags", "bags", "bags of a depot: pick, check, stage, issue, take back"),
    Place(
        "Without a signal", "carried", "turn in", "bags and counts on this device, and scans sent later", at_top=False
    ),
    Place("Emergency", "emergency", "bags", "something has failed: what it needs, where that is, and its bag at once"),
    Place("Storm", "storms", "storm", "ask for one or open it, what keeps it open, how fast pieces go, what it used"),
    Place("Pre-made kits", "premade", "bags", "kits built ahead for standard locations: build, rework, give"),
    Place("Recipes", "recipes", "rules", "what the rules make of standard locations, for kits that are built ahead"),
    Place("Receive", "receive", "warehouse", "what suppliers bring: count it in two units"),
    Place("Transfers", "transfers", "warehouse", "load a van, count one out, settle differences"),
    Place("Trucks", "trucks", "truck stock", "what each truck is to carry, what is on it, restock it, turn in from it"),
    Place(
        "Reserve",
        "reserves",
        "reserve",
        "what lies in reserve, its floor and cover; swap old pieces for fresh ones",
        at_top=False,
    ),
    Place(
        "Loans", "loans", "loan", "what is lent to neighbours or borrowed from them, and what is overdue", at_top=False
    ),
    Place("Counts", "counts", "count", "count a few places blind, settle what differs, how accurate the books are"),
    Place("Buying", "buying", "order sheet", "what to order from whom, in the units they sell; sheets that were sent"),
    Place("On order", "orders", "order sheet", "when it comes, who waits for it, what has come and who got it"),
    Place("Stock", "stock", "items", "find items by what they must fit; lots by date; who wants them"),
    Place("Does it fit?", "fit-check", "field answers", "a part and a gauge reading: fits, measure, does not fit"),
    Place("Where is one?", "where", "field answers", "the nearest pieces: depots, trucks, reserves, bags; last seen"),
    Place("Reels", "reels", "reel band", "the cable that is really pulled, and what was measured on it"),
    Place("Missing facts", "questions", "schedule", "what the plan applied last could not tell"),
    Place("Papers", "papers", "job dates", "pick lists, labels, night cards, shortage report"),
    Place(
        "To approve", "to-approve", "stand-in", "what one person asks and another decides; ask here too", "short bag"
    ),
    Place("Pins", "pins", "job dates", "pieces pinned to lines: who, why, since when; take a pin away", at_top=False),
    Place("Borrows", "borrows", "staged bag", "what staged bags have lent, why, what won't come back", at_top=False),
    Place("Exceptions", "exceptions", "trace", "overrides, unpaid borrows, unbalanced bags, scans for a person"),
    Place("Ends", "ends", "as-installed", "what is on each end, from which lot, what was there before", at_top=False),
    Place("Failures", "failures", "failure", "what failed on the line, where, and how many of each lot", at_top=False),
    Place("Stock as it was", "stock-then", "trace", "what lay at a depot at a past moment", at_top=False),
    Place("Record", "record", "trace", "all that was done, by whom and when, never changed"),
    Place("People", "people", "people", "who may sign in and do what"),
    Place(
        "This device",
        "device",
        "people",
        "name it, so that the record knows it; what devices carry and when they were heard",
        at_top=False,
    ),
)


def places(actor: Actor, here: str) -> list[dict[str, object]]:
    """The pages at the top, and on which of them one is."""
    more = [level for level in LEVELS if level != SEE]
    acting = [one for one in PLACES if one.at_top and any(_may(actor, one, level) for level in more)]
    found = [
        ("Today", reverse("home")),
        *((one.label, reverse(one.route)) for one in acting),
        ("More", reverse("more")),
    ]
    return [
        {"label": label, "href": href, "here": here == href or (href != "/" and here.startswith(href))}
        for label, href in found
    ]


def all_places(actor: Actor) -> list[Place]:
    """Every page on the list that a person may see."""
    return [one for one in PLACES if _may(actor, one, SEE)]


def _may(actor: Actor, one: Place, level: str) -> bool:
    return actor.may(one.sees, level) or bool(one.or_sees and actor.may(one.or_sees, level))
