"""A job's first schedule made of a recipe: the sheets that a planner would else type, to be looked at and stored."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from jobs.models import Job, Position, Structure
from kitting.calculation.sheets.all_sheets import SHEETS
from kitting.calculation.sheets.raw import RawBook, RawSheet, raw_book, raw_sheet
from kitting.calculation.standard_runs import Row, Spot, chain
from kitting.errors import Refusal
from kitting.models import Recipe
from kitting.selectors.bag_contents import live_letter
from kitting.selectors.premade_kits import recipe_by_name
from kitting.selectors.sheets import sheets_to_check_from_records


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """What a planner says.

    Args:
        job: its number; ``title``, ``depot`` and ``cutover`` (local, or '') are for one that is not on the books.
        system: on which it is.
        recipe: whose standard location the structures are.
        structures: new ones, in the order of the cable.
        begin, end: ``structure/position`` on the books from which the chain comes and to which it goes, or ''.
    """

    job: str
    system: str
    recipe: str
    structures: Sequence[str]
    begin: str = ""
    end: str = ""
    title: str = ""
    depot: str = ""
    cutover: str = ""


def schedule_from(start: Start, *, today: date) -> RawBook:
    """The sheets positions and schedule, and jobs where the job is new; nothing is stored.

    Raises:
        Refusal: ``unknown-recipe``; ``recipe-not-live``: by the rules there is none such any more; ``other-system``;
            both name the recipes that are live for the system; ``no-job``; ``has-schedule``; ``structure-known``;
            ``unknown-position``; as ``chain``.
    """
    recipe = recipe_by_name(start.recipe)
    _refuse_recipe(recipe, start.system, today)
    sheets = [] if _job(start) else [_sheet("jobs", [_new_job(start)])]
    known = Structure.objects.filter(structure__in=start.structures).values_list("structure", flat=True)
    if known:
        message = f"{', '.join(known)} is on the books already: name new structures, or send the schedule as a file."
        raise Refusal("structure-known", message, {"structures": [*known]})
    begin, end = (_spot(text) for text in (start.begin, start.end))
    made = chain(recipe.location, start.structures, interface=recipe.interface, begin=begin, end=end)
    facts = {"job": start.job, "system": start.system, "cable_type": recipe.cable_type.cable_type}
    standing = _standing([spot for spot in (begin, end) if spot])
    positions = [*(dict(zip(_fields("positions"), row, strict=True)) for row in standing), *made.positions]
    sheets += [_sheet("positions", positions), _sheet("schedule", [{**facts, **run} for run in made.runs])]
    return raw_book(sheets)


def _refuse_recipe(recipe: Recipe, system: str, today: date) -> None:
    is_live = not recipe.why_open and not recipe.is_due(today)
    if is_live and recipe.system.system == system:
        return
    live = Recipe.objects.filter(system__system=system, why_open="").exclude(to_come_on__lte=today).order_by("name")
    named = ", ".join(f"{one} ({one.location})" for one in live) or "none"
    if not is_live:
        message = f"{recipe} is not live: {recipe.why_open or recipe.due_words} Live for {system}: {named}."
        raise Refusal("recipe-not-live", message, {"recipe": recipe.name, "live": named})
    message = f"{recipe} is for system {recipe.system.system}, not {system}. Live for {system}: {named}."
    raise Refusal("other-system", message, {"recipe": recipe.name, "live": named})


def _job(start: Start) -> bool:
    """Whether the job is on the books, to be given its first schedule."""
    if not start.job or (found := Job.objects.filter(job=start.job).first()) is None:
        if not start.job or not start.depot:
            raise Refusal("no-job", "Name the job, and the depot of one that is not on the books yet.", {})
        return False
    letter = live_letter(found)
    if letter or found.ended:
        state = f"has a schedule, revision {letter}" if letter else "is not planned"
        raise Refusal("has-schedule", f"{found} {state}: send the next one as a file.", {"job": start.job})
    return True


def _new_job(start: Start) -> Row:
    return {"job": start.job, "title": start.title, "depot": start.depot, "cutover": start.cutover}


def _spot(text: str) -> Spot | None:
    if not text:
        return None
    structure, _, position = text.rpartition("/")
    if not Position.objects.filter(structure__structure=structure, position=position).exists():
        message = f"There is no position {text} on the books: write it as structure/position, such as R1/a."
        raise Refusal("unknown-position", message, {"position": text})
    return structure, position


def _standing(spots: Sequence[Spot]) -> list[tuple[str, ...]]:
    """The rows of these positions as the books have them: a schedule names only positions that came with it."""
    if not spots:
        return []
    sheet = sheets_to_check_from_records(["positions"]).sheets["positions"]
    rows = [tuple(row) for row in sheet.cells.itertuples(index=False, name=None)]
    at = [_fields("positions").index(name) for name in ("structure", "position")]
    return [row for row in rows if tuple(row[place] for place in at) in spots]


def _fields(name: str) -> list[str]:
    return [column.field for column in SHEETS[name].columns]


def _sheet(name: str, rows: Sequence[Row]) -> RawSheet:
    cells = [[row.get(field, "") for field in _fields(name)] for row in rows]
    return raw_sheet(name, [column.header for column in SHEETS[name].columns], cells)
