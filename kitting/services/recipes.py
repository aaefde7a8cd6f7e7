"""Recipes of pre-made kits: made up by the rules, and made up again when other rules are live."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Unpack

from inventory.selectors.finding import depot_named, items_by_code
from inventory.services.actions import begin, use_case
from jobs.models import UNDER_WAY, CableType, Job, System
from kitting.calculation.sheets.raw import RawBook
from kitting.calculation.standard_locations import RecipeLine, as_rows, recipe_lines, revision_of, what_differs
from kitting.errors import Refusal
from kitting.models import Bag, Recipe, RuleRevision
from kitting.roles import DO, STOREKEEPER, Actor, require
from kitting.selectors.clock import day_at
from kitting.selectors.premade_kits import recipe_by_name
from kitting.selectors.sheets import sheets_of_jobs
from kitting.services.list_bags import Wanted, renew
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import BAGS, Scan, plain_code, stamp_of

RULES = "rules"


@use_case
def keep_recipe(
    *, name: str, location: str, system: str, cable_type: str, depot: str, interface: str = "", **scan: Unpack[Scan]
) -> Recipe:
    """Keep a recipe for a standard location, made up by the rules that are live.

    Args:
        name: of the recipe; it is the number of the job whose bags its kits are.
        location: one of ``standard_locations.LOCATIONS``.
        system, cable_type: on the books.
        depot: home of the recipe.
        interface: of its positions, where the system's class leaves a choice.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-allowed``; ``no-code``; ``job-number-used``; ``unknown-depot``; ``unknown-system``;
            ``unknown-cable-type``; ``unknown-location``; ``recipe-open``.
    """
    actor, at = scan["actor"], scan["at"]
    require(actor, RULES, DO)
    name = plain_code(name, "A recipe")
    content = {
        "name": name, "location": location, "system": system, "cable_type": cable_type, "depot": depot,
        "interface": interface,
    }  # fmt: skip
    _, repeated = begin("keep recipe", content, stamp_of(scan))
    if repeated:
        return recipe_by_name(name)
    home = depot_named(depot)
    if Job.objects.filter(job=name).exists():
        raise Refusal("job-number-used", f"Take another name than {name}: a job has it.", {"name": name})
    of_system, of_type = System.objects.filter(system=system).first(), CableType.objects.filter(cable_type=cable_type)
    if of_system is None:
        raise Refusal("unknown-system", f"There is no system {system}.", {"system": system})
    if not of_type:
        raise Refusal("unknown-cable-type", f"There is no cable type {cable_type}.", {"cable_type": cable_type})
    recipe = Recipe(name=name, location=location, system=of_system, cable_type=of_type[0], interface=interface)
    recipe.job = Job(job=name, depot=home.depot, ended=UNDER_WAY)
    recipe.job.title = f"Pre-made kits: {location}, {cable_type}, {system}"
    lines = _made_up(recipe, _rules_on(day_at(at)), day_at(at))
    recipe.revision, recipe.lines = revision_of(lines), as_rows(lines)
    _look_ahead(recipe, _rules_to_come(day_at(at)))
    recipe.job.save()
    recipe.save()
    told = {**content, "revision": recipe.revision}
    record_events([Happening("recipe kept", name, told, addressed_to=STOREKEEPER)], by=actor.name, at=at)
    return recipe


@use_case
def renew_recipes(**scan: Unpack[Scan]) -> list[Recipe]:
    """Make up every recipe again by the rules and items as they are now; who builds kits may ask for that too.

    Returns the recipes that changed.

    Raises:
        Refusal: ``not-allowed``.
    """
    _may_renew(scan["actor"])
    _, repeated = begin("renew recipes", {}, stamp_of(scan))
    if repeated:
        return []
    lock_kits()
    return make_up_again(by=scan["actor"].name, at=scan["at"])


def lock_kits() -> None:
    """Keep every recipe and kit still until the caller's transaction ends; before the chain of events is locked."""
    recipes = Recipe.objects.select_for_update(of=("self",)).order_by("pk")
    kits = Bag.objects.filter(job__in=[one.job_id for one in recipes]).select_for_update(of=("self",))
    [*kits.order_by("pk")]


def make_up_again(*, by: str, at: datetime) -> list[Recipe]:
    """Make up every recipe again, in the caller's transaction, which has locked the kits.

    Where its content is another one, its kits in store are opened and say what changed. What rules that are published
    for a later day will change is noted with that day. A recipe that can't be made up any more keeps its lines, says
    why, and its kits don't go out.

    Returns the recipes that changed.
    """
    recipes = [*Recipe.objects.select_related("job", "system", "cable_type").order_by("name")]
    if not recipes:
        return []
    today, changed = day_at(at), []
    happenings: list[Happening] = []
    live, to_come = _rules_on(today), _rules_to_come(today)
    for recipe in recipes:
        before = recipe.revision, recipe.why_open, recipe.to_come
        try:
            lines = _made_up(recipe, live, today)
        except Refusal as refusal:
            recipe.why_open = refusal.message
        else:
            recipe.revision, recipe.lines, recipe.why_open = revision_of(lines), as_rows(lines), ""
        _look_ahead(recipe, to_come)
        recipe.save()
        if (recipe.revision, recipe.why_open, recipe.to_come) != before:
            changed.append(recipe)
            told = {
                "before": before[0], "revision": recipe.revision, "why_open": recipe.why_open,
                "to_come": recipe.to_come,
            }  # fmt: skip
            happenings.append(Happening("recipe changed", recipe.name, told, addressed_to=STOREKEEPER))
        for bag in Bag.objects.filter(job=recipe.job).select_related("job", "depot").order_by("pk"):
            if recipe in changed or bag.revision != recipe.revision:  # it was on hold when the recipe changed
                happenings += renew(bag, wanted_by(recipe), recipe.revision, is_new=False)
    record_events(happenings, by=by, at=at)
    return changed


def wanted_by(recipe: Recipe) -> Sequence[Wanted]:
    """What a kit of a recipe is to hold."""
    items = items_by_code({line["stock_code"] for line in recipe.lines})
    return [
        Wanted(
            line=line["line"],
            item=items[line["stock_code"]],
            quantity=line["quantity"],
            instead_of="",
            spare=False,
            facts={name: line[name] for name in ("kind", "phases", "rule")} | {"reason": line["sentence"]},
        )
        for line in recipe.lines
    ]


def _may_renew(actor: Actor) -> None:
    if not actor.may(BAGS, DO):
        require(actor, RULES, DO)


def _rules_on(day: date) -> RawBook:
    return sheets_of_jobs(Job.objects.none(), day)


def _rules_to_come(today: date) -> Mapping[date, RawBook]:
    """The sheets as they will read from each later day on for which rules are published, the next day first."""
    days = RuleRevision.objects.filter(live_from__gt=today).values_list("live_from", flat=True)
    return {day: _rules_on(day) for day in days.distinct().order_by("live_from")}


def _look_ahead(recipe: Recipe, to_come: Mapping[date, RawBook]) -> None:
    """Note the first day on which rules that are published already make another recipe of it, and what differs."""
    recipe.to_come, recipe.to_come_on = "", None
    for day, raw in to_come.items():
        try:
            lines = _made_up(recipe, raw, day)
        except Refusal as refusal:
            recipe.to_come, recipe.to_come_on = refusal.message, day
            return
        if revision_of(lines) != recipe.revision:
            differs = ", ".join(what_differs(recipe.lines, as_rows(lines))) or "other lines"
            recipe.to_come, recipe.to_come_on = f"rev {revision_of(lines)}: {differs}", day
            return


def _made_up(recipe: Recipe, raw: RawBook, on: date) -> tuple[RecipeLine, ...]:
    return recipe_lines(
        raw,
        location=recipe.location,
        system=recipe.system.system,
        cable_type=recipe.cable_type.cable_type,
        interface=recipe.interface,
        depot=recipe.job.depot,
        on=on,
    )
