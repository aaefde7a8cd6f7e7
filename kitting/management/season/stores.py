"""What the demo's people do again and again: plan, bring pieces over, build bags, issue them, fit them, close them."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from types import MappingProxyType
from typing import Any

from inventory.models import BIN, Balance, Depot, Place
from inventory.services.transferring import Load, Unload, receive_transfer, send_transfer
from kitting.calculation.planning import plan
from kitting.calculation.promising.model import TRANSFER
from kitting.calculation.sheets.book import read_book
from kitting.management.season.people import CREW, NIGHT, PLANS, SECOND, STORES
from kitting.models import Bag, Promise
from kitting.roles import Actor
from kitting.selectors.bag_contents import Contents, contents_of, label_code
from kitting.selectors.expired_uses import past_dates
from kitting.selectors.returns_due import due_back
from kitting.selectors.sheets import sheets_from_records
from kitting.services.apply_plan import ReviewedPlan, apply_plan
from kitting.services.fill_bags import check, finish_short, pick
from kitting.services.issue_bags import begin_work, issue, stage
from kitting.services.list_bags import list_bags
from kitting.services.return_bags import Installed, close, install, turn_in

NOTHING: Mapping[str, int] = MappingProxyType({})
_ARRIVED = "arrived"


@dataclass(slots=True)
class Stores:
    """The stores at a moment of the story; every scan takes the next number and a minute more."""

    at: datetime
    numbers: int = 0
    van: int = 0
    told: list[str] = field(default_factory=list)

    def say(self, sentence: str) -> None:
        """A line of the story."""
        self.told.append(sentence)

    def scan(self, actor: Actor = STORES) -> dict[str, Any]:
        """Who, when and the number of the next scan."""
        self.numbers += 1
        return {"actor": actor, "at": self._next(), "action": f"demo-{self.numbers}"}

    def stamp(self, actor: Actor = STORES) -> dict[str, Any]:
        """The same for the warehouse's own use cases."""
        self.numbers += 1
        return {"by": actor.name, "at": self._next(), "action": f"demo-{self.numbers}"}

    def plan(self) -> None:
        """Plan the records as of today and apply the plan."""
        sheets = sheets_from_records(self.at.date())
        day = self.at.date()
        made = plan(read_book(sheets), as_of=day, due_back=due_back(day), past_dates=past_dates())
        apply_plan(reviewed=ReviewedPlan(sheets, made), by=PLANS.name, at=self._next())

    def bring(self, *jobs: str) -> None:
        """Bring over by van what the plan wants from other depots for these jobs, and plan again."""
        for job in jobs:
            by_depot: dict[str, list[Promise]] = defaultdict(list)
            wanted = Promise.objects.filter(job__job=job, released_at=None, source=TRANSFER)
            for one in wanted.select_related("lot__item", "place__depot", "job").order_by("pk"):
                if one.place and one.place.kind == BIN:
                    by_depot[one.place.depot.depot].append(one)
            for depot, promises in sorted(by_depot.items()):
                self._van(depot, promises)
        self.plan()

    def build(self, job: str, structures: Collection[str] = (), but: Mapping[str, int] = NOTHING) -> None:
        """Fill the bags of a job as promised, less so many pieces of some codes; have them checked and staged."""
        bags = list_bags(job=job, **self.scan())
        for bag in bags:
            if structures and bag.structure not in structures:
                continue
            self._fill(bag, dict(but))
            code = label_code(bag)
            if self.contents(bag).missing():
                finish_short(bag=code, cause="still to come", **self.scan())
            check(bag=code, counted=self._counted(bag), **self.scan(SECOND))
            stage(bag=code, rack=f"{bag.depot} rack {job} {bag.structure}", **self.scan())
        built = [bag for bag in bags if not structures or bag.structure in structures]
        short = [f"{bag}: {', '.join(missing)}" for bag in built if (missing := self.contents(bag).missing())]
        named = f"{', '.join(map(str, built))}: checked and staged"
        self.say(f"{named}{'; SHORT ' + '; '.join(short) if short else ''}.")

    def issue(self, job: str, truck: str) -> None:
        """Give all bags of a job to a crew; a short one by leave of the duty supervisor."""
        for bag in Bag.objects.filter(job__job=job).select_related("job", "depot").order_by("number"):
            short = self.contents(bag).missing()
            leave: dict[str, Any] = {"approver": NIGHT, "reason": f"goes without {', '.join(short)}"} if short else {}
            issue(bag=label_code(bag), crew=f"Crew {truck}", truck=truck, signature=CREW.name, **leave, **self.scan())
            begin_work(bag=label_code(bag), **self.scan(CREW))
        self.say(f"{job} is out with crew {truck}, signed by {CREW.name}.")

    def fit(self, job: str, but: Collection[tuple[str, str]] = ()) -> None:
        """Fit every piece where it belongs, except spares and the given kinds of parts at the given positions."""
        count = 0
        for bag in Bag.objects.filter(job__job=job).select_related("job", "depot").order_by("number"):
            contents = self.contents(bag)
            pieces = [
                Installed(
                    line=stand.line.line,
                    stock_code=contents.lots[lot].item.stock_code,
                    lot=contents.lots[lot].number,
                    quantity=inside,
                    phase=stand.line.facts.get("phases", ""),
                )
                for stand in contents.lines
                for lot, inside in stand.inside.items()
                if inside > 0 and not stand.line.spare
                and (stand.line.facts["structure"], stand.line.facts["kind"]) not in but
            ]  # fmt: skip
            if pieces:
                install(bag=label_code(bag), pieces=pieces, **self.scan(CREW))
                count += len(pieces)
        self.say(f"{job}: lots noted at {count} {'line' if count == 1 else 'lines'}.")

    def settle(self, job: str, *, leave: Collection[str] = ()) -> None:
        """Turn in what was not fitted, sealed, except these stock codes, and close the bags that balance."""
        for bag in Bag.objects.filter(job__job=job).select_related("job", "depot").order_by("number"):
            contents = self.contents(bag)
            for stand in contents.lines:
                for number, inside in stand.inside.items():
                    lot = contents.lots[number]
                    if inside > 0 and lot.item.stock_code not in leave:
                        kind = "supplier-owned" if lot.supplier_owned else BIN
                        turn_in(
                            bag=label_code(bag), stock_code=lot.item.stock_code, lot=lot.number, quantity=inside,
                            condition="sealed", door="stock", place=self.place(bag.depot, _ARRIVED, kind),
                            **self.scan(),
                        )  # fmt: skip
            if not self.contents(bag).open():
                close(bag=label_code(bag), **self.scan())

    def whole(self, job: str, truck: str) -> None:
        """A job from its bags to its close, with nothing unusual."""
        self.bring(job)
        self.build(job)
        self.issue(job, truck)
        self.fit(job)
        self.settle(job)
        self.say(f"{job} is closed: issued = installed + turned in.")

    def contents(self, bag: Bag) -> Contents:
        """What is in a bag and what it wants, as it is now."""
        found = Bag.objects.select_related("job", "depot", "place").get(pk=bag.pk)
        return contents_of([found])[found.pk]

    def place(self, depot: Depot, code: str, kind: str = BIN) -> Place:
        """A place of a depot, new where it is not on the books yet."""
        found, _ = Place.objects.get_or_create(depot=depot, code=code, kind=kind, job="", structure="")
        return found

    def _next(self) -> datetime:
        self.at += timedelta(minutes=1)
        return self.at

    def _van(self, depot: str, promises: list[Promise]) -> None:
        self.van += 1
        number, home = f"V-{self.van}", Depot.objects.get(depot=promises[0].depot)
        loads: dict[tuple[int, int], Load] = {}
        for one in promises:
            if one.lot is None or one.place is None:
                continue
            key = (one.lot.pk, one.place.pk)
            before = loads[key].quantity if key in loads else 0
            loads[key] = Load(lot=one.lot, quantity=before + one.quantity, source=one.place)
        send_transfer(transfer=number, to_depot=home, loads=[*loads.values()], **self.stamp())
        by_lot: dict[int, int] = defaultdict(int)
        lots = {load.lot.pk: load.lot for load in loads.values()}
        for load in loads.values():
            by_lot[load.lot.pk] += load.quantity
        target = self.place(home, _ARRIVED)
        unloads = [Unload(lot=lots[lot], counted=pieces, target=target) for lot, pieces in by_lot.items()]
        receive_transfer(transfer=number, unloads=unloads, **self.stamp(SECOND))
        told = ", ".join(f"{load.quantity // 1000} {load.lot.item}" for load in loads.values())
        self.say(f"Van {number} from {depot} to {home} for {promises[0].job}: {told}.")

    def _fill(self, bag: Bag, left_out: dict[str, int]) -> None:
        lines = {stand.line.line for stand in self.contents(bag).lines if not stand.line.dropped}
        wanted: dict[tuple[int, int], int] = defaultdict(int)
        found = {}
        promises = Promise.objects.filter(job=bag.job, line__in=lines, released_at=None, place__depot=bag.depot)
        for one in promises.exclude(place__kind="bag").select_related("lot__item", "place__depot").order_by("pk"):
            if one.lot and one.place:
                key = (one.lot.pk, one.place.pk)
                wanted[key] += one.quantity
                found[key] = (one.lot, one.place)
        for key, quantity in wanted.items():
            lot, place = found[key]
            kept = min(left_out.get(lot.item.stock_code, 0) * 1000, quantity)
            left_out[lot.item.stock_code] = left_out.get(lot.item.stock_code, 0) - kept // 1000
            if quantity > kept:
                pick(
                    bag=label_code(bag), stock_code=lot.item.stock_code, lot=lot.number, place=place,
                    quantity=quantity - kept, **self.scan(),
                )  # fmt: skip

    @staticmethod
    def _counted(bag: Bag) -> dict[str, int]:
        found: dict[str, int] = defaultdict(int)
        for balance in Balance.objects.filter(place_id=bag.place_id, quantity__gt=0).select_related("lot__item"):
            found[balance.lot.item.stock_code] += balance.quantity
        return dict(found)
