"""A job on its way: its date is confirmed, its line goes back in service, and both are taken back with a reason."""

from collections.abc import Callable, Mapping

from django.http import HttpResponse
from django.urls import reverse

from jobs.models import Job
from kitting.calculation.answers import READY
from kitting.calculation.job_states import CONFIRM, DENY, ENERGISE, UNCONFIRM, allows
from kitting.models.job_steps import ENERGISED
from kitting.pages.asked import Asked, attempt
from kitting.pages.typed import back_with_typed, typed_moment
from kitting.roles import DO
from kitting.selectors.cutovers import Cutover
from kitting.services.job_steps import (
    CONFIRMS,
    ENERGISES,
    confirm_job,
    energise_job,
    take_confirmation_back,
    take_energised_back,
)

_BACK = "back"


def steps_of(asked: Asked, job: Job, state: Cutover) -> Mapping[str, object]:
    """What a person may say of a job now, and what is typed into it."""
    now, said = state.standing.state, state.standing.steps
    may_confirm, may_energise = asked.actor.may(CONFIRMS, DO), asked.actor.may(ENERGISES, DO, job.depot)
    return {
        "confirm": may_confirm and allows(now, CONFIRM) and bool(job.cutover),
        "unconfirm": may_confirm and allows(now, UNCONFIRM),
        "energise": may_energise and allows(now, ENERGISE) and ENERGISED not in said,
        "deny": may_energise and allows(now, DENY),
        "needs_reason": state.answer != READY or bool(state.changed),
        "moment": asked.text("moment") or f"{asked.at.astimezone(asked.zone):%Y-%m-%dT%H:%M}",
    }


def confirm(asked: Asked, job: str) -> HttpResponse:
    """Confirm the date of a job, or take that back."""

    def deed() -> tuple[str, str]:
        if asked.text("do") == _BACK:
            state = take_confirmation_back(job=job, actor=asked.actor, at=asked.at, why=asked.text("why"))
            return "TAKEN BACK", f"{job} is {state} again."
        return "CONFIRMED", f"{job} is {confirm_job(job=job, actor=asked.actor, at=asked.at, why=asked.text('why'))}."

    return _answered(asked, job, deed)


def energise(asked: Asked, job: str) -> HttpResponse:
    """Note when the line of a job went back in service, or take that back."""

    def deed() -> tuple[str, str]:
        if asked.text("do") == _BACK:
            take_energised_back(job=job, actor=asked.actor, at=asked.at, why=asked.text("why"))
            return "TAKEN BACK", f"The outage of {job} goes on."
        moment = typed_moment(asked, asked.text("moment")) or asked.at
        state = energise_job(job=job, actor=asked.actor, at=asked.at, happened_at=moment)
        return "ENERGISED", f"{job}: {state}. What is out of its bags is due back."

    return _answered(asked, job, deed)


def _answered(asked: Asked, job: str, deed: Callable[[], tuple[str, str]]) -> HttpResponse:
    address = reverse("job", args=[job])
    return attempt(asked, deed, address, back=back_with_typed(asked, address))
