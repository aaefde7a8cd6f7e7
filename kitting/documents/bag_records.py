"""Papers filled from the recorded bags of a job: issue slip, return slip, as-installed record, borrow notes."""

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, tzinfo
from typing import NamedTuple
from zoneinfo import ZoneInfo

from inventory.models import Depot, Item
from jobs.models import Job, Run
from kitting.calculation.quantities import as_decimal
from kitting.calculation.weights import NO_LOAD, Pieces, load_of
from kitting.documents.as_installed import AsInstalled, InstalledEnd
from kitting.documents.borrow_note import BorrowedPieces, BorrowNote
from kitting.documents.record_papers import moment_text
from kitting.documents.slips import Allowed, IssueSlip, ReturnLine, ReturnSlip, SlipBag, SlipLine
from kitting.errors import Refusal
from kitting.models import Bag, BagEntry, Borrow, Event, StandIn
from kitting.models.bags import HANDED_BACK, INSTALLED, ISSUED, LOST, ON_PAPER, SCRAPPED, TAKEN_BACK, TURNED_IN
from kitting.selectors.bag_contents import contents_of, good_until, is_good, label_code, label_state
from kitting.selectors.end_signatures import end_name, end_signatures
from kitting.selectors.expired_uses import NOTHING_LET_GO, expired_uses
from kitting.selectors.fit_margins import fit_margin
from kitting.selectors.installed_ends import EndKey, ends_of, histories
from kitting.selectors.pictures import numbers_by_end


class BagPapers(NamedTuple):
    """What the books know of a job's bags, as papers."""

    issue: IssueSlip
    returned: ReturnSlip
    installed: AsInstalled
    borrowed: tuple[BorrowNote, ...]


def bag_papers(job: str, read_name: Callable[[str], str] = str) -> BagPapers:
    """The papers of a job's bags as they stand; the number of queries doesn't grow with them.

    Args:
        job: number of the job.
        read_name: how whoever reads the as-installed record reads names of people; as they are unless said otherwise.

    Raises:
        Refusal: ``unknown-job``; ``no-bags``: nobody has listed its bags.
    """
    found, bags = _with_bags(job)
    depot = Depot.objects.filter(depot=found.depot).first()
    zone = ZoneInfo(depot.time_zone) if depot and depot.time_zone else None
    entries = [
        *BagEntry.objects.filter(line__bag__in=bags)
        .select_related("lot__item", "action", "line__bag")
        .order_by("line__bag__number", "line__position", "pk")
    ]
    code = {bag.pk: label_code(bag) for bag in bags}
    where = ", ".join(sorted({bag.depot.depot for bag in bags}, key=lambda one: (one != found.depot, one)))
    head = {"job": found.job, "title": found.title, "cutover": _cutover(found, depot), "depot": where}
    contents = contents_of(bags)
    slip_bags = tuple(
        SlipBag(code[bag.pk], bag.structure or "whole job", label_state(contents[bag.pk])) for bag in bags
    )
    crew = next((bag.crew for bag in bags if bag.crew), "").removeprefix("Crew ")
    out = [entry for entry in entries if entry.deed == ISSUED]
    named = {str(bag): bag.structure or "whole job" for bag in bags}
    issues = [*Event.objects.filter(name__in=("bag issued", "bag issued short"), subject__in=named).order_by("number")]
    ends = ends_of(job)
    signed = _signed([(end.structure, end.position) for end in ends], zone, read_name)
    loads = {bag.structure or "whole job": load_of(_went_out(entries, bag)) for bag in bags}
    labels = {named[event.subject]: event.data["label"] for event in issues}  # what each label said when it went out
    return BagPapers(
        issue=IssueSlip(
            **head,
            crew=crew,
            truck=next((bag.whereabouts for bag in bags if bag.crew), "").removeprefix("truck "),
            time=_local(min(entry.action.at for entry in out), zone) if out else "No bag is issued yet",
            bags=tuple(
                replace(bag, state=labels[bag.location], to_lift=loads[bag.location].words)
                for bag in slip_bags
                if bag.location in labels
            ),
            to_lift=sum((loads[location] for location in labels), NO_LOAD).words if labels else "",
            lines=tuple(_issued(entries, code, spare=False)),
            spares=tuple(_issued(entries, code, spare=True)),
            allowed=(*_allowed(issues), *dict.fromkeys(_overridden(found, out, {bag.pk: str(bag) for bag in bags}))),
        ),
        returned=ReturnSlip(**head, crew=crew, bags=slip_bags, lines=tuple(_returned(entries, code))),
        installed=AsInstalled(
            **head,
            ends=tuple(_ends(found, entries, zone, signed, read_name)),
            open_ends=tuple(end.sentence for end in ends if end.is_open),
            signed=tuple(f"{end_name(key)}: {told}" for key, told in signed.items()),
        ),
        borrowed=tuple(_borrowed(bags, head["cutover"])),
    )


def _with_bags(job: str) -> tuple[Job, list[Bag]]:
    """A job and its bags, of which there is one at least.

    Raises:
        Refusal: as ``bag_papers``.
    """
    found = Job.objects.filter(job=job).first()
    if found is None:
        raise Refusal("unknown-job", f"There is no job {job}.", {"job": job})
    bags = [*Bag.objects.filter(job=found).select_related("job", "depot").order_by("number")]
    if not bags:
        raise Refusal("no-bags", f"{job} has no bags on the books: list them first.", {"job": job})
    return found, bags


def _cutover(job: Job, depot: Depot | None) -> str:
    return " ".join(filter(None, (job.cutover, depot.time_zone if depot else ""))) or "no cutover"


def _local(moment: datetime, zone: tzinfo | None) -> str:
    return moment_text(moment.astimezone(zone or UTC))


def _went_out(entries: Sequence[BagEntry], bag: Bag) -> Iterator[Pieces]:
    for entry in entries:
        if entry.line.bag_id == bag.pk and entry.deed in (ISSUED, HANDED_BACK):
            quantity, item = entry.quantity if entry.deed == ISSUED else -entry.quantity, entry.lot.item
            yield Pieces(item.stock_code, quantity, item.weight_ng, item.per_box)


def _issued(entries: Sequence[BagEntry], code: dict[int, str], *, spare: bool) -> Iterator[SlipLine]:
    sums: dict[tuple[str, str, str], int] = defaultdict(int)
    first: dict[tuple[str, str, str], Item] = {}
    for entry in entries:
        if entry.line.spare == spare and entry.deed in (ISSUED, HANDED_BACK):
            key = (code[entry.line.bag_id], entry.lot.item.stock_code, entry.lot.number)
            sums[key] += entry.quantity if entry.deed == ISSUED else -entry.quantity
            first.setdefault(key, entry.lot.item)
    for key, quantity in sums.items():
        if quantity:
            item = first[key]
            part = item.called
            yield SlipLine(key[0], key[1], part, key[2], as_decimal(quantity), item.stock_unit)


def _allowed(issues: Sequence[Event]) -> Iterator[Allowed]:
    for event in issues:
        if event.name == "bag issued short":
            yield Allowed(f"{event.subject} {event.data['label']}", event.data["reason"], event.data["approved_by"])


def _overridden(job: Job, out: Sequence[BagEntry], bags: Mapping[int, str]) -> Iterator[Allowed]:
    """What went out instead of the part that was chosen, or past its date, and who let that be."""
    stand_ins = [entry for entry in out if entry.line.instead_of]
    approvals = {}
    if stand_ins:
        pairs = StandIn.objects.filter(allowed__in={entry.lot.item_id for entry in stand_ins}).order_by("pk")
        approvals = {(one.wanted.stock_code, one.allowed_id): one for one in pairs.select_related("wanted")}
    for entry in stand_ins:
        one = approvals.get((entry.line.instead_of, entry.lot.item_id))
        what = f"{bags[entry.line.bag_id]}: {entry.lot.item} STAND-IN for {entry.line.instead_of}"
        yield Allowed(what, one.reason if one else "not known", one.approved_by if one else "not known")
    uses, until = expired_uses({job.pk}), good_until(job)
    for entry in out:
        signed = uses.get((job.pk, entry.lot.item_id, entry.lot.number), NOTHING_LET_GO)
        for use in signed.uses if not is_good(entry.lot, until) else ():
            what = f"{bags[entry.line.bag_id]}: {entry.lot} PAST ITS DATE {entry.lot.use_by}"
            yield Allowed(what, f"{use.why}; {use.decision}", f"{use.asked_by} and {use.decided_by}")


def _returned(entries: Sequence[BagEntry], code: dict[int, str]) -> Iterator[ReturnLine]:
    sums: dict[tuple[str, str, str], dict[str, int]] = defaultdict(lambda: defaultdict(int))
    doors: dict[tuple[str, str, str], dict[str, None]] = defaultdict(dict)
    units, back = {}, {entry.undoes_id for entry in entries}
    for entry in entries:
        key = (code[entry.line.bag_id], entry.lot.item.stock_code, entry.lot.number)
        sums[key][TAKEN_BACK.get(entry.deed, entry.deed)] += (
            -entry.quantity if entry.deed in TAKEN_BACK else entry.quantity
        )
        units[key] = entry.lot.item.stock_unit
        if entry.facts.get("door") and entry.pk not in back and entry.deed not in TAKEN_BACK:
            doors[key][f"{entry.facts['condition']} to {entry.facts['to']}"] = None
    for key, done in sums.items():
        issued = done[ISSUED] - done[HANDED_BACK]
        if issued:
            yield ReturnLine(
                *key,
                unit=units[key],
                issued=as_decimal(issued),
                installed=as_decimal(done[INSTALLED]),
                turned_in=as_decimal(done[TURNED_IN]),
                scrapped=as_decimal(done[SCRAPPED]),
                lost=as_decimal(done[LOST]),
                condition="; ".join(doors[key]),
            )


def _signed(keys: Sequence[EndKey], zone: tzinfo | None, read_name: Callable[[str], str]) -> dict[EndKey, str]:
    """By end, in words, who signed for it, or that nobody has."""
    signatures, fitted, found = end_signatures(keys), histories(keys), {}
    for key in keys:
        one = signatures.get(key)
        told = f"signed by {one.signer(read_name)} · {_local(one.at, zone)}" if one else "NOT SIGNED"
        found[key] = told if one is None or one.covers(fitted[key]) else f"{told}; CHANGED SINCE, sign again"
    return found


def _ends(
    job: Job, entries: Sequence[BagEntry], zone: tzinfo | None, signed: Mapping[EndKey, str],
    read_name: Callable[[str], str],
) -> Iterator[InstalledEnd]:  # fmt: skip
    runs = {
        run.run: run for run in Run.objects.filter(revision__job=job, revision__live=True).select_related("cable_type")
    }
    uses = expired_uses({job.pk})
    pictures = numbers_by_end(job)
    back = {entry.undoes_id for entry in entries}
    for entry in entries:
        if entry.deed != INSTALLED or entry.pk in back:
            continue
        facts, action = entry.line.facts, entry.action
        run = runs.get(facts.get("run", ""))
        position = facts.get("position") or entry.facts.get("position", "")
        yield InstalledEnd(
            structure=facts.get("structure", ""),
            end="-".join(filter(None, (position, facts.get("side", "")))),
            phase=entry.phase,
            slot=facts.get("kind", ""),
            stock_code=entry.lot.item.stock_code,
            part=entry.lot.item.called,
            lot=entry.lot.number,
            cable_type=run.cable_type.cable_type if run and run.cable_type else "",
            reel=run.reels if run else "",
            gauge_reading=entry.facts.get("gauge", ""),
            fit_margin=fit_margin(entry).words,
            rule=" ".join(filter(None, (facts.get("rule", ""), facts.get("rule_revision", "")))),
            override="; ".join(
                filter(
                    None,
                    (
                        f"stands in for {entry.line.instead_of}" if entry.line.instead_of else "",
                        uses.get((job.pk, entry.lot.item_id, entry.lot.number), NOTHING_LET_GO).words(read_name),
                    ),
                )
            ),
            by=read_name(action.by),
            at_device=_local(action.device_at or action.at, zone),
            at_books=_local(action.at, zone),
            signed=signed.get((entry.line.bag.structure, position), ""),
            on_paper=read_name(entry.facts.get(ON_PAPER, "")),
            photos=tuple(f"picture {number}" for number in pictures.get((facts.get("structure", ""), position), ())),
        )


def _borrowed(bags: Sequence[Bag], cutover: str) -> Iterator[BorrowNote]:
    found = Borrow.objects.filter(bag__in=bags).select_related("bag__job", "bag__depot", "to_job", "lot__item")
    for lent in found.order_by("pk"):
        item = lent.lot.item
        pieces = BorrowedPieces(item.stock_code, lent.lot.number, as_decimal(lent.quantity), item.stock_unit)
        yield BorrowNote(
            number=str(lent.pk),
            from_bag=label_code(lent.bag),
            from_job=lent.bag.job.job,
            to_job=lent.to_job.job,
            cutover=cutover,
            depot=lent.bag.depot.depot,
            pieces=(pieces,),
            why=lent.why,
            free_first=tuple(lent.free_first),
            pay_back_by=lent.pay_back_by.isoformat(),
            asked_by=lent.asked_by,
            authorised_by=lent.authorised_by,
        )
