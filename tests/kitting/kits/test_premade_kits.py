"""Kits for standard locations are built ahead from the rules, and given by one scan."""

import io
from datetime import UTC, date, datetime
from typing import Any

import pytest
from bag_stores import OTHER_STORES, Stores, demo_sheets
from django.core.management import call_command
from module_books import books_of_module
from people import BUYER, DUTY, OTHER_STANDARDS, STANDARDS, STORES
from refusals import refusal

from inventory.models import Balance, Item, Lot, Movement
from jobs.models import UNDER_WAY
from kitting.calculation.sheets.raw import raw_book, raw_sheet
from kitting.models import Bag, Event, Recipe
from kitting.selectors.bag_contents import label_code
from kitting.selectors.premade_kits import PremadeKit, kits, to_build
from kitting.selectors.rework import Rework, rework
from kitting.selectors.rule_revisions import frame_of, live_rules
from kitting.selectors.what_is_this import what_is
from kitting.services.draft_rules import draft_rules
from kitting.services.emergency import open_emergency
from kitting.services.fill_bags import check, lift, put_back
from kitting.services.issue_bags import issue, stage
from kitting.services.premade_kits import build_kit, build_up, give_kit, keep_kit_level
from kitting.services.publish_rules import look_at_draft, publish_draft, review_draft
from kitting.services.recall_lots import recall_lot
from kitting.services.recipes import keep_recipe, renew_recipes
from kitting.services.return_bags import cancel_bag, close
from kitting.services.storms import open_storm

pytestmark = pytest.mark.django_db
books = books_of_module(demo_sheets)
NOON = datetime(2026, 3, 14, 18, 0, tzinfo=UTC)
TODAY = date(2026, 3, 14)
NEAR = "USE BY 2026-03-31: give it soon, or renew it"
SPLICE = {"name": "SPLICE-1-0", "location": "straight splice", "system": "S12", "cable_type": "CT-01", "depot": "H"}


@pytest.fixture
def stores() -> Stores:
    """Stores at H."""
    return Stores(NOON)


@pytest.fixture
def recipe(stores: Stores) -> Recipe:
    """A straight splice of CT-01 on S12."""
    return keep_recipe(**SPLICE, **stores.scan(STANDARDS))


def built(stores: Stores, depot: str = "H") -> Bag:
    """A kit that is filled, checked and staged."""
    bag = build_kit(recipe="SPLICE-1-0", depot=depot, **stores.scan())
    for line in stores.contents("SPLICE-1-0", bag.structure).lines:
        item = line.line.item
        assert item is not None
        there = Balance.objects.filter(lot__item=item, place__depot__depot=depot, place__kind="bin", quantity__gt=0)
        shelf = there.order_by("lot__use_by", "pk").first() or supplied(stores, item, depot, line.line.quantity)
        stores.pick("SPLICE-1-0", bag.structure, item.stock_code, shelf.lot.number, shelf.place,
                    line.line.quantity / 1000)  # fmt: skip
    code = stores.code("SPLICE-1-0", bag.structure)
    check(bag=code, counted=stores.counted("SPLICE-1-0", bag.structure), **stores.scan(OTHER_STORES))
    stage(bag=code, rack="H rack 9", **stores.scan())
    return stores.bag("SPLICE-1-0", bag.structure)


def supplied(stores: Stores, item: Item, depot: str, quantity: int) -> Balance:
    """Pieces that the demo has not at a depot."""
    lot, _ = Lot.objects.get_or_create(item=item, number="L-NEW")
    return Balance.objects.create(place=stores.place(depot, "NEW"), lot=lot, quantity=quantity * 2)


def given(stores: Stores, kit: Bag, **more: Any) -> Bag:
    """A kit given to a visiting crew."""
    asked = {"crew": "Crew 2", "company": "Larkfield Line", "where": "Alder 12", "storm": "EV1"}
    return give_kit(kit=label_code(kit), **{**stores.scan(), **asked, **more})


def the_kit() -> PremadeKit:
    """The only kit in store."""
    (kit,) = kits(on=TODAY)
    return kit


def two_wraps_published(stores: Stores, live_from: date) -> None:
    """Rules by which a joint takes two pieces of consumables instead of one, published from a day on."""
    live = live_rules(TODAY)["joint accessories"]
    rules = frame_of(live.columns, live.rows)
    rules.loc[rules["give kind"] == "consumable", "give quantity"] = "2"
    sheet = raw_sheet("rules joint accessories", rules.columns, rules.to_numpy().tolist())
    at = stores.scan()["at"]
    drafted = {"number": draft_rules(raw=raw_book([sheet]), note="two wraps", actor=STANDARDS, at=at).pk}
    other = {"actor": OTHER_STANDARDS, "at": at}
    look_at_draft(**drafted, **other)
    review_draft(**drafted, words="seen with crew 4", **other)
    look_at_draft(**drafted, **other)
    publish_draft(**drafted, live_from=live_from, **other)


def listed_for_rework(on: date) -> list[Rework]:
    """Kits on the rework list."""
    return [row for row in rework(on=on) if row.bag.job.job == "SPLICE-1-0"]


def test_a_recipe_is_what_the_rules_ask_at_its_location_and_its_revision_follows_from_that(
    stores: Stores, recipe: Recipe
) -> None:
    assert {line["kind"]: (line["stock_code"], line["quantity"]) for line in recipe.lines} == {
        "splice": ("CS15-2", 3000), "splice connector": ("SC-10A", 3000), "rejacketing sleeve": ("RJ-1", 3000),
        "shield continuity set": ("SA-1", 3000), "consumable": ("MST", 1000),
    }  # fmt: skip
    same = keep_recipe(**{**SPLICE, "name": "SPLICE-again"}, **stores.scan(STANDARDS))
    other = keep_recipe(**{**SPLICE, "name": "SPLICE-4-0", "cable_type": "CT-04"}, **stores.scan(STANDARDS))
    assert same.revision == recipe.revision != other.revision


@pytest.mark.parametrize(
    ("location", "cable_type", "expected"),
    [
        ("riser", "CT-01", {"termination": 3000, "riser arrester": 3000}),
        ("single-phase pad", "CT-01", {"elbow": 2000, "bushing insert": 2000}),
        ("three-phase pad", "CT-01", {"elbow": 6000, "bushing insert": 6000}),
        ("600 A vault", "CT-06", {"tee": 6000, "cable adapter": 6000, "lug": 6000, "insulating plug": 6000}),
    ],
)
def test_every_standard_location_has_a_recipe(
    stores: Stores, location: str, cable_type: str, expected: dict[str, int]
) -> None:
    asked = {**SPLICE, "name": "R-1", "location": location, "cable_type": cable_type}
    found = keep_recipe(**asked, **stores.scan(STANDARDS))
    sums: dict[str, int] = {}
    for line in found.lines:
        sums[line["kind"]] = sums.get(line["kind"], 0) + line["quantity"]
    assert {kind: sums.get(kind) for kind in expected} == expected


def test_a_recipe_that_cant_be_decided_is_refused_with_what_is_open(stores: Stores) -> None:
    pad = {**SPLICE, "location": "three-phase pad", "system": "S35", "cable_type": "CT-09"}
    assert "interface is blank" in refusal("recipe-open", keep_recipe, **pad, **stores.scan(STANDARDS))
    small = keep_recipe(**pad, interface="200 A 35 kV large", **stores.scan(STANDARDS))
    assert any(line["stock_code"].startswith("EL35L") for line in small.lines)
    assert "may not do" in refusal("not-allowed", keep_recipe, **SPLICE, **stores.scan(STORES))
    wrong = {**SPLICE, "location": "manhole"}
    assert "riser, single-phase pad" in refusal(
        "unknown-location", keep_recipe, **{**wrong, "name": "R-2"}, **stores.scan(STANDARDS)
    )
    assert "a job has it" in refusal("job-number-used", keep_recipe, **SPLICE, **stores.scan(STANDARDS))


@pytest.mark.usefixtures("recipe")
def test_kits_are_built_from_the_least_to_the_greatest_number_that_a_depot_keeps(stores: Stores) -> None:
    keep_kit_level(recipe="SPLICE-1-0", depot="H", least=1, greatest=2, **stores.scan())
    assert [(one.standing, one.build) for one in to_build()] == [(0, 2)]
    build_kit(recipe="SPLICE-1-0", depot="H", **stores.scan())
    assert [(one.standing, one.build) for one in to_build()] == [(1, 0)]
    build_kit(recipe="SPLICE-1-0", depot="H", **stores.scan())
    third = {"recipe": "SPLICE-1-0", "depot": "H"}
    assert "2 stand there: build another?" in refusal("to-confirm", build_kit, **third, **stores.scan())
    assert build_kit(**third, confirmed=("more-than-greatest/1",), **stores.scan()).structure == "kit 3"
    wrong = {"recipe": "SPLICE-1-0", "depot": "H", "least": 3, "greatest": 2}
    assert "is no range" in refusal("least-above-greatest", keep_kit_level, **wrong, **stores.scan())
    assert "recipes: SPLICE-1-0" in refusal("unknown-recipe", build_kit, recipe="X", depot="H", **stores.scan())
    scan = stores.scan()
    yes = {**third, "confirmed": ("more-than-greatest/1",)}
    assert build_kit(**yes, **scan) == build_kit(**yes, **scan)


def test_the_last_kit_that_is_given_up_completes_no_job(stores: Stores, recipe: Recipe) -> None:
    keep_kit_level(recipe="SPLICE-1-0", depot="H", least=1, greatest=2, **stores.scan())
    code = label_code(build_kit(recipe="SPLICE-1-0", depot="H", **stores.scan()))

    cancel_bag(bag=code, why="built by mistake", **stores.scan())
    close(bag=code, **stores.scan())

    recipe.job.refresh_from_db()
    assert (recipe.job.ended, Event.objects.filter(name="job complete").count()) == (UNDER_WAY, 0)


@pytest.mark.usefixtures("recipe")
def test_kits_are_built_up_in_one_go_to_the_greatest_number(stores: Stores) -> None:
    up = {"recipe": "SPLICE-1-0", "depot": "H"}
    assert "how many kits" in refusal("no-level", build_up, **up, **stores.scan())
    keep_kit_level(**up, least=1, greatest=3, **stores.scan())
    build_kit(**up, **stores.scan())
    scan = stores.scan()
    made = build_up(**up, **scan)
    assert [bag.structure for bag in made] == ["kit 2", "kit 3"]
    assert build_up(**up, **scan) == made
    assert "3 stand there" in refusal("enough-kits", build_up, **up, **stores.scan())
    assert "may not do" in refusal("not-allowed", build_up, **up, **stores.scan(BUYER))


def test_the_command_keeps_recipes_builds_opens_and_gives_kits(stores: Stores) -> None:
    said = io.StringIO()

    def premade(*words: str) -> str:
        said.truncate(0)
        said.seek(0)
        call_command("premade", *words, stdout=said, stderr=said)
        return said.getvalue()

    of_splice = ("--location", "straight splice", "--system", "S12", "--cable-type", "CT-01", "--depot", "H")
    assert "SPLICE-1-0: straight splice, CT-01 on S12, rev" in premade("keep", "SPLICE-1-0", *of_splice)
    assert "No recipe has changed." in premade("renew")
    assert "3 CS15-2" in premade("recipe", "SPLICE-1-0")
    assert "1 to 2 kits" in premade("level", "SPLICE-1-0", "--depot", "H", "--least", "1", "--greatest", "2")
    assert "0 in store, 1 to 2 kept; build 2" in premade("list")
    with pytest.raises(SystemExit):
        premade("list", "--depot", "Q")
    assert "There is no depot Q." in said.getvalue()
    with pytest.raises(SystemExit):
        premade("build", "SPLICE-9", "--depot", "H")
    assert "recipes: SPLICE-1-0" in said.getvalue()
    assert "SPLICE-1-0 kit 2, number" in premade("build", "SPLICE-1-0", "--depot", "H")
    assert "SPLICE-1-0 kit 3, number" in premade("build", "SPLICE-1-0", "--depot", "H", "--more")
    keep_kit_level(recipe="SPLICE-1-0", depot="H", least=1, greatest=9, **stores.scan())
    code = label_code(built(stores))
    assert "2026-03-31  USE BY 2026-03-31" in premade("list", "--depot", "H")
    open_storm(storm="EV1", depot="H", title="ice", **stores.scan(DUTY))
    to_crew = ("--crew", "Crew 2", "--company", "Larkfield Line", "--where", "Alder 12", "--storm", "EV1")
    assert "EV1 Alder 12 is out with Crew 2 (Larkfield Line)" in premade("give", code, *to_crew)
    other = label_code(built(stores))
    assert "is open again" in premade("open", other, "--why", "look again")
    assert "not ready" in premade("list")


@pytest.mark.usefixtures("recipe")
def test_a_kit_counts_as_pieces_and_carries_its_own_earliest_date(stores: Stores) -> None:
    bag = built(stores)
    assert stores.counted("SPLICE-1-0", bag.structure)["CS15-2"] == 3000
    (told,) = what_is(label_code(bag), today=TODAY)
    assert told.told[-1] == "next: stage, give whole, reopen, hold, borrow, cancel"
    kit = the_kit()
    assert (kit.use_by, kit.is_ready, kit.rework) == (date(2026, 3, 31), True, ())
    (late,) = kits(on=date(2026, 4, 1))
    assert (late.is_ready, late.rework) == (False, ("out of date since 2026-03-31",))


@pytest.mark.usefixtures("recipe")
def test_a_kit_is_opened_when_its_recipe_changes_and_says_what_is_wanted_now(stores: Stores) -> None:
    bag = built(stores)
    assert renew_recipes(**stores.scan(STANDARDS)) == []
    Item.objects.filter(stock_code="SC-10A").update(state="withdrawn")
    twin = Item.objects.get(stock_code="SC-10A")
    twin.pk, twin.stock_code, twin.state = None, "SC-10B", "active"
    twin.save(force_insert=True)
    (changed,) = renew_recipes(**stores.scan(STANDARDS))
    opened = stores.bag("SPLICE-1-0", bag.structure)
    assert (opened.state, opened.revision) == ("reopened", changed.revision)
    assert "3 SC-10B" in opened.why
    assert the_kit().rework == ("SHORT: 3 SC-10B",)
    assert "may not do" in refusal("not-allowed", renew_recipes, **stores.scan(BUYER))


def test_rules_that_are_published_open_the_kits_which_they_change_and_say_what_differs(
    stores: Stores, recipe: Recipe
) -> None:
    bag = built(stores)
    two_wraps_published(stores, TODAY)
    changed = Recipe.objects.get()
    assert (changed.revision != recipe.revision, changed.to_come) == (True, "")
    (row,) = listed_for_rework(TODAY)
    assert (row.bag.state, row.bag.revision, row.next) == ("reopened", changed.revision, ("put back", "pick"))
    assert row.whys == ("MST: 2 instead of 1 (j/joint/ABC/consumable/5)", "SHORT: 1 MST", NEAR)
    assert [(one.stock_code, one.quantity) for one in row.add] == [("CS15-2", 3000), ("MST", 1000)]
    assert Event.objects.filter(name="recipe changed", addressed_to="storekeeper").count() == 1
    assert stores.bag("SPLICE-1-0", bag.structure).checked_by == ""


@pytest.mark.usefixtures("recipe")
def test_rules_for_a_later_day_flag_a_kit_until_then_and_keep_it_in_store_from_then_on(stores: Stores) -> None:
    bag, day = built(stores), date(2026, 3, 20)
    two_wraps_published(stores, day)
    open_storm(storm="EV1", depot="H", title="ice", **stores.scan(DUTY))
    ahead, due = listed_for_rework(TODAY), listed_for_rework(day)
    told = Recipe.objects.get().to_come
    assert "1 MST more" in told
    assert f"FROM 2026-03-20: {told}" in ahead[0].whys
    assert any("RECIPE CHANGED on 2026-03-20" in why for why in due[0].whys)
    assert the_kit().is_ready
    assert [kit.is_ready for kit in kits(on=day)] == [False]
    evening = Stores(datetime(2026, 3, 20, 3, 0, tzinfo=UTC), prefix="evening")  # of the 19th at the depot
    assert build_kit(recipe="SPLICE-1-0", depot="H", **evening.scan()).state == "listed"
    later = Stores(datetime(2026, 3, 20, 18, 0, tzinfo=UTC), prefix="later")
    assert "Make the recipes up again" in refusal("recipe-due", given, later, bag)
    assert "Make the recipes up again" in refusal(
        "recipe-due", build_kit, recipe="SPLICE-1-0", depot="H", **later.scan()
    )
    later.plan()
    assert (Recipe.objects.get().to_come, stores.bag("SPLICE-1-0", bag.structure).state) == ("", "reopened")


@pytest.mark.usefixtures("recipe")
def test_a_kit_with_a_date_that_is_near_is_on_the_rework_list_and_may_still_go_out(stores: Stores) -> None:
    built(stores)
    assert listed_for_rework(date(2026, 3, 1)) == []
    (row,) = listed_for_rework(TODAY)
    assert row.whys == (NEAR,)
    assert row.next == ("reopen",)
    assert {one.stock_code for one in row.take_out} == {one.stock_code for one in row.add} == {"CS15-2"}
    assert (the_kit().is_ready, the_kit().soon) == (True, row.whys)
    assert listed_for_rework(date(2026, 4, 1))[0].whys == row.whys


@pytest.mark.usefixtures("recipe")
def test_a_recipe_that_the_rules_no_longer_give_keeps_its_kits_in_store(stores: Stores) -> None:
    bag = built(stores)
    Item.objects.filter(kind="splice").update(state="withdrawn")
    (changed,) = renew_recipes(**stores.scan(STANDARDS))
    assert "can't be made up" in changed.why_open
    open_storm(storm="EV1", depot="H", title="ice", **stores.scan(DUTY))
    assert "can't be made up" in refusal("recipe-open", given, stores, bag)
    assert not the_kit().is_ready


@pytest.mark.usefixtures("recipe")
def test_a_recalled_lot_holds_the_kit(stores: Stores) -> None:
    bag = built(stores)
    lot = next(lot for lot in stores.contents("SPLICE-1-0", bag.structure).lots.values() if lot.number)
    recall_lot(stock_code=lot.item.stock_code, lot=lot.number, reason="tears", **stores.scan())
    assert stores.bag("SPLICE-1-0", bag.structure).state == "on hold"
    assert not the_kit().is_ready


@pytest.mark.usefixtures("recipe")
def test_a_kit_that_was_on_hold_when_its_recipe_changed_is_made_up_again_once_the_hold_is_over(stores: Stores) -> None:
    bag = built(stores)
    lot = next(lot for lot in stores.contents("SPLICE-1-0", bag.structure).lots.values() if lot.number)
    inside = stores.counted("SPLICE-1-0", bag.structure)[lot.item.stock_code]
    recall_lot(stock_code=lot.item.stock_code, lot=lot.number, reason="tears", **stores.scan())
    two_wraps_published(stores, TODAY)
    held = {"bag": label_code(bag), "stock_code": lot.item.stock_code, "lot": lot.number, "quantity": inside}
    put_back(**held, place=stores.place("H", "T-1", "hold"), why="recalled", **stores.scan())
    lift(bag=label_code(bag), **stores.scan())
    (row,) = listed_for_rework(TODAY)
    assert any(why.startswith("SUPERSEDED") and why.endswith("; make the recipes up again") for why in row.whys)
    assert renew_recipes(**stores.scan()) == []
    (row,) = listed_for_rework(TODAY)
    assert (row.bag.revision, row.next) == (Recipe.objects.get().revision, ("pick",))
    assert "SHORT: 3 CS15-2, 1 MST" in row.whys


@pytest.mark.usefixtures("recipe")
def test_one_scan_gives_a_kit_to_a_storm_and_every_piece_of_it_is_the_crews(stores: Stores) -> None:
    bag = built(stores)
    open_storm(storm="EV1", depot="H", title="ice", **stores.scan(DUTY))
    inside = stores.counted("SPLICE-1-0", bag.structure)
    scan = stores.scan()
    target = given(stores, bag, **scan)
    assert (target.job.job, target.state, target.crew) == ("EV1", "issued", "Crew 2 (Larkfield Line)")
    assert stores.counted("EV1", "Alder 12") == inside
    assert stores.bag("SPLICE-1-0", bag.structure).state == "closed"
    assert kits(on=TODAY) == []
    assert {move.action.paper for move in Movement.objects.filter(to_place=target.place)} == {"EV1"}
    assert given(stores, bag, **scan) == target
    assert Event.objects.filter(name="kit given").count() == 1
    assert "3 CS15-2" in stores.contents("EV1", "Alder 12").open()


@pytest.mark.usefixtures("recipe")
def test_an_emergency_takes_a_kit_and_a_planned_job_does_not(stores: Stores) -> None:
    bag = built(stores)
    to_job = {"storm": "", "company": "", "crew": "Crew 14"}
    assert "own bags" in refusal("planned-job", given, stores, bag, **to_job, job="J01")
    assert "no job E09" in refusal("unknown-job", given, stores, bag, **to_job, job="E09")
    assert "one of them" in refusal("one-target", given, stores, bag, **to_job)
    wanted = {"CS15-2": 1000}
    open_emergency(job="E01", structure="Alder 12", depot="H", wanted=wanted, why="dig-in", **stores.scan(DUTY))
    assert given(stores, bag, **to_job, job="E01").structure == "Alder 12 (2)"


@pytest.mark.usefixtures("recipe")
def test_a_kit_that_is_short_late_or_no_kit_does_not_go_out(stores: Stores) -> None:
    open_storm(storm="EV1", depot="H", title="ice", **stores.scan(DUTY))
    listed = build_kit(recipe="SPLICE-1-0", depot="H", **stores.scan())
    assert "it is listed" in refusal("not-in-this-state", given, stores, listed)
    bag = built(stores)
    assert "its company" in refusal("no-crew", given, stores, bag, company="")
    assert "Say where" in refusal("no-place", given, stores, bag, where=" ")
    assert "no storm EV2" in refusal("unknown-storm", given, stores, bag, storm="EV2")
    later = Stores(datetime(2026, 4, 2, 18, 0, tzinfo=UTC), prefix="later")
    assert "good until 2026-03-31" in refusal("out-of-date", given, later, bag)
    opened = open_emergency(job="E01", structure="X", depot="H", wanted={"MST": 1000}, why="x", **stores.scan(DUTY))
    alone = {"bag": label_code(bag), "crew": "Crew 2", "truck": "2", "signature": "A. Crew"}
    assert "kit of no job" in refusal("is-a-kit", issue, **alone, **stores.scan())
    assert "no pre-made kit" in refusal("not-a-kit", given, stores, opened.bag)
