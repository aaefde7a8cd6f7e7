"""The first page: what there is to do today for whoever is signed in."""

from django.http import HttpResponse

from kitting.pages.asked import Asked, page
from kitting.pages.tasks_today import tasks_for


def home(asked: Asked) -> HttpResponse:
    """Tasks by what the person may do."""
    return page(asked, "home.html", {"tasks": tasks_for(asked)})
