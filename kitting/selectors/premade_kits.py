"""Pre-made kits: what stands on the shelf until when, and how many are to be built."""

from collections import Counter
from dataclasses import dataclass
from datetime import date

from kitting.calculation.bag_states import CANCELLED, CHECKED, CLOSED, STAGED
from kitting.errors import Refusal
from kitting.models import Bag, KitLevel, Recipe
from kitting.selectors.bag_contents import Contents, contents_of, facts_of_all, lots_inside

READY = (CHECKED, STAGED)


@dataclass(frozen=True, slots=True)
class PremadeKit:
    """A kit, full or not: ``use_by`` is the earliest date of what is in it; ``rework`` says why it can't go out."""

    bag: Bag
    recipe: Recipe
    use_by: date | None
    rework: tuple[str, ...]

    @property
    def is_ready(self) -> bool:
        """Whether it can be given out by one scan."""
        return self.bag.state in READY and not self.rework


@dataclass(frozen=True, slots=True)
class ToBuild:
    """Kits of a recipe that a depot has, and those that are to be built to reach its greatest number."""

    level: KitLevel
    standing: int
    build: int


def recipe_by_name(name: str) -> Recipe:
    """A recipe.

    Raises:
        Refusal: ``unknown-recipe`` names those there are.
    """
    found = Recipe.objects.filter(name=name).select_related("job", "system", "cable_type").first()
    if found is None:
        known = ", ".join(Recipe.objects.order_by("name").values_list("name", flat=True)) or "none"
        raise Refusal("unknown-recipe", f"There is no recipe {name}; recipes: {known}.", {"recipe": name})
    return found


def kits(*, on: date, depot: str = "") -> list[PremadeKit]:
    """Kits that are in store, at one depot or all, the first to expire first; eight queries."""
    found = Bag.objects.filter(job__recipe__isnull=False).exclude(state__in=(CLOSED, CANCELLED))
    found = found.filter(depot__depot=depot) if depot else found
    bags = [*found.select_related("job", "depot").order_by("job__job", "number")]
    recipes = {recipe.job_id: recipe for recipe in Recipe.objects.filter(job__in=[bag.job_id for bag in bags])}
    contents = contents_of(bags)
    facts = facts_of_all(contents.values())
    made = []
    for bag in bags:
        use_by = earliest_date(contents[bag.pk])
        late = (f"out of date since {use_by}",) if use_by and use_by < on else ()
        one, recipe = facts[bag.pk], recipes[bag.job_id]
        held = tuple(f"HOLD: {lot}" for lot in one.held)
        short = (f"SHORT: {', '.join(one.missing)}",) if one.missing else ()
        rework = (*filter(None, (recipe.why_open, one.superseded)), *held, *late, *short)
        made.append(PremadeKit(bag, recipe, use_by, rework))
    return sorted(made, key=lambda kit: (kit.use_by or date.max, kit.bag.pk))


def earliest_date(contents: Contents) -> date | None:
    """The day through which all that is in a bag is good; None where nothing in it has a date."""
    return min((lot.use_by for lot in lots_inside(contents) if lot.use_by), default=None)


def to_build() -> list[ToBuild]:
    """Every level, and the kits that are to be built where fewer stand than the least; two queries."""
    standing = Counter[tuple[int, int]]()
    rows = Bag.objects.filter(job__recipe__isnull=False).exclude(state__in=(CLOSED, CANCELLED))
    for recipe, depot in rows.values_list("job__recipe", "depot"):
        standing[recipe, depot] += 1
    levels = KitLevel.objects.select_related("recipe", "depot").order_by("recipe__name", "depot__depot")
    found = []
    for level in levels:
        there = standing[level.recipe_id, level.depot_id]
        found.append(ToBuild(level, there, level.maximum - there if there < level.minimum else 0))
    return found
