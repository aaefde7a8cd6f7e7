"""What every scan of a bag shares: who acts, the action number, the guards, and what is written down."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import NotRequired, TypedDict

from inventory.models import Action, Lot, Place
from inventory.selectors.finding import open_holds
from inventory.services.actions import Stamp, begin
from kitting.calculation.bag_states import FORMER, IN_WORK, ON_HOLD, next_state
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, BagLine
from kitting.models.bags import BACK_FROM
from kitting.roles import AUDITOR, DO, Actor, require
from kitting.selectors.bag_contents import Contents, bag_by_code, contents_of, facts_of, lots_inside
from kitting.selectors.storms import event_of
from kitting.services.job_steps import note_outage
from kitting.services.record_events import Happening, record_events

BAGS = "bags"
BEFORE_HOLD = "booked from before a hold"


class Scan(TypedDict):
    """Who scans, at which moment of the server, under which number made on the device, and the device's clock.

    ``made_at`` is when it was done, where the books hear of it later: a hold that was placed after that did not stop
    it, and the bag goes on hold again behind it.
    """

    actor: Actor
    at: datetime
    action: str
    device_at: NotRequired[datetime | None]
    made_at: NotRequired[datetime | None]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a scan says back: one word or two for the screen, the sentence behind it, the bag as it is now."""

    word: str
    sentence: str
    bag: Bag
    repeated: bool = False


@dataclass(slots=True)
class Opened:
    """A bag locked for one scan, with its contents, and the action; ``repeated`` where the scan came before.

    ``before_hold``: it is on hold only for holds that were placed after the scan was made.
    """

    bag: Bag
    contents: Contents
    action: Action
    repeated: bool
    scan: Scan
    entries: list[BagEntry] = field(default_factory=list)
    before_hold: bool = False

    def write(
        self, line: BagLine, lot: Lot, deed: str, quantity: int, *, phase: str = "", facts: Mapping[str, object] = {}
    ) -> None:
        """Note what was done with pieces of a line."""
        self.entries.append(
            BagEntry(
                action=self.action, line=line, lot=lot, deed=deed, quantity=quantity, phase=phase, facts=dict(facts)
            )
        )

    def write_back(self, entry: BagEntry) -> None:
        """Note that what an entry says is taken back."""
        self.write(entry.line, entry.lot, BACK_FROM[entry.deed], entry.quantity, phase=entry.phase, facts=entry.facts)
        self.entries[-1].undoes = entry


def stamp_of(scan: Scan, paper: str = "") -> Stamp:
    """The stamp of a scan for the warehouse; ``paper`` is the code of the storm that it belongs to, if any."""
    stamp: Stamp = {"by": scan["actor"].name, "at": scan["at"], "action": scan["action"]}
    stamp["device_at"] = scan.get("device_at")
    stamp["paper"] = paper
    return stamp


def plain_code(code: str, what: str) -> str:
    """A number that somebody has made up for a job, without blanks around it.

    Raises:
        Refusal: ``no-code``: it is blank, or has a slash, which parts the names in an address.
    """
    plain = code.strip()
    if not plain or "/" in plain:
        raise Refusal("no-code", f"{what} needs a code of its own without a slash, such as EV-1; not {code!r}.", {})
    return plain


def opened(
    code: str,
    name: str,
    content: Mapping[str, object],
    scan: Scan,
    *,
    why: str = "",
    right: str = BAGS,
    level: str = DO,
    paper: str = "",
) -> Opened:
    """The bag of a code, locked, under the action's number, in the caller's transaction.

    The action bears the code of the storm to which the bag belongs, or ``paper``.

    Raises:
        Refusal: the code is no bag's, the person may not, or the number stands for another action.
    """
    bag = bag_by_code(code, lock=True)
    require(scan["actor"], right, level, bag.depot.depot)
    stamp = stamp_of(scan, paper or event_of(bag.job_id))
    action, repeated = begin(f"bag {name}", {"bag": bag.code, **content}, stamp, why)
    return Opened(bag, contents_of([bag])[bag.pk], action, repeated, scan)


def advance(one: Opened, deed: str, *, approver: str = "", reason: str = "", signature: str = "") -> str:
    """The state that a deed leads to, once all guards hold; nothing is saved yet.

    Raises:
        Refusal: the table doesn't allow it, or a guard doesn't hold.
    """
    by = one.scan["actor"].name
    facts = facts_of(one.contents, by=by, approver=approver, reason=reason, signature=signature)
    state = one.bag.state
    if facts.held and _is_before_its_holds(one):
        facts = replace(facts, held=())
        one.before_hold = state == ON_HOLD
        state = one.bag.state_before_hold if one.before_hold else state
    state = next_state(state, deed, facts)
    return one.bag.state_before_hold if state == FORMER else state


def _is_before_its_holds(one: Opened) -> bool:
    """Whether the scan was made before everything in the bag that is held was put on hold."""
    made_at, holds = one.scan.get("made_at"), open_holds(lots_inside(one.contents)).values()
    return made_at is not None and all(made_at < hold.placed_at for hold in holds)


def settled(
    one: Opened, state: str, name: str, told: Mapping[str, object], *, addressed_to: str = "", **changed: str
) -> None:
    """Store the bag's new state, the entries and the event of a scan; its job's outage begins with the work."""
    before, reached = one.bag.state, state
    if one.before_hold:
        state, changed["state_before_hold"] = _on_hold_again(one, state)
    one.bag.state = state
    for column, value in changed.items():
        setattr(one.bag, column, value)
    one.bag.version += 1
    one.bag.save(update_fields=("state", "version", *changed))
    BagEntry.objects.bulk_create(one.entries)
    facts = {"bag": one.bag.code, "before": before, "after": state, "action": one.action.number, **told}
    depot = one.bag.depot.depot
    happenings = [Happening(name, str(one.bag), facts, addressed_to=addressed_to, depot=depot)]
    if one.before_hold:
        late = {"bag": one.bag.code, "what": name, "why": one.bag.why}
        happenings.append(Happening(BEFORE_HOLD, str(one.bag), late, addressed_to=AUDITOR, depot=depot))
    by, at = one.scan["actor"].name, one.scan["at"]
    record_events(happenings, by=by, at=at)
    if reached == IN_WORK != before:
        note_outage(one.bag.job, by=by, at=at)


def _on_hold_again(one: Opened, state: str) -> tuple[str, str]:
    """The state of a bag after a scan of before its hold, and that for which it waits while it is on hold."""
    left = Lot.objects.filter(balances__place=one.bag.place_id, balances__quantity__gt=0)
    return (ON_HOLD, state) if open_holds(left.select_related("item")) else (state, "")


def place_of(one: Opened) -> Place:
    """The bag as a place of the warehouse."""
    place = one.bag.place
    place.depot = one.bag.depot
    return place


def lines_with(one: Opened, item: int) -> Sequence[BagLine]:
    """Lines of a stock code, those that are no spares first."""
    found = [stand.line for stand in one.contents.lines if stand.line.item_id == item]
    return sorted(found, key=lambda line: (line.dropped, line.spare, line.position))
