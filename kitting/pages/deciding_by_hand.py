"""What a planner decides by hand: pins of pieces to lines, and that a job is cancelled or done."""

from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from inventory.errors import Doubt
from jobs.models import CANCELLED, COMPLETE
from kitting.errands.pinning import PIN
from kitting.models import Bag, Errand, Pin
from kitting.pages.asked import Asked, attempt, done, page, questions_of
from kitting.pages.planning_pages import AGAIN, RESULTS, ask
from kitting.pages.typed import back_with_typed
from kitting.selectors.bag_contents import is_out
from kitting.selectors.job_sheet import job_by_number, line_of
from kitting.services.end_jobs import cancel_job, complete_job

_ASKED = ("stock_code", "quantity", "lot", "depot", "reason")


def _line_address(job: str, line: str) -> str:
    return f"{reverse('line', args=[job])}?{urlencode({'line': line})}"


def pin_page(asked: Asked, job: str) -> HttpResponse:
    """Pin pieces to a line of a job; the planner sees first who would go short by it."""
    name = asked.text("line")
    line = line_of(job, name)
    if asked.request.method == "POST":
        given = {"job": job, "line": name, **{field: asked.text(field) for field in _ASKED}}
        return ask(asked, PIN, {**given, "confirmed": list(asked.confirmed)})
    pins = Pin.objects.filter(job__job=job, line=name).select_related("item", "depot").order_by("pk")
    known = {field: asked.text(field) for field in _ASKED}
    return page(asked, "pin.html", {"line": line, "pins": pins, "known": known})


def _pin_result(asked: Asked, errand: Errand) -> HttpResponse:
    given, questions = errand.given, errand.result["questions"]
    address = reverse("pin", args=[given["job"]])
    if questions:
        questions = questions_of(Doubt("to-confirm", "", {"questions": questions}))
        kept = [(name, given[name]) for name in ("line", *_ASKED)]
        context = {
            "questions": questions,
            "kept": kept,
            "to": address,
            "back": _line_address(given["job"], given["line"]),
        }
        return page(asked, "confirm.html", context)
    sentence = f"{given['quantity']} {given['stock_code']} for {given['line']}. Plan and apply, so that it holds."
    return done(asked, "PINNED", sentence, _line_address(given["job"], given["line"]))


def _pin_again(errand: Errand) -> str:
    typed = {name: errand.given[name] for name in ("line", *_ASKED)}
    return reverse("pin", args=[errand.given["job"]], query=typed)


def end_job(asked: Asked, job: str) -> HttpResponse:
    """Say that a job is cancelled, with the reason, or done; what was promised to it is free."""
    found = job_by_number(job)
    if asked.request.method == "POST":
        back = back_with_typed(asked, reverse("end-job", args=[job]))
        return attempt(asked, lambda: _ended(asked, job), reverse("job", args=[job]), back=back)
    out = [str(bag) for bag in Bag.objects.filter(job=found).select_related("job").order_by("number") if is_out(bag)]
    return page(asked, "end_job.html", {"job": found, "out": out, "is_over": found.ended in (CANCELLED, COMPLETE)})


def _ended(asked: Asked, job: str) -> tuple[str, str]:
    if asked.text("how") == "complete":
        released = complete_job(job=job, by=asked.actor.name, at=asked.at)
        return "COMPLETE", f"{job} is done; {released} promises are released."
    released = cancel_job(job=job, why=asked.text("why"), by=asked.actor.name, at=asked.at)
    return "CANCELLED", f"{job} is cancelled; {released} promises are released. Bags with pieces are emptied by scan."


RESULTS[PIN], AGAIN[PIN] = _pin_result, _pin_again
