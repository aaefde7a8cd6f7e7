"""Photographs and drawings of positions, bags, ends and failures: shown, kept, taken away, sent to who may see them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from urllib.parse import urlencode

from django.http import HttpResponse, HttpResponseNotModified
from django.urls import reverse

from kitting.errors import Refusal
from kitting.models import Bag, Picture
from kitting.models.pictures import AS_INSTALLED, AT_POSITION, JPEG, OF_BAG, OF_FAILURE, PDF
from kitting.pages.asked import Asked, attempt, go_to, page
from kitting.pages.bag_forms import of_bag
from kitting.pages.typed import back_with_typed
from kitting.roles import DO, SEE
from kitting.selectors.bag_contents import bag_by_code, label_code
from kitting.selectors.failures import failure_by_number
from kitting.selectors.job_sheet import job_by_number
from kitting.selectors.pictures import PlaceKey, pictures_at, pictures_of_bag, positions_of, shown_picture
from kitting.services.picture_files import PictureFile, check_size, read_picture
from kitting.services.pictures import (
    RIGHTS,
    picture_bag,
    picture_end,
    picture_failure,
    picture_position,
    take_picture_away,
)

_KEEP = "no-cache, private"  # asked for again each time, because rights may have gone; the content is not sent again
_AWAY, _SMALL = "away", "small"
Keep = Callable[[PictureFile], Picture]


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture on a page: where it is sent from, and what it shows in words."""

    picture: Picture
    href: str
    caption: str

    @property
    def small(self) -> str:
        """Where the same comes from to look over."""
        return f"{self.href}?size={_SMALL}"


def pictures_shown(asked: Asked, found: Sequence[Picture], *, of_job: str = "") -> list[Shown]:
    """Pictures for a page; those that came with another job than its own say so."""
    return [Shown(one, _address(one), _caption(asked, one, of_job)) for one in found]


def _address(one: Picture) -> str:
    if one.bag:
        return reverse("bag-picture", args=[label_code(one.bag), one.pk])
    if one.shows == OF_FAILURE:
        return reverse("failure-picture", args=[one.failure_id, one.pk])
    if one.shows == AT_POSITION and one.job:
        return reverse("position-picture", args=[one.job.job, one.pk])
    return reverse("end-picture", args=[one.pk])


def _caption(asked: Asked, one: Picture, of_job: str) -> str:
    kept = f"{one.at.astimezone(asked.zone):%Y-%m-%d}"
    other = "" if one.bag or not one.job or one.job.job == of_job else f"with {one.job.job}"
    return " · ".join(filter(None, (f"picture {one.pk}", one.note, kept, other)))


def may_picture(asked: Asked, shows: str, depot: str) -> bool:
    """Whether this person may keep and take away pictures of this kind at a depot."""
    return asked.actor.may(RIGHTS[shows], DO, depot)


def may_see_pictures(asked: Asked, shows: str) -> bool:
    """Whether this person may see pictures of this kind."""
    return asked.actor.may(RIGHTS[shows], SEE)


def places_pictured(asked: Asked, job: str, places: Sequence[PlaceKey]) -> list[tuple[str, list[Shown]]]:
    """The positions that have pictures, by name; nothing for whoever may not see them."""
    if not may_see_pictures(asked, AT_POSITION):
        return []
    found = pictures_at(places)
    return [("-".join(place), pictures_shown(asked, of, of_job=job)) for place, of in found.items()]


def job_pictures(asked: Asked, job: str) -> HttpResponse:
    """Pictures of all positions of a job; a form keeps another one."""
    found = job_by_number(job)
    places = positions_of(found)
    if asked.request.method == "POST":
        named = next((place for place in places if "-".join(place) == asked.text("place")), ("", asked.text("place")))
        where = dict(zip(("structure", "position"), named, strict=True))
        return _act(
            asked, partial(_keep_of, asked, picture_position, {"job": job, **where}), _here(asked), drawings=True
        )
    context = {
        "job": found, "positions": ["-".join(place) for place in places], "place": asked.text("place"),
        "pictured": places_pictured(asked, job, places), "may_picture": may_picture(asked, AT_POSITION, found.depot),
    }  # fmt: skip
    return page(asked, "job_pictures.html", context)


def _here(asked: Asked) -> str:
    place = asked.text("place")
    return f"{asked.request.path}?{urlencode({'place': place})}" if place else asked.request.path


@of_bag
def bag_pictures(asked: Asked, one: Bag) -> HttpResponse:
    """Photographs of a bag as it was laid out; a form keeps another one."""
    code = label_code(one)
    if asked.request.method == "POST":
        return _act(asked, partial(_keep_of, asked, picture_bag, {"bag": code}), _here(asked))
    context = {"bag": one, "code": code, "pictures": pictures_shown(asked, pictures_of_bag(one)),
               "may_picture": may_picture(asked, OF_BAG, one.depot.depot)}  # fmt: skip
    return page(asked, "bag_pictures.html", context)


def end_pictures(asked: Asked) -> HttpResponse:
    """Keep a photograph of an end as it was left, or take one away; they stand on the page of the end."""
    where = {name: asked.text(name) for name in ("structure", "position")}
    return _act(asked, partial(_keep_of, asked, picture_end, where), f"{reverse('ends')}?{urlencode(where)}")


def failure_pictures(asked: Asked, number: int) -> HttpResponse:
    """Keep a photograph of what failed, or take one away; they stand on the page of the report."""
    of = {"failure": failure_by_number(asked.actor, number)}
    return _act(asked, partial(_keep_of, asked, picture_failure, of), reverse("failure", args=[number]))


def _keep_of(asked: Asked, keep: Callable[..., Picture], of: Mapping[str, object], picture: PictureFile) -> Picture:
    return keep(**of, picture=picture, note=asked.text("note"), **asked.scan())


def _act(asked: Asked, keep: Keep, address: str, *, drawings: bool = False) -> HttpResponse:
    if asked.request.method != "POST":
        return go_to(address)

    def kept() -> tuple[str, str]:
        one = keep(picture_sent(asked, drawings=drawings))
        return "KEPT", f"Picture {one.pk} is kept, without the place and time that the camera wrote in it."

    def away() -> tuple[str, str]:
        number = asked.number("number")
        take_picture_away(number=number, why=asked.text("why"), **asked.scan())
        return "TAKEN AWAY", f"Picture {number} is shown nowhere any more."

    back = back_with_typed(asked, address.partition("?")[0])
    return attempt(asked, away if asked.text("do") == _AWAY else kept, address, back=back)


def picture_sent(asked: Asked, *, drawings: bool = False) -> PictureFile:
    """The picture of the form, from the camera or from the files of the device.

    Raises:
        Refusal: ``no-picture``; what ``read_picture`` refuses.
    """
    sent = [one for one in asked.request.FILES.getlist("picture") if one.size]
    if not sent:
        raise Refusal("no-picture", "NO PICTURE: take a photograph or choose a file.", {})
    name = str(sent[0].name)
    check_size(name, sent[0].size or 0)
    return read_picture(name, sent[0].read(), drawings=drawings)


def position_picture(asked: Asked, job: str, number: int) -> HttpResponse:
    """One picture of a position."""
    return _answer(asked, shown_picture(AT_POSITION, number, job__job=job))


def bag_picture(asked: Asked, code: str, number: int) -> HttpResponse:
    """One photograph of a bag."""
    return _answer(asked, shown_picture(OF_BAG, number, bag=bag_by_code(code)))


def end_picture(asked: Asked, number: int) -> HttpResponse:
    """One photograph of an end."""
    return _answer(asked, shown_picture(AS_INSTALLED, number))


def failure_picture(asked: Asked, number: int, picture: int) -> HttpResponse:
    """One photograph of a failure."""
    return _answer(asked, shown_picture(OF_FAILURE, picture, failure=failure_by_number(asked.actor, number)))


_ENDINGS: Mapping[str, str] = {JPEG: "jpg", PDF: "pdf"}


def _answer(asked: Asked, one: Picture) -> HttpResponse:
    """Its bytes as what they were found to be, and never as anything else; a PDF is a file to open beside the page."""
    is_small = one.is_drawn and asked.text("size") == _SMALL
    tag = f'"{one.digest}{"-small" * is_small}"'
    known = asked.request.headers.get("If-None-Match") == tag
    answer = HttpResponseNotModified() if known else HttpResponse(bytes(one.small if is_small else one.content))
    if not known:
        answer.headers["Content-Type"] = JPEG if is_small else one.media_type
        name = f"picture-{one.pk}.{'jpg' if is_small else _ENDINGS.get(one.media_type, 'png')}"
        answer.headers["Content-Disposition"] = f'{"inline" if one.is_drawn else "attachment"}; filename="{name}"'
    answer.headers["ETag"], answer.headers["Cache-Control"] = tag, _KEEP
    answer.headers["X-Content-Type-Options"] = "nosniff"
    answer.headers["Cross-Origin-Resource-Policy"] = "same-origin"
    return answer
