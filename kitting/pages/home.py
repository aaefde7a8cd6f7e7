"""The first page: what there is to do today for whoever is signed in; and the list of all pages they may see."""

from django.http import HttpResponse
from django.urls import reverse

from kitting.pages.asked import Asked, page
from kitting.pages.keys import keys_for
from kitting.pages.places import PLACES, all_places
from kitting.pages.tables import Table, link
from kitting.pages.tasks_today import tasks_for
from kitting.roles import DO, SEE

# Pages that somebody needs at once, without a task that waits: the right and its level.
_DOORS = {
    "emergency": ("bags", DO),
    "carried": ("turn in", DO),
    "fit-check": ("field answers", SEE),
    "where": ("field answers", SEE),
}


def home(asked: Asked) -> HttpResponse:
    """Tasks by what the person may do."""
    doors = [
        (one.label, reverse(one.route)) for one in PLACES if one.route in _DOORS and asked.actor.may(*_DOORS[one.route])
    ]
    turns_in = asked.actor.may("turn in", DO) and not asked.actor.may("bags", SEE)  # else the bags are its tasks
    return page(asked, "home.html", {"tasks": tasks_for(asked), "doors": doors, "turns_in": turns_in})


def more(asked: Asked) -> HttpResponse:
    """Every page that the person may see, and what it is for; what the keys do for them."""
    rows = [[link(one.label, one.route), one.purpose] for one in all_places(asked.actor)]
    keys = [[one.keys, one.does] for one in keys_for(asked.actor)]
    tables = [
        Table("All pages", ("Page", "What for"), rows, "There is none for you."),
        Table("With the keys alone", ("Keys", "What they do"), keys, ""),
    ]
    return page(asked, "more.html", {"tables": tables})
