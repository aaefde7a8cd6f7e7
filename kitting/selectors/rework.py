"""The rework list: bags that can't go out as they are, why, and what has to be done with each, by cutover."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import F

from inventory.models import Lot, LotHold
from inventory.selectors.finding import LotKey, open_holds
from kitting.calculation.bag_states import (
    BROKEN,
    CANCELLED,
    CHECKED,
    IN_STORE,
    LISTED,
    ON_HOLD,
    OUT,
    PICK,
    PUT_BACK,
    REOPENED,
    SHORT,
    STAGED,
    BagFacts,
    allows,
    next_actions,
)  # fmt: skip
from kitting.calculation.natural_order import natural_key
from kitting.models import Bag, Borrow, Recipe
from kitting.selectors.bag_contents import (
    Contents,
    LineStand,
    bare,
    contents_of,
    facts_of_all,
    good_until,
    is_good,
    is_let,
    is_out,
    label_code,
    lots_inside,
)
from kitting.selectors.expired_uses import LetGo, UseKey, expired_uses
from kitting.selectors.policies import margin_days
from kitting.selectors.premade_kits import coming_words, near_day, near_words, recipe_by_job
from kitting.selectors.promises import staged_days

_ALWAYS = (REOPENED, BROKEN, ON_HOLD, SHORT)
_FILLED = (CHECKED, STAGED)
_SETTLED = "put its pieces back, then plan, apply and list again; or have it checked and staged, and send it whole"


@dataclass(frozen=True, slots=True)
class Pieces:
    """Thousandths of a stock code: of a lot, and why, where they come out; of any good lot where they go in."""

    stock_code: str
    quantity: int
    lot: str = ""
    why: str = ""
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Rework:
    """A bag that has to be worked on.

    Args:
        bag, code: the bag, and the number on its label.
        whys: why it can't go out as it is, a sentence each.
        staged_by: the day by which it must be ready; None where the plan applied last has none.
        next: what may be done now, the first to be done first, in the words of ``bag_states``.
        take_out: pieces inside that can't stay.
        add: pieces that are missing then.
        undecided: lines for which no stock code is chosen.
        lent: pieces that others have to bring back, a sentence each.
    """

    bag: Bag
    code: str
    whys: tuple[str, ...]
    staged_by: date | None
    next: tuple[str, ...]
    take_out: tuple[Pieces, ...]
    add: tuple[Pieces, ...]
    undecided: tuple[str, ...]
    lent: tuple[str, ...]

    @property
    def cutover(self) -> str:
        """When the outage begins, local to the depot."""
        return self.bag.job.cutover


def rework(*, on: date, depot: str = "") -> tuple[Rework, ...]:
    """All bags reopened, superseded, broken, on hold, short, out of date or given up full, the first cutover first.

    Bags without a cutover come last, pre-made kits among them, which stand here also where a date in them is near, or
    published rules change their recipe. A checked or staged bag counts as short where pieces that are no spares are
    missing. The number of queries never grows.

    Args:
        on: the day, by which dates in pre-made kits are near.
        depot: only its bags; '' for all.
    """
    bags = Bag.objects.filter(state__in=(LISTED, *IN_STORE, *OUT, ON_HOLD, CANCELLED)).select_related("job", "depot")
    contents = contents_of(bags.filter(depot__depot=depot) if depot else bags)
    facts = facts_of_all(contents.values())
    recipes = recipe_by_job(one.bag.job_id for one in contents.values())
    flags = {
        number: _kit_flags(recipes[one.bag.job_id], one, on)
        for number, one in contents.items()
        if one.bag.job_id in recipes
    }
    found = [one for one in contents.values() if flags.get(one.bag.pk) or _needs_work(one.bag, facts[one.bag.pk])]
    staged, lent, margin = staged_days(), _lent(found), margin_days()
    holds = open_holds(lot for one in found for lot in one.lots.values())
    uses = expired_uses({one.bag.job_id for one in found})
    rows = []
    for one in found:
        bag, known = one.bag, facts[one.bag.pk]
        bad = _bad_lots(one, holds, uses, margin, near_day(on) if bag.pk in flags else None)
        take_out, add = tuple(_take_out(one, bad)), tuple(_add(one, bad))
        goes_in = any(not pieces.spare for pieces in add)
        if bag.state == CANCELLED:
            steps: tuple[str, ...] = (PUT_BACK,)
        else:
            steps = next_actions(bag.state, known, comes_out=bool(take_out), goes_in=goes_in)
        rows.append(
            Rework(
                bag=bag,
                code=label_code(bag),
                whys=(*_whys(bag, known, bad.values()), *flags.get(bag.pk, ())),
                staged_by=staged.of(bag.job.job, bag.depot.depot),
                next=steps,
                take_out=take_out,
                add=add,
                undecided=one.undecided(),
                lent=lent.get(bag.pk, ()),
            )
        )
    return tuple(sorted(rows, key=_in_turn))


def _kit_flags(recipe: Recipe, one: Contents, on: date) -> tuple[str, ...]:
    """What makes a pre-made kit one to be worked on, besides what does so with every bag."""
    due = recipe.due_words if recipe.is_due(on) else ""
    near = sorted(lot.use_by for lot in lots_inside(one) if lot.use_by and lot.use_by < near_day(on))
    return (*filter(None, (recipe.why_open, due)), *map(near_words, dict.fromkeys(near)), *coming_words(recipe, on))


def _in_turn(row: Rework) -> tuple[object, ...]:
    return not row.cutover, row.cutover, natural_key(row.bag.job.job), row.bag.number


def _needs_work(bag: Bag, facts: BagFacts) -> bool:
    if bag.state == CANCELLED:
        return facts.inside
    return (
        bag.state in _ALWAYS
        or bool(facts.held or facts.out_of_date)
        or bool((facts.superseded or facts.elsewhere) and not is_out(bag))
        or bool((facts.missing or facts.old_label) and bag.state in _FILLED)
    )


def _bad_lots(
    one: Contents,
    holds: Mapping[LotKey, LotHold],
    uses: Mapping[UseKey, LetGo],
    margin: int,
    near: date | None,
) -> dict[int, str]:
    """Lots of the bag that can't stay in it, and why; of a pre-made kit also those whose date is near."""
    until = good_until(one.bag.job, margin)
    found = {}
    for number, lot in one.lots.items():
        hold = holds.get((lot.item_id, lot.number))
        if hold:
            found[number] = f"HOLD {hold.pk}: {hold.reason}"
        elif near and lot.use_by and lot.use_by < near:
            found[number] = near_words(lot.use_by)
        elif not is_good(lot, until) and not is_let(one, lot, uses, until):
            found[number] = f"EXPIRES BEFORE CUTOVER: {lot.use_by or 'no use-by date'}, needed through {until}"
    return found


def _whys(bag: Bag, facts: BagFacts, bad: Iterable[str]) -> Iterator[str]:
    if bag.state in (REOPENED, BROKEN, CANCELLED) and bag.why:
        yield bag.why
    if bag.state == CANCELLED:
        return
    if bag.state == ON_HOLD and not facts.held:
        yield "nothing in it is held any more"
    if facts.superseded:
        yield facts.superseded
    if facts.elsewhere and not is_out(bag):
        is_begun = facts.inside and allows(bag.state, PICK)
        yield f"{facts.elsewhere}; {_SETTLED}" if is_begun else facts.elsewhere
    if facts.held or facts.out_of_date:
        yield from dict.fromkeys(bad)
    if facts.missing:
        yield f"SHORT: {', '.join(facts.missing)}"
    if facts.old_label and not is_out(bag):
        yield facts.old_label


def _take_out(one: Contents, bad: Mapping[int, str]) -> Iterator[Pieces]:
    """What can't stay: bad lots whole, of others what no line wants."""
    inside: dict[tuple[str, int], int] = {}
    for stand in one.lines:
        left = stand.open if one.bag.state == CANCELLED else stand.too_many
        for number in sorted(stand.inside):
            pieces = stand.inside[number] if number in bad else min(stand.inside[number], left)
            left -= min(pieces, left)
            why = bad.get(number, "wanted no more")
            if pieces > 0:
                inside[why, number] = inside.get((why, number), 0) + pieces
    for (why, number), pieces in sorted(inside.items(), key=lambda part: _by_lot(one.lots[part[0][1]])):
        lot = one.lots[number]
        yield Pieces(lot.item.stock_code, pieces, lot=lot.number, why=why)


def _by_lot(lot: Lot) -> tuple[object, ...]:
    return natural_key(lot.item.stock_code), natural_key(lot.number)


def _add(one: Contents, bad: Mapping[int, str]) -> Iterator[Pieces]:
    """What is missing once the bad lots are out, spares apart."""
    wanted: dict[tuple[str, bool], int] = {}
    for stand in one.lines if one.bag.state != CANCELLED else ():
        pieces = stand.missing + _to_replace(stand, bad)
        if pieces and stand.line.item:
            key = (stand.line.item.stock_code, stand.line.spare)
            wanted[key] = wanted.get(key, 0) + pieces
    for (code, spare), pieces in sorted(wanted.items(), key=lambda part: (part[0][1], natural_key(part[0][0]))):
        yield Pieces(code, pieces, spare=spare)


def _to_replace(stand: LineStand, bad: Collection[int]) -> int:
    """Bad pieces of a line, less those that it does not want anyway."""
    return max(sum(stand.inside[number] for number in bad if number in stand.inside) - stand.too_many, 0)


def _lent(found: Collection[Contents]) -> dict[int, tuple[str, ...]]:
    """What is to be brought back to each bag."""
    told: dict[int, tuple[str, ...]] = {}
    lent = Borrow.objects.filter(
        bag__in=[one.bag.pk for one in found], given_up_why="", paid__lt=F("quantity")
    ).select_related("lot__item", "to_job")
    for one in lent.order_by("pay_back_by", "pk"):
        sentence = f"{bare(one.quantity - one.paid)} {one.lot.item} by {one.pay_back_by}, lent to {one.to_job}"
        told[one.bag_id] = (*told.get(one.bag_id, ()), sentence)
    return told
