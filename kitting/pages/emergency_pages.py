"""An emergency in three taps: the place, what has failed, and open it with what it needs and where that can be had."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot
from jobs.models import CableType, Structure, System
from kitting.errors import Refusal
from kitting.models import Bag
from kitting.pages.asked import ANY_REFUSAL, Asked, attempt, loud, page
from kitting.pages.bag_forms import Field, quantity
from kitting.pages.source_tables import source_table
from kitting.pages.tables import Cell, Table, link
from kitting.pages.typed import back_with_typed
from kitting.roles import DO
from kitting.selectors.bag_contents import bare, label_code
from kitting.selectors.emergencies import next_number, open_emergencies, place_named, positions_at, refuse_unknown
from kitting.selectors.failed_parts import FAILED, SPLICE, Suggested, Suggestion, suggest
from kitting.services.emergency import open_emergency

_MOST_PLACES = 300  # offered while a place is typed
_MORE = 2  # lines for what the rules do not know
_NAMED = 2  # places named before the whole list
NOBODY_KNOWS = "nobody knows"


@dataclass(frozen=True, slots=True)
class Asking:
    """What was said so far: where, what has failed, whose stores build the bag."""

    structure: str
    position: str
    failed: str
    depot: str
    system: str
    cable_type: str
    phases: str

    @property
    def where(self) -> str:
        """The place in words."""
        return "-".join(filter(None, (self.structure, self.position)))

    def suggested(self, asked: Asked) -> Suggestion:
        """What would put it right.

        Raises:
            Refusal: as ``suggest``; ``unknown-structure`` where no place along a cable is meant.
        """
        if self.failed != SPLICE:
            refuse_unknown(self.structure)
        return suggest(
            structure=self.structure, position=self.position, failed=self.failed, depot=self.depot, on=asked.today,
            system=self.system, cable_type=self.cable_type, phases=self.phases.upper(),
        )  # fmt: skip


def emergency(asked: Asked) -> HttpResponse:
    """Ask for the place and what has failed, show what it needs, and open it."""
    asking = _asking(asked)
    if asked.request.method == "POST":
        return _open(asked, asking)
    context: dict[str, object] = {
        "asking": asking, "kinds": [*FAILED], "fields": _fields(asking), "known": _places(),
        "open": _open_ones(asked), "may_open": asked.actor.may("bags", DO, asking.depot),
    }  # fmt: skip
    if asking.structure and asking.failed:
        context |= _answer(asked, asking)
    return page(asked, "emergency.html", context)


def _asking(asked: Asked) -> Asking:
    structure, position = place_named(asked.text("place"))
    depots = [*Depot.objects.order_by("depot").values_list("depot", flat=True)]
    depot = asked.text("depot") or next(iter([*sorted(asked.actor.depots), *depots]), "")
    names = ("failed", "system", "cable_type", "phases")
    failed, system, cable, phases = (asked.text(name) for name in names)
    return Asking(structure, position, failed, depot, system, cable, phases)


def _places() -> list[str]:
    return [*Structure.objects.order_by("structure").values_list("structure", flat=True)[:_MOST_PLACES]]


def _fields(asking: Asking) -> list[Field]:
    """What may be said besides: whose stores, and what the books do not know."""
    depots = [(one.depot, f"{one.depot} {one.name}") for one in Depot.objects.order_by("depot")]
    systems = [("", NOBODY_KNOWS), *((one, one) for one in _names(System, "system"))]
    cables = [("", "as the books say"), *((one, one) for one in _names(CableType, "cable_type"))]
    return [
        Field("depot", "Stores that build the bag", asking.depot, options=depots),
        Field("system", "System", asking.system, options=systems, required=False),
        Field("cable_type", "Cable type", asking.cable_type, options=cables, required=False),
        Field("phases", "Phases, all without", asking.phases, required=False),
    ]


def _names(of: type[System | CableType], name: str) -> list[str]:
    return [*of.objects.order_by(name).values_list(name, flat=True)]


def _open_ones(asked: Asked) -> Table:
    rows = [
        [link(one, "bag", label_code(one), note=one.job.title), Cell(one.depot), Cell(one.job.cutover), Cell(one.state)]
        for one in open_emergencies(asked.actor.depots)
    ]
    return Table("Open now", ("Bag", "Depot", "Since", "State"), rows, "No emergency is open.")


def _answer(asked: Asked, asking: Asking) -> dict[str, object]:
    """What it needs, with the sources of each; where that can't be said, why, and lines to type into."""
    choices, found, problem = [], None, None
    if not asking.position and asking.failed != SPLICE:
        choices = positions_at(asking.structure)
    if not choices:
        try:
            found = asking.suggested(asked)
        except ANY_REFUSAL as refusal:
            problem = loud(refusal)
    return {
        "choices": [(one, _address(asking, one)) for one in choices], "problem": problem,
        "found": found, "lines": _lines(asked, found.lines if found else ()),
        "more": [(f"{number}", asked.text(f"code-m{number}"), asked.text(f"quantity-m{number}"))
                 for number in range(1, _MORE + 1)],
        "number": next_number(), "why": asked.text("why") or f"{asking.failed} failed at {asking.where}",
    }  # fmt: skip


def _address(asking: Asking, position: str) -> str:
    told = {"place": f"{asking.structure}-{position}", "failed": asking.failed, "depot": asking.depot,
            "system": asking.system, "cable_type": asking.cable_type, "phases": asking.phases}  # fmt: skip
    return f"{reverse('emergency')}?{urlencode({name: text for name, text in told.items() if text})}"


def _lines(asked: Asked, suggested: Sequence[Suggested]) -> list[dict[str, object]]:
    """Each part: the codes that serve, how many, and where the first code can be had, in the order of taking."""
    return [
        {
            "number": number, "part": one, "code": asked.text(f"code-{number}") or one.stock_code,
            "pieces": asked.text(f"quantity-{number}") or bare(one.quantity),
            "first": [source.sentence for source in one.sources[one.stock_code][:_NAMED]],
            "more": max(len(one.sources[one.stock_code]) - _NAMED, 0),
            "table": source_table(f"Where {one.stock_code} is, first to be taken first",
                                  one.sources[one.stock_code], asked.today),
            "enough": sum(source.free for source in one.sources[one.stock_code]) >= one.quantity,
        }
        for number, one in enumerate(suggested, 1)
    ]  # fmt: skip


def _open(asked: Asked, asking: Asking) -> HttpResponse:
    number = asked.text("number")
    opened: list[Bag] = []

    def deed() -> tuple[str, str]:
        found = open_emergency(
            job=number, structure=asking.structure, depot=asking.depot, wanted=_wanted(asked), why=asked.text("why"),
            storm=asked.text("storm"), **asked.scan(),
        )  # fmt: skip
        opened.append(found.bag)
        return "OPEN", f"{found.bag} is open: pick what lies free; what is missing says where else it is."

    back = back_with_typed(asked, reverse("emergency"))
    answer = attempt(asked, deed, back, back=back)
    if opened:
        answer.headers["Location"] = reverse("bag", args=[label_code(opened[0])])
    return answer


def _wanted(asked: Asked) -> dict[str, int]:
    """Thousandths by stock code; what has no code, or 0 of it, is left out.

    Raises:
        Refusal: ``not-a-quantity``; ``no-place``.
    """
    if not asked.text("place"):
        raise Refusal("no-place", "WHERE: scan or type the place.", {})
    found: dict[str, int] = {}
    for name in asked.request.POST:
        head, _, number = name.partition("-")
        code, pieces = asked.text(name), asked.text(f"quantity-{number}")
        if head == "code" and code and pieces != "0":
            found[code.upper()] = found.get(code.upper(), 0) + quantity(pieces)
    return found
