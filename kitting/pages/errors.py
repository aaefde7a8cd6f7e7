"""Pages for what goes wrong: in words, with the way out, and nothing of the machine."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def _plain(request: HttpRequest, title: str, sentence: str, status: int) -> HttpResponse:
    return render(request, "kitting/plain.html", {"title": title, "sentence": sentence}, status=status)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001 - Django names it
    """No such page."""
    return _plain(request, "Not here", "No page has this address. It may have been typed wrong.", 404)


def refused_request(request: HttpRequest, exception: Exception) -> HttpResponse:  # noqa: ARG001 - Django names it
    """Something was sent that no page of ours sends."""
    return _plain(request, "Not understood", "The server can't read what was sent. Go back and try again.", 400)


def out_of_date_form(request: HttpRequest, reason: str = "") -> HttpResponse:  # noqa: ARG001 - Django names it
    """A form was sent that is not this session's."""
    sentence = (
        "This form is out of date, because somebody signed in or out since. Open the page again; nothing is lost."
    )
    return _plain(request, "Open it again", sentence, 403)


def failed(request: HttpRequest) -> HttpResponse:
    """A fault of ours."""
    sentence = "The server made a mistake, and nothing was changed. Tell the administrator when it happened."
    return _plain(request, "Our mistake", sentence, 500)
