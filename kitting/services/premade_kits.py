"""Pre-made kits: built ahead of recipes as bags of their own, given to a job or a storm by one scan."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Unpack

from inventory.models import Action, Depot, Lot
from inventory.selectors.finding import depot_named, local_day
from inventory.services.actions import begin, use_case
from inventory.services.doubts import Doubts
from inventory.services.moving import Carry, carry
from jobs.models import UNDER_WAY, Job
from kitting.calculation.bag_states import CANCELLED, CLOSED, GIVE
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, BagLine, Event, KitLevel, Recipe
from kitting.models.bags import ISSUED, PICKED, PUT_BACK
from kitting.models.storms import OPEN
from kitting.roles import DO, require
from kitting.selectors.bag_contents import good_until, label_code, live_letter
from kitting.selectors.premade_kits import earliest_date, recipe_by_name
from kitting.selectors.storms import event_of, storm_by_code
from kitting.services.list_bags import new_bag, renew
from kitting.services.recipes import wanted_by
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import BAGS, Opened, Scan, opened, place_of, settled, stamp_of
from kitting.services.scans import advance as advanced
from kitting.services.storm_issues import out_bag

BUILT = "kit built"


@use_case
def keep_kit_level(*, recipe: str, depot: str, least: int, greatest: int, **scan: Unpack[Scan]) -> KitLevel:
    """Say how many kits of a recipe a depot keeps.

    Raises:
        Refusal: ``not-allowed``; ``unknown-recipe``; ``unknown-depot``; ``least-above-greatest``.
    """
    require(scan["actor"], BAGS, DO, depot)
    if not 0 <= least <= greatest:
        raise Refusal("least-above-greatest", f"From {least} to {greatest} kits is no range.", {})
    content = {"recipe": recipe, "depot": depot, "least": least, "greatest": greatest}
    _, repeated = begin("keep kit level", content, stamp_of(scan))
    of_recipe, home = recipe_by_name(recipe), depot_named(depot)
    if repeated:
        return KitLevel.objects.get(recipe=of_recipe, depot=home)
    levels = {"minimum": least, "maximum": greatest}
    level, _ = KitLevel.objects.update_or_create(recipe=of_recipe, depot=home, defaults=levels)
    told = Happening("kit level kept", f"{recipe} at {depot}", content, depot=depot)
    record_events([told], by=scan["actor"].name, at=scan["at"])
    return level


@use_case
def build_kit(*, recipe: str, depot: str, confirmed: Collection[str] = (), **scan: Unpack[Scan]) -> Bag:
    """List a new kit of a recipe; it is picked, checked and staged by the scans of every bag.

    Raises:
        Doubt: ``more-than-greatest``: the depot has as many as it keeps.
        Refusal: ``not-allowed``; ``unknown-recipe``; ``unknown-depot``; ``recipe-open``; ``recipe-due``.
    """
    one = _begun(recipe, depot, "build kit", scan)
    if one.built:
        return one.built[0]
    doubts = Doubts(confirmed)
    if one.level and one.standing >= one.level.maximum:
        kept = one.level.maximum
        question = f"{depot} keeps up to {kept} kits {recipe}, and {one.standing} stand there: build another?"
        doubts.ask("more-than-greatest", 1, question)
    doubts.settle()
    return _listed(one, 1, scan)[0]


@use_case
def build_up(*, recipe: str, depot: str, **scan: Unpack[Scan]) -> list[Bag]:
    """List as many kits of a recipe as a depot lacks to its greatest number.

    Raises:
        Refusal: as ``build_kit``; ``no-level``: nobody has said how many it keeps; ``enough-kits``.
    """
    one = _begun(recipe, depot, "build kits up", scan)
    if one.built:
        return one.built
    if one.level is None:
        raise Refusal("no-level", f"Say first how many kits {recipe} depot {depot} keeps.", {})
    wanted = one.level.maximum - one.standing
    if wanted <= 0:
        message = f"{depot} keeps up to {one.level.maximum} kits {recipe}, and {one.standing} stand there."
        raise Refusal("enough-kits", message, {"standing": one.standing})
    return _listed(one, wanted, scan)


@dataclass(frozen=True, slots=True)
class _Building:
    """A recipe at a depot, its job locked; ``built`` is what the same action built before."""

    action: Action
    recipe: Recipe
    depot: Depot
    level: KitLevel | None
    standing: int
    built: list[Bag]


def _begun(recipe: str, depot: str, use: str, scan: Scan) -> _Building:
    require(scan["actor"], BAGS, DO, depot)
    action, repeated = begin(use, {"recipe": recipe, "depot": depot}, stamp_of(scan))
    of_recipe, home = recipe_by_name(recipe), depot_named(depot)
    before = Event.objects.filter(name=BUILT, data__action=action.number).values_list("data__bag", flat=True)
    built = [*Bag.objects.filter(code__in=[*before]).select_related("job", "depot").order_by("number")]
    if not repeated:
        _refuse_stale(of_recipe, local_day(home, scan["at"]))
    Job.objects.select_for_update().get(pk=of_recipe.job_id)
    there = Bag.objects.filter(job=of_recipe.job_id, depot=home).exclude(state__in=(CLOSED, CANCELLED)).count()
    level = KitLevel.objects.filter(recipe=of_recipe, depot=home).first()
    return _Building(action, of_recipe, home, level, there, built)


def _listed(one: _Building, wanted: int, scan: Scan) -> list[Bag]:
    job = one.recipe.job
    first = Bag.objects.filter(job=job).count() + 1
    bags, happenings = [], []
    for number in range(first, first + wanted):
        bag = new_bag(job, one.depot, f"kit {number}", number)
        happenings += renew(bag, wanted_by(one.recipe), one.recipe.revision, is_new=True)
        told = {"bag": bag.code, "action": one.action.number, "revision": one.recipe.revision}
        happenings.append(Happening(BUILT, str(bag), told, depot=one.depot.depot))
        bags.append(bag)
    record_events(happenings, by=scan["actor"].name, at=scan["at"])
    return bags


@use_case
def give_kit(
    *, kit: str, crew: str, where: str, storm: str = "", company: str = "", job: str = "", **scan: Unpack[Scan]
) -> Bag:
    """Give a whole kit to a crew, for a storm or an emergency job: its pieces are then in a bag of that, out already.

    Args:
        kit: code on the kit's label.
        crew: who takes it; ``company`` too in a storm.
        where: the place where it is to be used.
        storm: code of an open storm, or
        job: an emergency's number. Planned jobs have bags of their own.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-a-kit``; ``no-crew``; ``no-place``; ``one-target``: name a storm or a job; ``unknown-storm``;
            ``storm-state``; ``unknown-job``; ``planned-job``; ``recipe-open``; ``recipe-due``; ``out-of-date``;
            ``bag-not-ready``: short, held or of another revision; or the bag's state forbids it.
    """
    content = {"crew": crew, "where": where, "storm": storm, "company": company, "job": job}
    paper = storm or event_of(_emergency(job).pk if job else 0)
    one = opened(kit, GIVE, content, scan, paper=paper)
    if one.repeated:
        entry = BagEntry.objects.filter(action=one.action, deed=ISSUED).select_related("line__bag__job").earliest("pk")
        return entry.line.bag
    recipe = Recipe.objects.filter(job=one.bag.job).first()
    if recipe is None:
        raise Refusal("not-a-kit", f"{one.bag} is no pre-made kit: issue it to its own crew.", {"bag": str(one.bag)})
    today = local_day(one.bag.depot, scan["at"])
    _refuse_stale(recipe, today)
    target_job, until = _target(storm, job, today)
    name = _crew(crew, company, needs_company=bool(storm))
    if not where.strip():
        raise Refusal("no-place", f"Say where {crew} will use {one.bag}.", {})
    state = advanced(one, GIVE)
    use_by = earliest_date(one.contents)
    if use_by and use_by < until:
        raise Refusal("out-of-date", f"{one.bag} was good until {use_by}: open it and rework it.", {"use_by": use_by})
    target = out_bag(target_job, one.bag.depot, where, name)
    _pour(one, target)
    told = {"to": str(target), "bag_given": label_code(target), "crew": name, "recipe": recipe.name}
    settled(one, state, "kit given", told, whereabouts="", crew=name)
    return target


def _refuse_stale(recipe: Recipe, today: date) -> None:
    """Refuse what the rules that are live don't make of a standard location."""
    if recipe.why_open:
        raise Refusal("recipe-open", recipe.why_open, {"recipe": recipe.name})
    if recipe.is_due(today):
        raise Refusal("recipe-due", recipe.due_words, {"recipe": recipe.name})


@dataclass(frozen=True, slots=True)
class _Piece:
    line: BagLine
    lot: Lot
    quantity: int


def _pour(one: Opened, target: Bag) -> None:
    """All that is in a kit goes to a bag that is out; the same action notes both."""
    pieces = [
        _Piece(stand.line, one.contents.lots[lot], left)
        for stand in one.contents.lines
        for lot, left in stand.inside.items()
        if left > 0
    ]
    carries = [
        Carry(lot=each.lot, quantity=each.quantity, source=place_of(one), target=target.place) for each in pieces
    ]
    carry(one.action, carries, one.action.why)
    lines = {each.line.pk: _copied(each.line, target) for each in pieces}
    BagLine.objects.bulk_create(lines.values())
    for each in pieces:
        one.write(each.line, each.lot, PUT_BACK, each.quantity, facts={"to": str(target)})
    BagEntry.objects.bulk_create(
        BagEntry(action=one.action, line=lines[each.line.pk], lot=each.lot, deed=deed, quantity=each.quantity)
        for each in pieces
        for deed in (PICKED, ISSUED)
    )


def _copied(line: BagLine, target: Bag) -> BagLine:
    return BagLine(
        bag=target,
        line=f"{target.job.job}/{target.structure}/{line.line}",
        position=line.position,
        item=line.item,
        quantity=line.quantity,
        facts={**line.facts, "structure": target.structure},
    )


def _emergency(number: str) -> Job:
    found = Job.objects.filter(job=number).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {number}.", {"job": number})
    if found.ended != UNDER_WAY or live_letter(found):
        message = f"{number} is planned or over: kits go to emergencies and storms, planned jobs have their own bags."
        raise Refusal("planned-job", message, {"job": number})
    return found


def _target(storm: str, job: str, today: date) -> tuple[Job, date]:
    """Whose bag it becomes, and the day through which it must be good."""
    if bool(storm) == bool(job):
        raise Refusal("one-target", "Name the storm or the emergency job that the kit is for, one of them.", {})
    if storm:
        return storm_by_code(storm, OPEN, lock=True).jobs.get(job=storm), today
    found = _emergency(job)
    return found, good_until(found) or today


def _crew(crew: str, company: str, *, needs_company: bool) -> str:
    if not crew.strip() or (needs_company and not company.strip()):
        raise Refusal("no-crew", "Say the crew's name, and in a storm its company.", {"crew": crew})
    return f"{crew.strip()} ({company.strip()})" if company.strip() else crew.strip()
