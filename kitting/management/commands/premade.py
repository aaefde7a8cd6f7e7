"""``manage.py premade``: kits for standard locations that are built ahead of recipes, and given whole."""

from argparse import ArgumentParser
from typing import Any
from uuid import uuid4

from django.core.management.base import BaseCommand

from inventory.management.books import require_books
from inventory.selectors.finding import depot_named
from kitting.calculation.standard_locations import LOCATIONS
from kitting.management.books import now, refused_in_words, today_at, user_name
from kitting.management.in_columns import in_columns
from kitting.models import Bag, Recipe
from kitting.roles import STANDARDS_ENGINEER, STOREKEEPER, Actor
from kitting.selectors.bag_contents import bare, label_code
from kitting.selectors.premade_kits import PremadeKit, kits, recipe_by_name, to_build
from kitting.services.fill_bags import reopen
from kitting.services.premade_kits import build_kit, build_up, give_kit, keep_kit_level
from kitting.services.recipes import keep_recipe, renew_recipes
from kitting.services.scans import Scan


class Command(BaseCommand):
    """Recipes, levels, and what is done with a kit but its picking, which goes as with every bag."""

    help = "Keep recipes of pre-made kits, build kits up to what a depot keeps, open them again, give them whole."

    def add_arguments(self, parser: ArgumentParser) -> None:
        steps = parser.add_subparsers(dest="step", required=True)
        listed = steps.add_parser("list", help="kits in store, what is wrong with each, and what is to be built")
        listed.add_argument("--depot", default="", help="of one depot (default: of all)")
        show = steps.add_parser("recipe", help="what a recipe takes, and by which rule; without a name: all recipes")
        show.add_argument("name", nargs="?", default="")
        new = steps.add_parser("keep", help="keep a recipe for a standard location, by the rules that are live")
        new.add_argument("--location", required=True, choices=tuple(LOCATIONS))
        for name, words in (("system", "on the books"), ("cable-type", "on the books"), ("depot", "its home depot")):
            new.add_argument(f"--{name}", required=True, help=words)
        new.add_argument("--interface", default="", help="where the system's class leaves a choice")
        renew = steps.add_parser("renew", help="make every recipe up again by the rules and items as they are now")
        level = steps.add_parser("level", help="say how many kits of a recipe a depot keeps")
        level.add_argument("--least", type=int, required=True)
        level.add_argument("--greatest", type=int, required=True)
        build = steps.add_parser("build", help="list new kits, to be picked, checked and staged as bags are")
        build.add_argument("--more", action="store_true", help="one more, also above the greatest number")
        for step in (new, level, build):
            step.add_argument("name", help="of the recipe")
        for step in (level, build):
            step.add_argument("--depot", required=True)
        again = steps.add_parser("open", help="open a kit that is filled, to rework it")
        again.add_argument("--why", required=True)
        give = steps.add_parser("give", help="give a whole kit to a crew, for a storm or an emergency job")
        give.add_argument("--crew", required=True)
        give.add_argument("--where", required=True, help="the place where it is to be used")
        give.add_argument("--company", default="", help="of the crew; needed in a storm")
        to = give.add_mutually_exclusive_group(required=True)
        to.add_argument("--storm", default="", help="code of an open storm")
        to.add_argument("--job", default="", help="number of an emergency")
        for step in (again, give):
            step.add_argument("kit", help="code on its label")
        for step in (new, renew, level, build, again, give):
            step.add_argument("--by", default=user_name(), help="who does it (default: the user's name)")

    def handle(self, *_args: Any, **options: Any) -> None:
        with refused_in_words(self.stderr):
            require_books()
            said = getattr(self, f"_{options['step']}")(options)
        self.stdout.write(said)

    def _list(self, options: dict[str, Any]) -> str:
        if options["depot"]:
            depot_named(options["depot"])
        rows: list[tuple[str, ...]] = [("kit", "number", "depot", "state", "revision", "use by", "what to know")]
        rows += [_kit_row(one) for one in kits(on=today_at(options["depot"]), depot=options["depot"])]
        told = [
            f"{one.level.recipe} at {one.level.depot.depot}: {one.standing} in store, "
            f"{one.level.minimum} to {one.level.maximum} kept; build {one.build or 'none'}"
            for one in to_build()
            if options["depot"] in ("", one.level.depot.depot)
        ]
        return "\n".join([in_columns(rows) if len(rows) > 1 else "No kit is in store.", *told])

    def _recipe(self, options: dict[str, Any]) -> str:
        if options["name"]:
            recipe = recipe_by_name(options["name"])
            rows = [
                (f"{bare(one['quantity'])} {one['stock_code']}", one["kind"], one["sentence"]) for one in recipe.lines
            ]
            return "\n".join([_recipe_line(recipe), in_columns([("pieces", "kind", "why"), *rows])])
        recipes = Recipe.objects.select_related("system", "cable_type").order_by("name")
        return "\n".join(map(_recipe_line, recipes)) or "No recipe is kept."

    def _keep(self, options: dict[str, Any]) -> str:
        given = {name: options[name] for name in ("name", "location", "system", "cable_type", "depot", "interface")}
        return _recipe_line(keep_recipe(**given, **_scan(options["by"], STANDARDS_ENGINEER)))

    def _renew(self, options: dict[str, Any]) -> str:
        changed = renew_recipes(**_scan(options["by"], STANDARDS_ENGINEER))
        return "\n".join(map(_recipe_line, changed)) or "No recipe has changed."

    def _level(self, options: dict[str, Any]) -> str:
        numbers = {"least": options["least"], "greatest": options["greatest"]}
        kept = keep_kit_level(recipe=options["name"], depot=options["depot"], **numbers, **_scan(options["by"]))
        return f"{kept}: {kept.minimum} to {kept.maximum} kits."

    def _build(self, options: dict[str, Any]) -> str:
        asked = {"recipe": options["name"], "depot": options["depot"]}
        if options["more"]:
            made = [build_kit(**asked, confirmed=("more-than-greatest/1",), **_scan(options["by"]))]
        else:
            made = build_up(**asked, **_scan(options["by"]))
        return "\n".join(f"{bag}, number {label_code(bag)}: pick, check and stage it." for bag in made)

    def _open(self, options: dict[str, Any]) -> str:
        answer = reopen(bag=options["kit"], why=options["why"], **_scan(options["by"]))
        return f"{answer.bag} is open again: put back, pick, then another person checks it."

    def _give(self, options: dict[str, Any]) -> str:
        given = {name: options[name] for name in ("kit", "crew", "where", "company", "storm", "job")}
        bag: Bag = give_kit(**given, **_scan(options["by"]))
        return f"{bag} is out with {bag.crew}, number {label_code(bag)}."


def _kit_row(one: PremadeKit) -> tuple[str, ...]:
    bag, told = one.bag, "; ".join((*one.rework, *one.soon))
    state = bag.state if one.is_ready else f"{bag.state}, not ready"
    return str(bag), one.code, bag.depot.depot, state, bag.revision, str(one.use_by or "no date"), told


def _recipe_line(recipe: Recipe) -> str:
    told = [recipe.why_open] if recipe.why_open else []
    told += [f"from {recipe.to_come_on}: {recipe.to_come}"] if recipe.to_come else []
    what = f"{recipe.location}, {recipe.cable_type.cable_type} on {recipe.system.system}, rev {recipe.revision}"
    return "; ".join([f"{recipe}: {what}", *told])


def _scan(by: str, role: str = STOREKEEPER) -> Scan:
    return {"actor": Actor(by, frozenset({role})), "at": now(), "action": f"premade-{uuid4()}"}
