"""Stores with the demo's books, planned and applied, and short words for what people scan there."""

from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

from people import DUTY, STORES, person
from snapshots import made_once

from inventory.models import Balance, Depot, Item, Lot, LotHold, Place
from jobs.models import Run, ScheduleRevision
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.calculation.short_codes import bag_code
from kitting.models import Bag
from kitting.roles import Actor
from kitting.selectors.bag_contents import Contents, contents_of
from kitting.selectors.expired_uses import past_dates
from kitting.selectors.free_shelf import free_on_shelf
from kitting.selectors.promises import promised_at
from kitting.selectors.returns_due import due_back
from kitting.selectors.sheets import sheets_from_records
from kitting.services.apply_plan import ReviewedPlan, apply_plan
from kitting.services.fill_bags import check, finish_short, pick
from kitting.services.issue_bags import begin_work, issue, stage
from kitting.services.list_bags import list_bags
from kitting.services.record_events import Happening, record_events
from kitting.services.return_bags import Installed, install
from kitting.services.scans import Answer
from kitting.spreadsheets.reading import read_raw_book

CLEAN = Path(__file__).parents[2] / "fixtures_demo" / "clean"
MORNING = datetime(2026, 3, 2, 13, 0, tzinfo=UTC)  # 07:00 at the depots
OTHER_STORES = person("L. Fenn", "storekeeper")
CREW = person("T. Ahola", "crew lead")
NIGHT = datetime(2026, 3, 14, 7, 10, tzinfo=UTC)  # of the dig-in, 02:10 at the depots


def demo_sheets() -> Any:
    """The demo's clean sheets."""
    return read_raw_book(CLEAN)


def planned() -> None:
    """The demo on the first morning, planned and applied, in books that hold just the clean sheets."""
    made_once("planned-demo", lambda: Stores(prefix="before").plan())


def staged_early() -> None:
    """The demo with J10's bag for vault 9 staged on the first morning, in books that hold just the clean sheets."""
    planned()
    made = Stores(prefix="staged")
    made.bags("J10")
    made.ready("J10", "V9", rack="H rack 4")


def a_pad_fitted() -> None:
    """The demo with three elbows on J01's first pad, in books that hold just the clean sheets."""
    made_once("pad-fitted-demo", _fit_a_pad)


def _fit_a_pad() -> None:
    planned()
    made = Stores(prefix="fitted")
    made.out("J01", "A1")
    code = made.code("J01", "A1")
    begin_work(bag=code, **made.scan(CREW))
    contents = made.contents("J01", "A1")
    pieces = [
        Installed(line=stand.line.line, stock_code="EL15-2", lot=contents.lots[lot].number, quantity=1000, phase=phase)
        for stand in contents.lines
        if stand.line.facts.get("position") and str(stand.line.item) == "EL15-2"
        for lot in stand.inside
        for phase in "ABC"
    ]
    install(bag=code, pieces=pieces, **made.scan(CREW))


def promised_in_vain() -> dict[tuple[int, int], int]:
    """Thousandths that are promised beyond what lies there, by place and lot."""
    there = {(one.place_id, one.lot_id): one.quantity for one in Balance.objects.all()}
    return {key: pieces - there.get(key, 0) for key, pieces in promised_at().items() if pieces > there.get(key, 0)}


def free_lot(depot: str = "N") -> tuple[Balance, int]:
    """A lot of a bin of which at least two pieces lie free that never go out of date, and how many do."""
    rows = free_on_shelf([*Item.objects.values_list("pk", flat=True)], depot)
    return next((one, free) for one, free in rows if free >= 2000 and one.lot.use_by is None and one.lot.number)


class Stores:
    """Scans in the order in which they are asked for; each takes the next number and minute."""

    def __init__(self, at: datetime = MORNING, prefix: str = "S") -> None:
        self.at = at
        self._prefix = prefix
        self._numbers = count(1)

    def scan(self, actor: Actor = STORES, **given: Any) -> dict[str, Any]:
        """Who, when and the number of the next scan."""
        number = next(self._numbers)
        return {
            "actor": actor,
            "at": self.at + timedelta(minutes=number),
            "action": f"{self._prefix}-{number}",
            **given,
        }

    def plan(self, as_of: date | None = None) -> None:
        """Plan the records and apply the plan."""
        day = as_of or self.at.date()
        sheets = sheets_from_records(day)
        made = plan(read_book(sheets), as_of=day, due_back=due_back(day), past_dates=past_dates())
        apply_plan(reviewed=ReviewedPlan(sheets, made), by="R. Tolley", at=self.at)

    def revise(self, job: str, letter: str, structure: str, phases: str) -> None:
        """Give a job another schedule revision: the runs that end at a structure have these phases there."""
        old = ScheduleRevision.objects.get(job__job=job, live=True)
        runs = [*Run.objects.filter(revision=old).select_related("to_position__structure")]
        changed = [run for run in runs if run.to_position.structure.structure == structure]
        ScheduleRevision.objects.filter(pk=old.pk).update(live=False)
        new = ScheduleRevision.objects.create(
            job=old.job, letter=letter, digest=letter * 64, file_digest=letter * 64, loaded_by="R. Tolley",
            loaded_at=self.at,
        )  # fmt: skip
        for run in runs:
            run.pk, run.revision = None, new
            run.phases = phases if run in changed else run.phases
            run.save(force_insert=True)
        told = {"revision": letter, "new": [], "changed": [run.run for run in changed], "gone": []}
        record_events([Happening("schedule revised", job, told)], by="R. Tolley", at=self.at)

    def bags(self, job: str) -> list[Bag]:
        """The bags of a job."""
        return list_bags(job=job, **self.scan())

    def bag(self, job: str, structure: str) -> Bag:
        """A bag as it is now."""
        return Bag.objects.select_related("job", "depot", "place").get(job__job=job, structure=structure)

    def code(self, job: str, structure: str) -> str:
        """The code on a bag's label."""
        return bag_code(job, structure, self.bag(job, structure).number)

    def contents(self, job: str, structure: str) -> Contents:
        """What is in a bag and what it wants."""
        bag = self.bag(job, structure)
        return contents_of([bag])[bag.pk]

    def place(self, depot: str, code: str, kind: str = "bin") -> Place:
        """A place, made where there is none."""
        found, _ = Place.objects.get_or_create(depot=Depot.objects.get(depot=depot), code=code, kind=kind)
        return found

    def fetch(self, job: str, structure: str, *, but: Mapping[str, int] = {}, by: Actor = STORES) -> None:
        """Pick all that a bag wants from the bins of its depot, the first to expire first, ``but`` so many pieces.

        Pieces that lie at other depots are brought over first, as an adjustment of the test.
        """
        wanted: dict[Item, int] = {}
        for stand in self.contents(job, structure).lines:
            if stand.line.item and stand.missing:
                wanted[stand.line.item] = wanted.get(stand.line.item, 0) + stand.missing
        for item, quantity in wanted.items():
            left = quantity - but.get(item.stock_code, 0) * 1000
            for balance in self._free(job, structure, item):
                pieces = min(left, balance.quantity)
                if pieces > 0:
                    self.pick(job, structure, item.stock_code, balance.lot.number, balance.place, pieces / 1000, by=by)
                    left -= pieces

    def pick(
        self, job: str, structure: str, code: str, lot: str, place: Place, quantity: float, *,
        confirmed: tuple[str, ...] = ("other-lot/1", "promised-to-others/1"), by: Actor = STORES, **given: Any,
    ) -> Answer:  # fmt: skip
        """Put pieces in a bag."""
        thousandths = round(quantity * 1000)
        return pick(
            bag=self.code(job, structure), stock_code=code, lot=lot, place=place, quantity=thousandths,
            confirmed=confirmed, **self.scan(by, **given),
        )  # fmt: skip

    def counted(self, job: str, structure: str) -> dict[str, int]:
        """What is really in a bag, by stock code."""
        found: dict[str, int] = {}
        for balance in Balance.objects.filter(place=self.bag(job, structure).place, quantity__gt=0):
            code = balance.lot.item.stock_code
            found[code] = found.get(code, 0) + balance.quantity
        return found

    def ready(self, job: str, structure: str, rack: str = "R-1") -> None:
        """Fill a bag, have it checked and put it in its rack place."""
        self.fetch(job, structure)
        if self.contents(job, structure).missing():
            finish_short(bag=self.code(job, structure), cause="still to come", **self.scan())
        check(bag=self.code(job, structure), counted=self.counted(job, structure), **self.scan(OTHER_STORES))
        stage(bag=self.code(job, structure), rack=rack, confirmed=("place-taken/1",), **self.scan())

    def issue(self, job: str, structure: str, **given: Any) -> Answer:
        """Give a bag to the crew; a short one goes by leave of the duty supervisor."""
        leave = {"approver": DUTY, "reason": "the rest follows by van"}
        short = leave if self.contents(job, structure).missing() else {}
        asked = {"crew": "Crew 14", "truck": "14", "signature": "T. Ahola", **short, **given}
        return issue(bag=self.code(job, structure), **{**self.scan(), **asked})

    def out(self, job: str, *structures: str) -> None:
        """List the bags of a job, and give those for these structures to the crew."""
        self.bags(job)
        for structure in structures:
            self.ready(job, structure)
            self.issue(job, structure)

    def _free(self, job: str, structure: str, item: Item) -> list[Balance]:
        held = LotHold.objects.filter(released_at=None).values_list("item", "lot_number")
        found = Balance.objects.filter(
            lot__item=item, quantity__gt=0, place__kind__in=("bin", "supplier-owned"),
            place__depot=self.bag(job, structure).depot,
        ).select_related("lot__item", "place__depot")  # fmt: skip
        rows = [one for one in found.order_by("lot__use_by", "pk") if (one.lot.item_id, one.lot.number) not in held]
        return [one for one in rows if one.lot.use_by is None or one.lot.use_by >= self._needed(job)]

    @staticmethod
    def _needed(job: str) -> date:
        cutover = Bag.objects.filter(job__job=job).values_list("job__cutover", flat=True)[0]
        return date.fromisoformat(cutover[:10])

    @staticmethod
    def lot(code: str, number: str) -> Lot:
        """A lot on the books."""
        return Lot.objects.select_related("item").get(item__stock_code=code, number=number)
