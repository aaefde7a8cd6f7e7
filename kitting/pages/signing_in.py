"""Sign in and out, hand a shared device to somebody else, night colours, and whether the server is up."""

from django.contrib.auth import authenticate, login, logout
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import static
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from kitting.models import Person
from kitting.pages.asked import A_YEAR, NIGHT_COOKIE, Asked, done, go_to, page
from kitting.pages.idle import kept_form, unlock
from kitting.pages.photographed import PHOTO_FIELDS
from kitting.pages.typed import NOT_TYPED
from kitting.selectors.access import access_refusal
from kitting.selectors.clock import books_now
from kitting.selectors.policies import paper_choices

_WRONG = "No active person has this name and password. After five tries there is a quarter of an hour of silence."
_NOT_THEIRS = "This PIN is not theirs, or they have none: sign in with the password."
_LOCKED = "Too many tries under this name. Wait a quarter of an hour, or ask an administrator for a new password."
_NOT_SHOWN = (*NOT_TYPED, *PHOTO_FIELDS, "gloves")


def _next(request: HttpRequest) -> str:
    """The page that was asked for before, if it is ours."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    return wanted if url_has_allowed_host_and_scheme(wanted, {request.get_host()}) else reverse("home")


def _form(request: HttpRequest, problem: str, status: int) -> HttpResponse:
    context = {"problem": problem, "next": _next(request), "demo": paper_choices()[2]}
    return render(request, "kitting/sign_in.html", context, status=status)


def sign_in(request: HttpRequest) -> HttpResponse:
    """Ask for name and password."""
    if request.method != "POST":
        return _form(request, "", 200)
    person = authenticate(request, username=request.POST.get("username", ""), password=request.POST.get("password", ""))
    if person is None:
        return _form(request, _WRONG, 401)
    no_access = access_refusal(person.actor(), books_now())
    if no_access:
        return _form(request, no_access, 403)
    login(request, person)
    unlock(request)
    return go_to(_next(request))


def turned_away(request: HttpRequest, why: str) -> HttpResponse:
    """Say to somebody whose access is over why they see nothing, where another person may sign in."""
    return _form(request, why, 403)


def locked_out(request: HttpRequest, *_: object, **__: object) -> HttpResponse:
    """Said instead of an answer once a name was mistyped too often."""
    return _form(request, _LOCKED, 429)


def sign_out(asked: Asked) -> HttpResponse:
    """End the session."""
    if asked.request.method == "POST":
        logout(asked.request)
        return go_to(reverse("sign-in"))
    return go_to(reverse("home"))


def switch(asked: Asked) -> HttpResponse:
    """Hand the device to another person by PIN; the page they look at stays, and what follows carries their name."""
    back = _next(asked.request)
    problem = ""
    if asked.request.method == "POST":
        person = authenticate(asked.request, username=asked.text("username"), pin=asked.text("pin"))
        problem = access_refusal(person.actor(), asked.at) if person is not None else _NOT_THEIRS
        if person is not None and not problem:
            login(asked.request, person)
            unlock(asked.request)
            return done(Asked(asked.request, person), "GOOD DAY", f"{person} goes on here.", back)
    people = Person.objects.filter(is_active=True).exclude(pin="").order_by("name")
    context = {"people": people, "problem": problem, "next": back}
    return page(asked, "switch.html", context, 401 if problem else 200)


def form_again(asked: Asked) -> HttpResponse:
    """The form that was sent when the device had locked itself, to be looked at and sent."""
    form = kept_form(asked.request)
    if form is None:
        return go_to(reverse("home"))
    typed = [(name.replace("_", " ").replace("-", " "), text) for name, text in form.fields
             if text and name not in _NOT_SHOWN]  # fmt: skip
    return page(asked, "kept_form.html", {"form": form, "typed": typed})


def night(asked: Asked) -> HttpResponse:
    """Dark colours for eyes that must see at night, or light ones, on this device."""
    response = go_to(_next(asked.request))
    if asked.request.method == "POST":
        dark = "no" if asked.request.COOKIES.get(NIGHT_COOKIE) == "yes" else "yes"
        response.set_cookie(NIGHT_COOKIE, dark, max_age=A_YEAR, httponly=True, samesite="Strict")
    return response


def health(request: HttpRequest) -> HttpResponse:  # noqa: ARG001 - Django gives it
    """Whether server and database answer, and nothing else."""
    try:
        connection.ensure_connection()
    except DatabaseError:
        return JsonResponse({"server": "up", "database": "down"}, status=503)
    return JsonResponse({"server": "up", "database": "up"})


def icon(request: HttpRequest) -> HttpResponse:  # noqa: ARG001 - Django gives it
    """Where the icon of the pages stands; a browser asks here beside what has no page around it, such as a paper."""
    return go_to(static("kitting/mark.svg"))
