"""Start a job's schedule from a standard location: a few names, and the sheets are there to be looked at and stored."""

import re
import tempfile
from pathlib import Path

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot
from jobs.models import System
from kitting.errands.keeping import packed_files
from kitting.errands.loading import LOOK
from kitting.models import Recipe
from kitting.pages.asked import ANY_REFUSAL, Asked, page, refused
from kitting.pages.bag_forms import Field
from kitting.pages.planning_pages import ask
from kitting.pages.typed import back_with_typed
from kitting.selectors.standard_schedules import Start, schedule_from
from kitting.spreadsheets.raw_writing import write_raw_book

_TYPED = ("job", "system", "recipe", "begin", "end", "title", "depot", "cutover")


def start_schedule(asked: Asked) -> HttpResponse:
    """Job, recipe and the structures in the order of the cable; what comes of it is read as a file is."""
    here = reverse("start-schedule")
    if asked.request.method != "POST":
        recipes = Recipe.objects.select_related("system").order_by("name")
        context = {"fields": _fields(asked, recipes), "more": _of_new_job(asked), "recipes": recipes}
        return page(asked, "start_schedule.html", context)
    names = [name for name in re.split(r"[,;\s]+", asked.text("structures")) if name]
    start = Start(structures=names, **{name: asked.text(name) for name in _TYPED})
    try:
        made = schedule_from(start, today=asked.today)
    except ANY_REFUSAL as refusal:
        return refused(asked, refusal, back_with_typed(asked, here))
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "sheets"
        write_raw_book(made, place)
        files = packed_files((one.name, one.read_bytes()) for one in sorted(place.iterdir()))
    return ask(asked, LOOK, {"answers": []}, file_name=f"{start.job} from {start.recipe}", file=files)


def _fields(asked: Asked, recipes: object) -> list[Field]:
    systems = System.objects.order_by("system").values_list("system", flat=True)
    told = [(one.name, f"{one}: {one.location} on {one.system.system}") for one in recipes]  # type: ignore[attr-defined]
    return [
        Field("job", "Job", asked.text("job")),
        Field("system", "System", asked.text("system"), options=[(one, one) for one in systems]),
        Field("recipe", "Recipe", asked.text("recipe"), options=told),
        Field("structures", "New structures, in the order of the cable", asked.text("structures"),
              note="such as P1, P2, P3, P4"),
        Field("begin", "The cable comes from", asked.text("begin"), required=False,
              note="a position on the books, as structure/position; blank: the first structure's is unused"),
        Field("end", "It goes on to", asked.text("end"), required=False,
              note="as above; blank: the last structure's is unused"),
    ]  # fmt: skip


def _of_new_job(asked: Asked) -> list[Field]:
    depots = [("", "–"), *((one, one) for one in Depot.objects.order_by("depot").values_list("depot", flat=True))]
    return [
        Field("title", "Title", asked.text("title"), required=False),
        Field("depot", "Home depot", asked.text("depot"), required=False, options=depots),
        Field("cutover", "Cutover", asked.text("cutover"), required=False,
              note="as 2026-04-25 06:00; may follow later"),
    ]  # fmt: skip
