"""What becomes of a difference: explained from a fixed list, approved by another person, and posted to the books."""

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType
from typing import Unpack

from inventory.selectors.counting import book_at, moved_since
from inventory.selectors.words import quantity_text
from inventory.services.actions import begin, use_case
from inventory.services.adjusting import Counted, balances_to_count, book_counted
from inventory.services.doubts import Doubts
from kitting.errors import Refusal
from kitting.models import (
    APPROVED,
    CAUSES,
    COUNTED,
    EXPLAINED,
    LISTED,
    ONE_BAG,
    POSTED,
    RECOUNTED,
    TO_FIND,
    Bag,
    CountLine,
    CountList,
)
from kitting.roles import APPROVE, AUDITOR, DO, PLANNER, STOREKEEPER, require
from kitting.selectors.bag_contents import bare, is_out
from kitting.selectors.counting import needs_approval, unit_question
from kitting.selectors.policies import count_limit
from kitting.services.count_places import COUNT, locked_list, opened_line
from kitting.services.record_events import Happening, record_events
from kitting.services.release_promises import release_missing
from kitting.services.scans import Scan, stamp_of
from kitting.services.two_persons import OWN_REQUEST, attempts_kept, need_reason, same_person

_STANDS = MappingProxyType(
    {
        LISTED: "waits for its count",
        COUNTED: "waits for another person's count",
        RECOUNTED: "waits for its explanation",
        EXPLAINED: "waits for the approval of another person",
        APPROVED: "is approved",
        POSTED: "is posted",
        TO_FIND: "is a bag to be found",
    }
)


@use_case
def explain(
    *, count_list: int, line: int, cause: str, words: str, confirmed: Collection[str] = (), **scan: Unpack[Scan]
) -> CountLine:
    """Say why a recounted line differs, after a look at ``before_adjusting``; above the limit the auditor is told.

    A difference that is gone by now, because a late paper has reached the books, stays recounted and needs no cause.

    Args:
        count_list, line: numbers on the sheet.
        cause: one of ``CAUSES``.
        words: what was found out.
        confirmed: keys of questions answered with yes.
        scan: who, when, the number of the action.

    Raises:
        Doubt: ``each-or-kit``: count and books differ by exactly a pack; names the receipt to be put right.
        Refusal: ``unknown-cause``; ``no-reason``; ``not-recounted``: says what comes first.
    """
    found = opened_line(count_list, line, scan["actor"], DO)
    content = {"list": count_list, "line": line, "cause": cause}
    _, repeated = begin("explain count", content, stamp_of(scan), words)
    if repeated:
        return found
    told = need_reason(words, "A difference")
    if cause not in CAUSES:
        raise Refusal("unknown-cause", f"A count differs by one of these: {', '.join(CAUSES)}.", {"read": cause})
    _need_state(found, "not-recounted", RECOUNTED, EXPLAINED, APPROVED)
    if found.lot_id is not None and found.recounted_at is not None:
        found.recount_book = book_at((found.place_id, found.lot_id), found.recounted_at)
    found.cause = found.explanation = found.explained_by = found.approved_by = found.approval = ""
    found.state = RECOUNTED
    if found.difference:
        doubts = Doubts(confirmed)
        question = unit_question(found)
        if question:
            doubts.ask("each-or-kit", line, question)
        doubts.settle()
        found.cause, found.explanation, found.explained_by = cause, told, scan["actor"].name
        found.state = EXPLAINED
    found.save()
    facts = {"cause": found.cause, "words": told, "difference": bare(found.difference)}
    waits = AUDITOR if needs_approval(found, count_limit()) else ""
    _record(found, "count explained", facts, scan, addressed_to=waits)
    return found


@attempts_kept
@use_case
def approve_count(*, count_list: int, line: int, reason: str, **scan: Unpack[Scan]) -> CountLine:
    """Agree to a difference above the limit, as somebody who neither counted nor explained it.

    Raises:
        Refusal: ``not-allowed``; ``own-request``; ``no-reason``; ``not-explained``.
    """
    found, told = _to_decide("approve count", count_list, line, reason, scan)
    if told:
        found.state, found.approved_by, found.approval = APPROVED, scan["actor"].name, told
        found.save()
        facts = {
            "reason": told,
            "asked_by": found.explained_by,
            "cause": found.cause,
            "difference": bare(found.difference),
            "counted_by": found.counted_by,
            "recounted_by": found.recounted_by,
        }
        _record(found, "count approved", facts, scan, addressed_to=STOREKEEPER)
    return found


@attempts_kept
@use_case
def send_back(*, count_list: int, line: int, reason: str, **scan: Unpack[Scan]) -> CountLine:
    """Refuse to agree: somebody who did not count the line first counts it again.

    Raises:
        Refusal: as ``approve_count``.
    """
    found, told = _to_decide("send count back", count_list, line, reason, scan)
    if told:
        before = found.cause
        found.state = COUNTED
        found.cause = found.explanation = found.explained_by = ""
        found.save()
        _record(found, "count sent back", {"reason": told, "cause": before}, scan, addressed_to=STOREKEEPER)
    return found


@use_case
def found_bag(*, count_list: int, line: int, where: str, **scan: Unpack[Scan]) -> CountLine:
    """Say where a bag stood that was not in its rack place; that is its rack place from now on.

    Raises:
        Refusal: ``no-reason``: nobody says where; ``not-to-find``: it is not looked for.
    """
    found = opened_line(count_list, line, scan["actor"], DO)
    _, repeated = begin("found bag", {"list": count_list, "line": line, "where": where}, stamp_of(scan))
    if repeated:
        return found
    _need_state(found, "not-to-find", TO_FIND)
    place = need_reason(where, "A bag that is found")
    bag = Bag.objects.select_for_update().filter(place=found.place).first()
    if bag is not None and not is_out(bag):
        bag.whereabouts, bag.version = place, bag.version + 1
        bag.save(update_fields=("whereabouts", "version"))
    found.counted, found.state = ONE_BAG, COUNTED if found.count_list.posted_id is None else POSTED
    found.save()
    _record(found, "bag found", {"where": place}, scan)
    return found


@use_case
def post_count(*, count_list: int, **scan: Unpack[Scan]) -> CountList:
    """Close a list: bring the books to what was counted, with what has moved since, by the way of every adjustment.

    Promises that missing pieces can't keep are released, and the planner is told which lines lose them.
    Bags that are still to be found stay so; nothing is booked of them.

    Raises:
        Refusal: ``not-allowed``; ``unknown-count``; ``posted-already``; ``blank-lines``: a listed place has no figure;
            ``not-settled``: says of each line what comes first.
    """
    counted = locked_list(count_list)
    require(scan["actor"], COUNT, DO, counted.depot.depot)
    locked = CountLine.objects.select_for_update(of=("self",)).filter(count_list=counted).order_by("position")
    lines = [*locked.select_related("count_list__depot", "place__depot", "lot__item")]
    is_open = counted.posted_id is None
    counts = _checked(lines) if is_open else []
    action, repeated = begin("post count", {"list": count_list}, stamp_of(scan), _why(counted, lines))
    if repeated:
        return counted
    if not is_open:
        raise Refusal("posted-already", f"{counted} is posted already.", {"count": count_list})
    lost = _release_missing(counts, counted, scan)
    book_counted(action, counts)
    for line in lines:
        line.state = TO_FIND if line.state == TO_FIND else POSTED
    CountLine.objects.bulk_update(lines, ["state", "book", "recount_book"])
    counted.posted = action
    counted.save(update_fields=("posted",))
    differing = [str(line) for line in lines if line.difference]
    told = {"lines": len(lines), "differing": differing, "lost": lost, "action": action.number}
    role = PLANNER if differing else ""
    happening = Happening("count posted", str(counted), told, addressed_to=role, depot=counted.depot.depot)
    record_events([happening], by=scan["actor"].name, at=scan["at"])
    return counted


def _release_missing(counts: Sequence[Counted], counted: CountList, scan: Scan) -> list[dict[str, object]]:
    """Release the promises that missing pieces can't keep; the lines that lose some."""
    return [
        {"job": promise.job.job, "line": promise.line, "pieces": bare(pieces)}
        for one in counts
        if one.quantity < one.balance.quantity
        for promise, pieces in release_missing(one.balance, one.quantity, str(counted), scan["at"])
    ]


def _checked(lines: Sequence[CountLine]) -> list[Counted]:
    """What the books are to be brought to; the lines get what the books say by now of the moments of their counts.

    Raises:
        Refusal: ``blank-lines``; ``not-settled``.
    """
    blanks = [line for line in lines if line.state == LISTED]
    if blanks:
        named = "; ".join(f"line {line.position}, {line.place}" for line in blanks)
        message = f"{blanks[0].count_list} can't be closed, nobody counted {named}: enter 0 where nothing lies."
        raise Refusal("blank-lines", message, {"lines": [line.position for line in blanks]})
    of_lots = [(line, line.lot, line.seen_at) for line in lines if line.lot is not None]
    balances = balances_to_count([(line.place, lot) for line, lot, _ in of_lots])
    moved = moved_since({(line.place_id, lot.pk): at for line, lot, at in of_lots if at})
    counts, problems = [], {}
    limit = count_limit()
    for (line, lot, at), balance in zip(of_lots, balances, strict=True):
        change, before = moved[line.place_id, lot.pk], line.difference
        setattr(line, "book" if line.recount is None else "recount_book", balance.quantity - change)
        target = (line.figure or 0) + change
        problem = _problem(line, before, target, limit)
        if problem:
            problems[line.position] = f"{line} {problem}"
        elif at is not None:
            counts.append(Counted(balance, target, at))
    if problems:
        raise Refusal("not-settled", f"{'; '.join(problems.values())}.", {"lines": problems})
    return counts


def _problem(line: CountLine, before: int, target: int, limit: int) -> str:
    """What a line waits for, in words; '' where it can be posted."""
    if target < 0:
        return "had fewer pieces than have left it since: another person counts again"
    if not line.difference:
        return ""
    if line.state in (EXPLAINED, APPROVED) and line.difference != before:
        return f"differs by {bare(line.difference)} now, not {bare(before)}: a late paper has come, explain it again"
    if line.state == APPROVED or (line.state == EXPLAINED and not needs_approval(line, limit)):
        return ""
    return _waits_for(line)


def _waits_for(line: CountLine) -> str:
    """How far a line is and what it waits for, in words."""
    if line.state == COUNTED and not line.difference:
        return "agrees with the books"
    return _STANDS[line.state]


def _why(counted: CountList, lines: Sequence[CountLine]) -> str:
    """The explanation on the movements, with the names of all who stand for each difference."""
    told = [_told(line) for line in lines if line.difference and line.lot]
    return f"{counted}: {'; '.join(told) or 'no difference'}"


def _told(line: CountLine) -> str:
    unit = line.lot.item.stock_unit if line.lot else ""
    names = f"counted by {line.counted_by}, recounted by {line.recounted_by}"
    approved = f", approved by {line.approved_by}" if line.approved_by else ""
    figures = f"{quantity_text(line.figure or 0, unit)} where the books had {quantity_text(line.expected or 0, unit)}"
    return f"{line.lot} at {line.place}, {figures}, {line.cause}: {line.explanation} ({names}{approved})"


def _need_state(line: CountLine, code: str, *states: str) -> None:
    if line.state not in states:
        raise Refusal(code, f"{line} {_waits_for(line)}.", {"line": line.position, "state": line.state})


def _to_decide(name: str, number: int, position: int, reason: str, scan: Scan) -> tuple[CountLine, str]:
    """The line and the reason of who decides about it; '' where the action came before."""
    found = opened_line(number, position, scan["actor"], APPROVE)
    _, repeated = begin(name, {"list": number, "line": position}, stamp_of(scan), reason)
    if repeated:
        return found, ""
    told = need_reason(reason, "A decision about a count")
    _need_state(found, "not-explained", EXPLAINED)
    for person in (found.counted_by, found.recounted_by, found.explained_by):
        if same_person(person, scan["actor"].name):
            message = f"{person} counted or explained {found}: another person decides."
            raise Refusal(OWN_REQUEST, message, {"what": str(found), "by": person})
    return found, told


def _record(line: CountLine, name: str, told: Mapping[str, object], scan: Scan, *, addressed_to: str = "") -> None:
    data = {"line": line.position, **told, "action": scan["action"]}
    happening = Happening(name, str(line), data, addressed_to=addressed_to, depot=line.count_list.depot.depot)
    record_events([happening], by=scan["actor"].name, at=scan["at"])
