"""Pre-made kits: what stands on the shelf until when, and how many are to be built."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from kitting.calculation.bag_states import CANCELLED, CHECKED, CLOSED, STAGED
from kitting.errors import Refusal
from kitting.models import Bag, KitLevel, Recipe
from kitting.selectors.bag_contents import Contents, contents_of, facts_of_all, label_code, lots_inside

READY = (CHECKED, STAGED)
NEAR_DAYS = 30  # common practice of stores: what is kept ahead is renewed a month before its date


@dataclass(frozen=True, slots=True)
class PremadeKit:
    """A kit, full or not: ``use_by`` is the earliest date of what is in it; ``rework`` says why it can't go out.

    ``soon`` says what will keep it in store before long.
    """

    bag: Bag
    code: str
    recipe: Recipe
    use_by: date | None
    rework: tuple[str, ...]
    soon: tuple[str, ...]

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
    """Kits that are in store, at one depot or all, the first to expire first; nine queries."""
    found = Bag.objects.filter(job__recipe__isnull=False).exclude(state__in=(CLOSED, CANCELLED))
    found = found.filter(depot__depot=depot) if depot else found
    bags = [*found.select_related("job", "depot").order_by("job__job", "number")]
    recipes = recipe_by_job(bag.job_id for bag in bags)
    contents = contents_of(bags)
    facts = facts_of_all(contents.values())
    made = []
    for bag in bags:
        use_by = earliest_date(contents[bag.pk])
        late = (f"out of date since {use_by}",) if use_by and use_by < on else ()
        near = (near_words(use_by),) if use_by and on <= use_by < near_day(on) else ()
        one, recipe = facts[bag.pk], recipes[bag.job_id]
        due = (recipe.due_words,) if recipe.is_due(on) else ()
        held = tuple(f"HOLD: {lot}" for lot in one.held)
        short = (f"SHORT: {', '.join(one.missing)}",) if one.missing else ()
        rework = (*filter(None, (recipe.why_open, one.superseded)), *due, *held, *late, *short)
        soon = (*near, *coming_words(recipe, on))
        made.append(PremadeKit(bag, label_code(bag), recipe, use_by, rework, soon))
    return sorted(made, key=lambda kit: (kit.use_by or date.max, kit.bag.pk))


def recipe_by_job(jobs: Iterable[int]) -> dict[int, Recipe]:
    """Recipes by the number of their job in the records, of those of these jobs that are a recipe's; one query."""
    return {recipe.job_id: recipe for recipe in Recipe.objects.filter(job__in={*jobs})}


def near_day(on: date) -> date:
    """The first day that is far enough: lots whose date comes before it are renewed ahead."""
    return on + timedelta(NEAR_DAYS)


def near_words(use_by: date) -> str:
    """What is said of a lot whose date is near."""
    return f"USE BY {use_by}: give it soon, or renew it"


def coming_words(recipe: Recipe, on: date) -> tuple[str, ...]:
    """What rules that are published for a later day will change of a recipe."""
    if recipe.to_come_on is None or recipe.is_due(on):
        return ()
    return (f"FROM {recipe.to_come_on}: {recipe.to_come}",)


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
