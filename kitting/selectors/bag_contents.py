"""What is in a bag, what it still wants, and what has become of what it held."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

from django.db.models import Sum

from inventory.models import Action, Lot, LotHold
from inventory.selectors.finding import LotKey, open_holds
from inventory.selectors.words import quantity_text
from jobs.models import Job, ScheduleRevision
from kitting.calculation import bag_states
from kitting.calculation.bag_states import (
    ARRIVE,
    CLOSED,
    GIVE,
    ISSUE,
    ON_HOLD,
    OUT,
    SEND,
    TABLE,
    TURN_IN,
    WRITE_OFF,
    BagFacts,
)
from kitting.calculation.short_codes import bag_code, verified
from kitting.calculation.weights import Load, Pieces, load_of
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, BagLine, Event, LotToFinish, Recipe
from kitting.models.bags import (
    ACCOUNTED,
    BORROWED,
    HANDED_BACK,
    INSTALLED,
    ISSUED,
    OUT_OF_THE_BAG,
    PICKED,
    PUT_BACK,
    TAKEN_BACK,
    and_taken_back,
)
from kitting.selectors.bag_depots import bag_depots
from kitting.selectors.changed_rules import bags_of_changed_rules
from kitting.selectors.ended_stand_ins import ended_stand_ins
from kitting.selectors.expired_uses import NOTHING_LET_GO, LetGo, UseKey, expired_uses
from kitting.selectors.old_labels import OldLabel, labels_of_before, old_label, read_label, revised_runs
from kitting.selectors.planned_bags import unknown_bag
from kitting.selectors.policies import margin_days
from kitting.selectors.reel_fits import unfit_for_reels

_LESS = {HANDED_BACK: ISSUED, **TAKEN_BACK}  # what is taken off the sum of another deed
NOT_LISTED = "it was never planned"
_AGAIN = "plan, apply, look again"


@dataclass(slots=True)
class LineStand:
    """How a line of a bag stands: thousandths by deed, and by lot what is inside now and what is on the line."""

    line: BagLine
    done: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    inside: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    fitted: dict[int, int] = field(default_factory=lambda: defaultdict(int))

    @property
    def picked(self) -> int:
        """Thousandths that were put in for this line and were neither put back nor lent."""
        return self.done[PICKED] - self.done[PUT_BACK] - self.done[BORROWED]

    @property
    def missing(self) -> int:
        """Thousandths that are wanted and not picked."""
        return 0 if self.line.dropped else max(self.line.quantity - self.picked, 0)

    @property
    def too_many(self) -> int:
        """Thousandths inside that no live line wants."""
        return max(self.picked - (0 if self.line.dropped else self.line.quantity), 0)

    @property
    def open(self) -> int:
        """Thousandths that are inside: once issued, those that nobody has accounted for."""
        return sum(self.inside.values())

    @property
    def issued(self) -> int:
        """Thousandths that went out with the crew."""
        return self.done[ISSUED] - self.done[HANDED_BACK]

    @property
    def installed(self) -> int:
        """Thousandths that were installed."""
        return self.done[INSTALLED]


@dataclass(frozen=True, slots=True)
class Contents:
    """A bag's lines as they stand, and the lots inside."""

    bag: Bag
    lines: Sequence[LineStand]
    lots: Mapping[int, Lot]

    def lacks(self) -> dict[str, int]:
        """Thousandths missing of lines that are no spares, by stock code; 0 by line where nobody can decide yet."""
        wanted: dict[str, int] = defaultdict(int)
        for stand in self.lines:
            if stand.missing and not stand.line.spare and stand.line.item:
                wanted[stand.line.item.stock_code] += stand.missing
        return {**dict(sorted(wanted.items())), **dict.fromkeys(self.undecided(), 0)}

    def missing(self) -> tuple[str, ...]:
        """What is missing of lines that are no spares, in words: ``1 JS-3``, and lines that nobody can decide yet."""
        return lacking_words(self.lacks())

    def open(self) -> tuple[str, ...]:
        """Pieces that are still inside, in words."""
        left: dict[str, int] = defaultdict(int)
        for stand in self.lines:
            if stand.open and stand.line.item:
                left[stand.line.item.stock_code] += stand.open
        return tuple(f"{bare(number)} {code}" for code, number in sorted(left.items()))

    def undecided(self) -> tuple[str, ...]:
        """Lines for which no stock code is chosen."""
        return tuple(stand.line.line for stand in self.lines if not stand.line.item_id and not stand.line.dropped)


def lacking_words(lacks: Mapping[str, int]) -> tuple[str, ...]:
    """What ``Contents.lacks`` tells, in words."""
    return tuple(f"{bare(number)} {what}" if number else f"{what} (undecided)" for what, number in lacks.items())


def bare(quantity: int) -> str:
    """Thousandths as the shortest number: ``6``, ``0.5``."""
    return quantity_text(quantity, "").strip()


def bag_by_code(code: str, *, lock: bool = False) -> Bag:
    """The bag of a code that was typed, or scanned from its label.

    Raises:
        Refusal: ``wrong-check-characters``; ``unknown-bag``: ours in form, but no bag here has it;
            ``superseded-label``: the bag has changed since its label was printed, and how.
    """
    found, old = bag_of_label(code, lock=lock)
    if old and not old.is_good:
        raise Refusal("superseded-label", old.sentence, {"changes": old.changes})
    return found


def bag_of_label(scanned: str, *, lock: bool = False) -> tuple[Bag, OldLabel | None]:
    """The bag of a code, and what is to be said of its label where that is of an older revision.

    Raises:
        Refusal: ``wrong-check-characters``; ``unknown-bag``.
    """
    number, printed = read_label(scanned)
    plain = verified(number)
    bags = Bag.objects.select_related("job", "depot", "place__depot")
    if lock:
        bags = bags.select_for_update(of=("self",))
    found = bags.filter(code=plain).first()
    if found is None:
        raise unknown_bag(scanned)
    return found, old_label(found, printed, live_letter(found.job)) if printed else None


def label_note(scanned: str) -> str:
    """What is to be said of a label besides what was done with it; '' for one of the revision that the bag is of.

    Raises:
        Refusal: as ``bag_of_label``.
    """
    old = bag_of_label(scanned)[1]
    return old.sentence if old else ""


def is_out(bag: Bag) -> bool:
    """Whether the crew has it."""
    return bag.state in OUT or bag.state_before_hold in OUT


def label_code(bag: Bag) -> str:
    """The number on a bag's label, with its check characters."""
    return bag_code(bag.job.job, bag.structure, bag.number)


def contents_of(bags: Iterable[Bag]) -> dict[int, Contents]:
    """Contents by bag; three queries, however many bags and lines there are."""
    wanted = {bag.pk: bag for bag in bags}
    lines = BagLine.objects.filter(bag__in=wanted).select_related("item").order_by("position", "pk")
    stands: dict[int, LineStand] = {}
    of_bag: dict[int, list[LineStand]] = defaultdict(list)
    for line in lines:
        line.bag = wanted[line.bag_id]
        stands[line.pk] = LineStand(line)
        of_bag[line.bag_id].append(stands[line.pk])
    sums = BagEntry.objects.filter(line__bag__in=wanted).values_list("line", "lot", "deed").annotate(Sum("quantity"))
    lots = set()
    for number, lot, deed, quantity in sums:
        stand = stands[number]
        stand.done[TAKEN_BACK.get(deed, deed)] += -quantity if deed in TAKEN_BACK else quantity
        lots.add(lot)
        if deed in and_taken_back(INSTALLED):
            stand.fitted[lot] += -quantity if deed in TAKEN_BACK else quantity
        if deed == PICKED or deed in TAKEN_BACK:
            stand.inside[lot] += quantity
        elif deed in OUT_OF_THE_BAG:
            stand.inside[lot] -= quantity
    found = {lot.pk: lot for lot in Lot.objects.filter(pk__in=lots).select_related("item")}
    return {number: Contents(bag, of_bag[number], found) for number, bag in wanted.items()}


def good_until(job: Job, margin: int | None = None) -> date | None:
    """The day through which every lot of a job must be good, ``margin`` days after it; None without a cutover."""
    last = (job.cutover_end or job.cutover)[:10]
    if not last:
        return None
    return date.fromisoformat(last) + timedelta(margin_days() if margin is None else margin)


def is_good(lot: Lot, until: date | None) -> bool:
    """Whether a lot is good through a day; a dated item without a date is not."""
    if lot.use_by is None:
        return lot.item.shelf_months is None
    return until is None or lot.use_by >= until


def live_letters(jobs: Iterable[int]) -> dict[int, str]:
    """The letter of the live schedule revision by job number of the records, where it has one; two queries.

    Pre-made kits have no schedule: theirs is the revision of their recipe.
    """
    wanted = {*jobs}
    recipes = Recipe.objects.filter(job__in=wanted).values_list("job", "revision")
    return dict([*recipes, *ScheduleRevision.objects.filter(job__in=wanted, live=True).values_list("job", "letter")])


def live_letter(job: Job) -> str:
    """The letter of a job's live schedule revision, '' where it has none."""
    return live_letters([job.pk]).get(job.pk, "")


def facts_of(
    contents: Contents, *, by: str = "", approver: str = "", reason: str = "", signature: str = ""
) -> BagFacts:
    """What the guards look at while somebody acts."""
    return replace(
        facts_of_all([contents])[contents.bag.pk],
        pickers=pickers([contents.bag])[contents.bag.pk],
        by=by,
        approver=approver,
        reason=reason,
        signature=signature,
    )


def facts_of_all(found: Collection[Contents]) -> dict[int, BagFacts]:
    """What the guards look at by bag, nobody acting.

    Twelve queries, two more where a bag is superseded, and one more each where a label was printed, a lot was let go
    past its date, a part stands in for another; those of the books' clock where rules were published.
    """
    letters, margin = live_letters(one.bag.job_id for one in found), margin_days()
    holds = open_holds(lot for one in found for lot in lots_inside(one))
    uses = expired_uses({one.bag.job_id for one in found})
    unnamed, old = _unnamed(found), _superseded(found, letters)
    labels = labels_of_before(one.bag for one in found)
    named = bag_depots(one.bag.job_id for one in found)
    return {
        one.bag.pk: replace(
            _facts(one, margin, holds, uses),
            unnamed=tuple(unnamed[one.bag.pk]),
            superseded=old.get(one.bag.pk, ""),
            old_label=labels.get(one.bag.pk, ""),
            elsewhere=_elsewhere(one.bag, named),
        )
        for one in found
    }


def _elsewhere(bag: Bag, named: Mapping[tuple[str, str], str]) -> str:
    """That a bag lies at another depot than its planned job, or its location, has by now."""
    depot = named.get((bag.job.job, bag.structure), bag.job.depot)
    if bag.job.ended or bag.depot.depot == depot:
        return ""
    return f"ANOTHER DEPOT: to be staged at {depot}, not at {bag.depot}"


def _unnamed(found: Collection[Contents]) -> dict[int, list[str]]:
    """Pieces by bag that went out in a storm and whose lot nobody has named yet."""
    told: dict[int, list[str]] = defaultdict(list)
    rows = LotToFinish.objects.filter(line__bag__in=[one.bag.pk for one in found], named=None).order_by("pk")
    for bag, code, quantity in rows.values_list("line__bag", "lot__item__stock_code", "quantity"):
        told[bag].append(f"{bare(quantity)} {code}")
    return told


def _facts(one: Contents, margin: int, holds: Mapping[LotKey, LotHold], uses: Mapping[UseKey, LetGo]) -> BagFacts:
    lots, until = lots_inside(one), good_until(one.bag.job, margin)
    past = [lot for lot in lots if not is_good(lot, until) and not is_let(one, lot, uses, until)]
    return BagFacts(
        name=str(one.bag),
        decided=any(stand.line.item_id and not stand.line.dropped for stand in one.lines),
        missing=one.missing(),
        inside=bool(lots),
        is_out=is_out(one.bag),
        out_of_date=tuple(f"{lot} {lot.use_by or 'without a date'}" for lot in past),
        held=tuple(f"{lot}" for lot in lots if (lot.item_id, lot.number) in holds),
        open=one.open(),
        road=one.bag.whereabouts if one.bag.transfer_id else "",
    )


def is_let(one: Contents, lot: Lot, uses: Mapping[UseKey, LetGo], until: date | None) -> bool:
    """Whether two persons have let go as many pieces of a lot past its date as were picked for the bag's job."""
    return uses.get((one.bag.job_id, lot.item_id, lot.number), NOTHING_LET_GO).covers(until)


def inside_by_lot(contents: Contents) -> dict[Lot, int]:
    """Thousandths in the bag of each lot of which a piece is in it."""
    inside = Counter[int]()
    for stand in contents.lines:
        inside.update(stand.inside)
    return {contents.lots[number]: left for number, left in sorted(inside.items()) if left > 0}


def lots_inside(contents: Contents) -> list[Lot]:
    """Lots of which a piece is in the bag."""
    return [*inside_by_lot(contents)]


def _superseded(found: Collection[Contents], letters: Mapping[int, str]) -> dict[int, str]:
    """Why the lists of bags are not what is live.

    A stand-in ended, a part does not fit its reel, rules were published since, or the schedule has another revision;
    then also where it differs.
    """
    bags = [one.bag for one in found]
    listed = [stand.line for one in found for stand in one.lines if not stand.line.dropped]
    told = {bag: f"STAND-IN ENDED: {words}; {_AGAIN}" for bag, words in ended_stand_ins(listed).items()}
    told |= {bag: f"{words}; {_AGAIN}" for bag, words in unfit_for_reels(listed).items()}
    told |= {bag: f"RULES CHANGED: {names}; {_AGAIN}" for bag, names in bags_of_changed_rules(bags).items()}
    old = {bag: letters.get(bag.job_id, "") for bag in bags if letters.get(bag.job_id, "") != bag.revision}
    runs = revised_runs({(bag.job.job, letter) for bag, letter in old.items()})
    kits = {*Recipe.objects.filter(job__in=[bag.job_id for bag in old]).values_list("job", flat=True)} if old else ()
    return told | {
        bag.pk: _superseded_words(bag, letter, runs.get((bag.job.job, letter), ""), is_kit=bag.job_id in kits)
        for bag, letter in old.items()
    }


def _superseded_words(bag: Bag, letter: str, runs: str, *, is_kit: bool) -> str:
    again = "make the recipes up again" if is_kit else _AGAIN
    told = f"SUPERSEDED BY REV {letter}: the bag was listed for rev {bag.revision or 'none'}; {again}"
    return f"{told}; rev {letter}: {runs}" if runs else told


def pickers(bags: Iterable[Bag]) -> dict[int, frozenset[str]]:
    """Everybody who put pieces in since the bag was checked last, by bag; three queries."""
    by_code = {bag.code: bag for bag in bags}
    found: dict[int, set[str]] = {bag.pk: set() for bag in by_code.values()}
    checks = Event.objects.filter(name="bag checked", subject__in={str(bag) for bag in by_code.values()})
    last = dict(checks.order_by("number").values_list("data__bag", "data__action"))
    actions = dict(Action.objects.filter(number__in=last.values()).values_list("number", "pk"))
    since = {by_code[code].pk: actions[number] for code, number in last.items() if code in by_code}
    entries = BagEntry.objects.filter(line__bag__in=found, deed=PICKED)
    for number, action, by in entries.values_list("line__bag", "action", "action__by").distinct():
        if action > since.get(number, 0):
            found[number].add(by)
    return {number: frozenset(names) for number, names in found.items()}


def load_inside(contents: Contents) -> Load:
    """What a bag weighs with all that is inside now, and how many boxes that is."""
    return load_of(
        Pieces(lot.item.stock_code, left, lot.item.weight_ng, lot.item.per_box)
        for stand in contents.lines
        for lot, left in ((contents.lots[number], left) for number, left in stand.inside.items())
    )


def label_state(contents: Contents) -> str:
    """What a label says: FULL, SHORT and what, ON HOLD, or the state where it is neither of these."""
    bag = contents.bag
    if bag.state == "on hold":
        return "ON HOLD"
    missing = contents.missing()
    if missing:
        return f"SHORT: {', '.join(missing)}"
    return "FULL" if bag.state in ("checked", "staged", "issued", "in work") else bag.state.upper()


def named_steps(bag: Bag, *, is_kit: bool) -> list[str]:
    """What the table of states names for a bag as it is; a kit is given whole, a bag issued, or sent elsewhere.

    A closed one takes what its exception left open, and nothing else.
    """
    never = {ISSUE, SEND} if is_kit else {GIVE}
    if bag.state == ON_HOLD:
        never |= {bag_states.PUT_BACK} if is_out(bag) else {TURN_IN, WRITE_OFF}
    never.add(SEND if bag.transfer_id else ARRIVE)
    if bag.state == CLOSED and not bag.place.balances.filter(quantity__gt=0).exists():
        return []
    return [row.action for row in TABLE if row.state == bag.state and row.action not in never]


def accounts(contents: Contents) -> dict[tuple[str, str], dict[str, int]]:
    """By stock code and lot: issued, installed, turned in, scrapped, lost and open, in thousandths."""
    numbers = [stand.line.pk for stand in contents.lines]
    rows = BagEntry.objects.filter(line__in=numbers, deed__in=(ISSUED, HANDED_BACK, *ACCOUNTED, *TAKEN_BACK))
    sums = rows.values_list("lot__item__stock_code", "lot__number", "deed").annotate(Sum("quantity"))
    found: dict[tuple[str, str], dict[str, int]] = {}
    for code, lot, deed, quantity in sums:
        line = found.setdefault((code, lot), dict.fromkeys((ISSUED, *ACCOUNTED, "open"), 0))
        line[_LESS.get(deed, deed)] += -quantity if deed in _LESS else quantity
    for line in found.values():
        line["open"] = line[ISSUED] - sum(line[deed] for deed in ACCOUNTED)
    return found
