"""Kits that are built ahead: recipes for standard locations, kits in store and until when, what to build."""

from collections.abc import Sequence

from django.http import HttpResponse
from django.urls import reverse

from inventory.models import Depot
from jobs.models import CableType, System
from kitting.calculation.standard_locations import LOCATIONS
from kitting.errors import Refusal
from kitting.models import Bag, Recipe
from kitting.pages.asked import Asked, attempt, page
from kitting.pages.bag_forms import Field
from kitting.pages.drawing import fit
from kitting.pages.tables import Cell, Table, figure, link
from kitting.pages.typed import back_with_typed, depot_asked
from kitting.roles import DO, SEE
from kitting.selectors.bag_contents import bare
from kitting.selectors.fits import bands_of, estimates_policy, fit_facts
from kitting.selectors.premade_kits import PremadeKit, kits, recipe_by_name, to_build
from kitting.services.premade_kits import build_kit, build_up, keep_kit_level
from kitting.services.recipes import RULES, keep_recipe, renew_recipes
from kitting.services.scans import BAGS


def premade(asked: Asked) -> HttpResponse:
    """Kits of a depot and what to build; their picking, checking and staging goes as with every bag."""
    depots, depot = depot_asked(asked)
    found = kits(on=asked.today, depot=depot)
    known = [*Recipe.objects.select_related("system", "cable_type").order_by("name")]
    context = {
        "depot": depot, "depots": depots, "table": _kits(depot, found), "recipes": known,
        "levels": [one for one in to_build() if one.level.depot.depot == depot],
        "due": [one for one in known if one.is_due(asked.today)],
        "acts": bool(depot) and asked.actor.may(BAGS, DO, depot), "may_see_rules": asked.actor.may(RULES, SEE),
        "recipe": asked.text("recipe"), "least": asked.text("least"), "greatest": asked.text("greatest"),
    }  # fmt: skip
    return page(asked, "premade.html", context)


def _kits(depot: str, found: Sequence[PremadeKit]) -> Table:
    rows = [
        [link(one.bag, "bag", one.code, note=f"{one.code}, {one.recipe.location}"),
         Cell("READY" if one.is_ready else one.bag.state.upper(), note=one.bag.whereabouts),
         str(one.use_by or "no date"), Cell(f"rev {one.bag.revision}", note=_other_revision(one)),
         Cell("; ".join((*one.rework, *one.soon)) or "–"), _next(one)]
        for one in found
    ]  # fmt: skip
    heads = ("Kit", "State", "Use by", "Recipe", "What to know", "Next")
    empty = "No kit stands here: say below how many of which recipe the depot keeps, and build them."
    return Table(f"Kits of depot {depot}, the first to expire first", heads, rows, empty)


def _other_revision(one: PremadeKit) -> str:
    return "" if one.bag.revision == one.recipe.revision else f"the recipe is rev {one.recipe.revision} now"


def _next(one: PremadeKit) -> Cell:
    if one.is_ready:
        return link("Give it", "give", one.code, note="or rework it on its page" if one.soon else "")
    return link("Its page", "bag", one.code)


def build(asked: Asked, depot: str) -> HttpResponse:
    """Build kits up to what the depot keeps or one more, say how many it keeps, make the recipes up again."""
    here = f"{reverse('premade')}?depot={depot}"
    return attempt(asked, lambda: _built(asked, depot), here, back=back_with_typed(asked, reverse("premade")))


def _built(asked: Asked, depot: str) -> tuple[str, str]:
    name, deed, scan = asked.text("recipe"), asked.text("do"), asked.scan()
    if deed == "renew":
        return _renewed(asked)
    if deed == "level":
        numbers = {field: _number(asked.text(field)) for field in ("least", "greatest")}
        kept = keep_kit_level(recipe=name, depot=depot, **numbers, **scan)
        return "KEPT", f"{kept}: from {kept.minimum} to {kept.maximum} kits."
    if deed == "one":
        return _listed([build_kit(recipe=name, depot=depot, confirmed=asked.confirmed, **scan)])
    return _listed(build_up(recipe=name, depot=depot, **scan))


def _listed(made: Sequence[Bag]) -> tuple[str, str]:
    return "LISTED", f"{', '.join(map(str, made))}: pick, check and stage as bags are."


def _number(text: str) -> int:
    if not text.isdecimal():
        raise Refusal("no-number", f"Kits are counted in whole numbers such as 2; not {text!r}.", {"read": text})
    return int(text)


def _renewed(asked: Asked) -> tuple[str, str]:
    changed = renew_recipes(**asked.scan())
    told = ", ".join(f"{one} rev {one.revision}" for one in changed)
    return "MADE UP AGAIN", f"Changed: {told}; their kits are opened." if changed else "No recipe has changed."


def recipes(asked: Asked) -> HttpResponse:
    """Recipes with their revisions; keep a new one, or make all up again by the rules and items as they are."""
    here = reverse("recipes")
    if asked.request.method == "POST":
        deed = (lambda: _renewed(asked)) if asked.text("do") == "renew" else (lambda: _kept(asked))
        return attempt(asked, deed, here, back=back_with_typed(asked, here))
    found = Recipe.objects.select_related("system", "cable_type").order_by("name")
    rows = [
        [link(one, "recipe", one.name), Cell(one.location, note=f"{one.cable_type.cable_type} on {one.system.system}"),
         f"rev {one.revision}", Cell(_open_words(one) or "as the rules give it")]
        for one in found
    ]  # fmt: skip
    empty = "No recipe is kept yet: choose a standard location, a cable and a system, and the rules make it up."
    table = Table("Recipes", ("Recipe", "For", "Revision", "How it stands"), rows, empty)
    context = {"table": table, "fields": _fields(asked), "acts": asked.actor.may(RULES, DO)}
    return page(asked, "recipes.html", context)


def _open_words(recipe: Recipe) -> str:
    coming = f"FROM {recipe.to_come_on}: {recipe.to_come}" if recipe.to_come else ""
    return "; ".join(filter(None, (recipe.why_open, coming)))


def _fields(asked: Asked) -> list[Field]:
    systems = System.objects.order_by("system").values_list("system", flat=True)
    types = CableType.objects.order_by("cable_type").values_list("cable_type", flat=True)
    depots = Depot.objects.order_by("depot").values_list("depot", flat=True)
    return [
        Field("name", "Name, without a slash", asked.text("name")),
        Field("location", "Standard location", asked.text("location"), options=_choice(LOCATIONS)),
        Field("system", "System", asked.text("system"), options=_choice(systems)),
        Field("cable_type", "Cable type", asked.text("cable_type"), options=_choice(types)),
        Field("depot", "Home depot", asked.text("depot"), options=_choice(depots)),
        Field("interface", "Interface", asked.text("interface"), required=False,
              note="only where the class of the system leaves a choice"),
    ]  # fmt: skip


def _choice(names: object) -> list[tuple[str, str]]:
    return [(name, name) for name in names]  # type: ignore[attr-defined]


def _kept(asked: Asked) -> tuple[str, str]:
    given = {
        name: asked.text(name) for name in ("name", "location", "system", "cable_type", "depot", "interface")
    }  # fmt: skip
    made = keep_recipe(**given, **asked.scan())
    return "KEPT", f"{made}, rev {made.revision}: {len(made.lines)} lines. Stores say how many they keep of it."


def recipe(asked: Asked, name: str) -> HttpResponse:
    """What a recipe takes, each line with its reason and rule, and where its kits stand."""
    found = recipe_by_name(name)
    lines = [
        [link(one["stock_code"], "item", one["stock_code"]), one["kind"], figure(bare(one["quantity"])),
         one["phases"] or "–", Cell(one["sentence"], note=f"rule {one['rule']}")]
        for one in found.lines
    ]  # fmt: skip
    standing = [
        [link(one.bag, "bag", one.code), f"depot {one.bag.depot}", one.bag.state, str(one.use_by or "no date")]
        for one in kits(on=asked.today)
        if one.recipe == found
    ]
    bands, estimates = bands_of(found.cable_type), estimates_policy()
    told = fit_facts({**bands, "line": one["stock_code"], "stock_code": one["stock_code"]} for one in found.lines)
    fits = [
        (code, fit(one.part, one.band, over_what=one.over_what, estimates=estimates))
        for code, facts in told.items()
        for one in facts
    ]
    context = {
        "recipe": found, "told": _open_words(found), "fits": fits,
        "tables": [
            Table("What it takes", ("Item", "Kind", "Pieces", "Phases", "Why"), lines, "It takes nothing."),
            Table("Its kits", ("Kit", "Where", "State", "Use by"), standing, "No kit of it is in store."),
        ],
    }  # fmt: skip
    return page(asked, "recipe.html", context)
