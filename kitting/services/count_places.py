"""List places to be counted, and take the figures of a counter and, where they differ, of another one: both blind."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Unpack

from django.db.models import Max

from inventory.models import BAG, SUPPLIER_OWNED, Balance, Depot, Place
from inventory.selectors.counting import book_at, happened, is_pack_ratio, pack_text
from inventory.selectors.finding import items_by_code
from inventory.selectors.words import quantity_text
from inventory.services.actions import begin, use_case
from inventory.services.doubts import Doubts
from inventory.services.lots import Label, lot_number, lots_of
from inventory.services.rules import refuse_the_road
from inventory.services.whole_pieces import need_whole
from kitting.errors import Refusal
from kitting.models import COUNTED, LISTED, ONE_BAG, POSTED, RECOUNTED, TO_FIND, Bag, CountLine, CountList
from kitting.roles import AUDITOR, DO, STOREKEEPER, Actor, require
from kitting.selectors.bag_contents import bare, is_out
from kitting.selectors.count_lists import SPOT_EVENT, ToCount
from kitting.selectors.counting import count_list as found_list
from kitting.selectors.counting import lines_of, needs_approval, sheet_revision
from kitting.selectors.policies import count_limit
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.scans import Scan, stamp_of
from kitting.services.two_persons import attempts_kept, need_reason, same_person

COUNT = "count"
NEXT, AGAIN, FIND = "NEXT", "RECOUNT BY ANOTHER", "FIND THE BAG"


@dataclass(frozen=True, slots=True)
class CountAnswer:
    """What a count says back: a word or two for the screen, the sentence behind it, the line; never a book figure."""

    word: str
    sentence: str
    line: CountLine
    repeated: bool = False


@use_case
def list_count(*, depot: Depot, to_count: Sequence[ToCount], **scan: Unpack[Scan]) -> CountList:
    """Make a list of what was proposed or chosen by place, in walk order.

    Raises:
        Refusal: ``not-allowed``; ``nothing-to-count``; ``other-depot``: a place is another depot's; ``on-a-list``:
            names the open list; ``on-the-road``.
    """
    require(scan["actor"], COUNT, DO, depot.depot)
    lines = [[one.place.pk, one.lot.pk if one.lot else None, list(one.reasons)] for one in to_count]
    action, repeated = begin("list count", {"depot": depot.depot, "lines": lines}, stamp_of(scan))
    if repeated:
        return CountList.objects.get(listed=action)
    if not to_count:
        raise Refusal("nothing-to-count", "A count needs a place to be counted.", {})
    for one in to_count:
        if one.place.depot_id != depot.pk:
            raise Refusal("other-depot", f"{one.place} is not of {depot}: make a list for its depot.", {})
    refuse_the_road(one.place for one in to_count)
    lock_chain()  # two who list at once get two numbers, and no place twice
    _refuse_on_a_list(to_count)
    number = (CountList.objects.aggregate(last=Max("number"))["last"] or 0) + 1
    made = CountList.objects.create(number=number, depot=depot, listed=action)
    CountLine.objects.bulk_create(
        CountLine(count_list=made, position=position, place=one.place, lot=one.lot, reasons=list(one.reasons))
        for position, one in enumerate(sorted(to_count, key=lambda one: one.walk), 1)
    )
    _record(made, "count listed", {"lines": len(lines)}, scan, addressed_to=STOREKEEPER)
    return made


@use_case
def want_spot_count(*, place: Place, why: str, **scan: Unpack[Scan]) -> None:
    """Say that pieces are missing at a place: it is proposed for a count until it is counted, once for all who say so.

    Raises:
        Refusal: ``not-allowed``; ``no-reason``.
    """
    require(scan["actor"], COUNT, DO, place.depot.depot)
    _, repeated = begin("want spot count", {"place": place.pk}, stamp_of(scan), why)
    if not repeated:
        told = {"said gone": need_reason(why, "A spot count"), "action": scan["action"]}
        happening = Happening(SPOT_EVENT, str(place), told, addressed_to=STOREKEEPER, depot=place.depot.depot)
        record_events([happening], by=scan["actor"].name, at=scan["at"])


@use_case
def add_to_count(
    *,
    count_list: int,
    beside: int,
    stock_code: str,
    lot: str = "",
    use_by: date | None = None,
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> CountLine:
    """Put a lot on the list that lies at a listed place and that the list does not name; it is counted as the others.

    Args:
        count_list: number of the list.
        beside: any line of the place.
        stock_code, lot, use_by: as on the carton.
        confirmed: keys of questions answered with yes.
        scan: who, when, the number of the action.

    Raises:
        Doubt: ``new-lot``: the number is not on the books; ``same-lot``: only one of carton and books has a date.
        Refusal: ``unknown-stock-code``; ``on-a-list``; ``posted-already``; ``not-here``: a bag is no shelf.
    """
    counted = locked_list(count_list)
    known = opened_line(count_list, beside, scan["actor"], DO)
    content = {"list": count_list, "beside": beside, "code": stock_code, "lot": lot, "use_by": use_by}
    _, repeated = begin("add to count", content, stamp_of(scan))
    lock_chain()
    place = known.place
    if counted.posted_id is not None:
        raise Refusal("posted-already", f"{counted} is closed: list the place again.", {"count": count_list})
    if place.kind == BAG:
        raise Refusal("not-here", f"{place} is a bag: its pieces are checked, not counted here.", {})
    doubts = Doubts() if repeated else Doubts(confirmed)
    item = items_by_code([stock_code])[stock_code]
    label = Label(beside, item, lot_number(lot), use_by, place.kind == SUPPLIER_OWNED)
    (found,) = lots_of([label], doubts, ask_new=True)
    doubts.settle()
    if repeated:
        return CountLine.objects.get(count_list=counted, place=place, lot=found)
    _refuse_on_a_list([ToCount(place, found, (), place.code)])
    last = counted.lines.aggregate(last=Max("position"))["last"] or 0
    line = CountLine.objects.create(
        count_list=counted, position=last + 1, place=place, lot=found, reasons=["not on the list"]
    )
    _record(counted, "added to count", {"line": line.position, "place": str(place), "lot": str(found)}, scan)
    return line


@use_case
def enter_count(
    *,
    count_list: int,
    line: int,
    counted: int | None,
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> CountAnswer:
    """Take the figure of a line that nobody has counted; the answer says whether another person counts again.

    The books are compared as they are at the moment of the count, so what moves before or after makes no difference.

    Args:
        count_list, line: numbers on the sheet.
        counted: thousandths of the stock unit; of a bag 1000 where it stands in its rack place and 0 where it doesn't.
        confirmed: keys of questions answered with yes.
        scan: who, when, the number of the action.

    Raises:
        Doubt: ``each-or-kit``: the ratio to the books is exactly a pack; the question doesn't say what they hold.
        Refusal: ``blank-is-not-zero``; ``counted-already``; ``not-empty``: pieces lie where nothing is listed.
    """
    found = opened_line(count_list, line, scan["actor"], DO)
    if _is_repeated("enter count", found, counted, scan):
        return _answer(found, repeated=True)
    doubts = Doubts(confirmed)
    _enter(found, counted, doubts, scan)
    doubts.settle()
    _store_counted([found], scan)
    return _answer(found)


@use_case
def enter_sheet(
    *,
    count_list: int,
    revision: str,
    figures: Mapping[int, int | None],
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> list[CountAnswer]:
    """Take a paper sheet, typed back by line number: a figure of every line that has none yet.

    Args:
        count_list: number of the list.
        revision: as printed on the sheet.
        figures: thousandths by line, as ``enter_count``.
        confirmed: keys of questions answered with yes.
        scan: who counted, when it is typed (``device_at``: when it was counted), the number of the action.

    Raises:
        Doubt: ``other-sheet``: the list has other lines than the sheet by now; ``each-or-kit``.
        Refusal: ``blank-is-not-zero`` names all lines without a figure; ``unknown-count-line``; as ``enter_count``.
    """
    counted = found_list(count_list)
    require(scan["actor"], COUNT, DO, counted.depot.depot)
    content = {"list": count_list, "revision": revision, "figures": sorted(figures.items())}
    _, repeated = begin("enter count sheet", content, stamp_of(scan))
    lines = {line.position: line for line in lines_of(counted).select_for_update(of=("self",))}
    for position in sorted(figures.keys() - lines.keys()):
        raise _unknown_line(count_list, position)
    if repeated:
        return [_answer(lines[position], repeated=True) for position in sorted(figures)]
    blank = [line for line in lines.values() if line.state == LISTED and figures.get(line.position) is None]
    if blank:
        named = "; ".join(f"line {line.position}, {line.place}" for line in blank)
        message = f"{counted}: a blank is not zero: enter 0 where nothing lies ({named})."
        raise Refusal("blank-is-not-zero", message, {"lines": [line.position for line in blank]})
    doubts = Doubts(confirmed)
    if revision.strip().upper() != sheet_revision(counted):
        question = f"{counted} has other lines by now than on sheet {revision}: do the numbers of its lines agree?"
        doubts.ask("other-sheet", count_list, question)
    taken = [lines[position] for position in sorted(figures)]
    for line in taken:
        _enter(line, figures[line.position], doubts, scan)
    doubts.settle()
    _store_counted(taken, scan)
    return [_answer(line) for line in taken]


def _enter(found: CountLine, counted: int | None, doubts: Doubts, scan: Scan) -> None:
    """Put a first figure on a line, unsaved, with what the books say of its moment.

    Raises:
        Refusal: as ``enter_count``.
    """
    if found.state != LISTED:
        message = f"{found} was counted by {found.counted_by}: what differs is counted again by another person."
        raise Refusal("counted-already", message, {"line": found.position, "by": found.counted_by})
    found.counted = figure = _figure(found, counted)
    found.counted_by, found.counted_at = scan["actor"].name, _moment(scan)
    found.state = COUNTED
    if found.is_bag:
        found.book = _standing(found)
        found.state = TO_FIND if figure < found.book else COUNTED
    elif found.lot_id is not None:
        found.book = book_at((found.place_id, found.lot_id), found.counted_at)
        _ask_units(found, figure, found.book, doubts)
    elif figure:
        message = f"{found.place} is listed as empty: add what lies there to the list by its code, and enter 0 here."
        raise Refusal("not-empty", message, {"line": found.position})


def _store_counted(lines: Sequence[CountLine], scan: Scan) -> None:
    CountLine.objects.bulk_update(lines, ["state", "book", "counted", "counted_by", "counted_at"])
    happenings = [
        _happening(
            line,
            "bag to find" if line.state == TO_FIND else "counted",
            {"line": line.position, "counted": bare(line.counted or 0), "counted_at": line.counted_at},
            scan,
            STOREKEEPER if line.state == TO_FIND else "",
        )
        for line in lines
    ]
    record_events(happenings, by=scan["actor"].name, at=scan["at"])


@attempts_kept
@use_case
def recount(
    *,
    count_list: int,
    line: int,
    counted: int | None,
    confirmed: Collection[str] = (),
    **scan: Unpack[Scan],
) -> CountAnswer:
    """Take the figure of another person where the first one differs; the last figure stands.

    Until the list is posted a line can be counted again, such as when its receipt was put right; what was explained
    and approved of the figure before is void.

    Args:
        count_list, line, counted, confirmed, scan: as ``enter_count``.

    Raises:
        Doubt: ``each-or-kit``.
        Refusal: ``own-count``; ``no-difference``; ``blank-is-not-zero``; ``not-counted``; ``posted-already``.
    """
    found = opened_line(count_list, line, scan["actor"], DO)
    if _is_repeated("recount", found, counted, scan):
        return _answer(found, repeated=True)
    if found.state in (LISTED, POSTED):
        code, words = ("not-counted", "has no count yet") if found.state == LISTED else ("posted-already", "is posted")
        raise Refusal(code, f"{found} {words}: there is nothing to count again.", {"line": line})
    if found.lot_id is None or found.counted_at is None:
        raise Refusal("no-difference", f"{found} is no lot: only pieces are counted again.", {"line": line})
    if same_person(found.counted_by, scan["actor"].name):
        message = f"{found.counted_by} counted {found}: another person counts again."
        raise Refusal("own-count", message, {"line": line, "by": found.counted_by, "what": str(found)})
    key = (found.place_id, found.lot_id)
    found.book = book_at(key, found.counted_at)
    if found.recount is None and found.counted == found.book:
        raise Refusal("no-difference", f"{found} agrees with the books: nothing to count again.", {"line": line})
    found.recount = figure = _figure(found, counted)
    found.recounted_by, found.recounted_at = scan["actor"].name, _moment(scan)
    found.recount_book = book_at(key, found.recounted_at)
    doubts = Doubts(confirmed)
    _ask_units(found, figure, found.recount_book, doubts)
    doubts.settle()
    found.state = RECOUNTED
    found.cause = found.explanation = found.explained_by = found.approved_by = found.approval = ""
    found.save()
    told = {"line": line, "counted": bare(found.counted or 0), "recount": bare(figure), "at": found.recounted_at}
    _record(found, "count recounted", told, scan)
    if needs_approval(found, count_limit()):
        told = {"line": line, "difference": bare(found.difference)}
        for role in (STOREKEEPER, AUDITOR):
            _record(found, "count difference above limit", told, scan, addressed_to=role)
    return _answer(found)


def locked_list(number: int) -> CountList:
    """A list that is about to be changed as a whole, locked.

    Raises:
        Refusal: ``unknown-count``.
    """
    lists = CountList.objects.select_for_update(of=("self",)).select_related("depot")
    found = lists.filter(number=number).first()
    if found is None:
        raise Refusal("unknown-count", f"There is no count {number}.", {"count": number})
    return found


def opened_line(number: int, position: int, actor: Actor, level: str) -> CountLine:
    """A line that is about to be changed, locked, where the person may.

    Raises:
        Refusal: ``unknown-count-line``; ``not-allowed``.
    """
    lines = CountLine.objects.select_for_update(of=("self",)).filter(count_list__number=number, position=position)
    found = lines.select_related("count_list__depot", "place__depot", "lot__item").first()
    if found is None:
        raise _unknown_line(number, position)
    require(actor, COUNT, level, found.count_list.depot.depot)
    return found


def _unknown_line(number: int, position: int) -> Refusal:
    message = f"There is no line {position} of a count {number}."
    return Refusal("unknown-count-line", message, {"count": number, "line": position})


def _is_repeated(name: str, line: CountLine, counted: int | None, scan: Scan) -> bool:
    content = {"list": line.count_list.number, "line": line.position, "counted": counted}
    _, repeated = begin(name, content, stamp_of(scan))
    return repeated


def _moment(scan: Scan) -> datetime:
    """When it was counted: the moment that its device's clock, set right, tells, else that clock as it was."""
    return happened(scan["at"], scan.get("made_at") or scan.get("device_at"))


def _figure(line: CountLine, counted: int | None) -> int:
    """The figure that was entered.

    Raises:
        Refusal: ``blank-is-not-zero``; ``below-zero``; ``there-or-not``: of a bag; ``part-of-a-piece``.
    """
    if counted is None:
        message = f"{line} has no figure, and a blank is not zero: enter 0 where nothing lies."
        raise Refusal("blank-is-not-zero", message, {"line": line.position})
    if counted < 0:
        raise Refusal("below-zero", f"{line}: nothing is counted as 0, and never less.", {"counted": counted})
    if line.is_bag and counted not in (0, ONE_BAG):
        message = f"{line} is one bag: it stands in its rack place (1) or not (0)."
        raise Refusal("there-or-not", message, {"counted": counted})
    if line.lot is not None:
        need_whole(line.lot.item, counted)
    return counted


def _standing(line: CountLine) -> int:
    """What the books expect of a bag: that it stands in its rack place, unless a crew has it or it is empty."""
    bag = Bag.objects.filter(place=line.place).first()
    if bag is not None and is_out(bag):
        return 0
    return ONE_BAG if Balance.objects.filter(place=line.place, quantity__gt=0).exists() else 0


def _ask_units(line: CountLine, figure: int, book: int, doubts: Doubts) -> None:
    """Ask whoever stands before the shelf in which unit they counted, without what the books hold."""
    if line.lot is not None and is_pack_ratio(line.lot.item, figure, book):
        item = line.lot.item
        question = (
            f"{line.lot} at {line.place}: is that {quantity_text(figure, item.stock_unit)}, each piece counted, or did "
            f"you count by the {pack_text(item)}?"
        )
        doubts.ask("each-or-kit", line.position, question)


def _answer(line: CountLine, *, repeated: bool = False) -> CountAnswer:
    if line.state == TO_FIND:
        sentence = f"{line}: not in its rack place. Find the bag; nothing is lost by this."
        return CountAnswer(FIND, sentence, line, repeated)
    if line.state == COUNTED and line.difference:
        return CountAnswer(AGAIN, f"{line}: another person counts again.", line, repeated)
    if line.is_bag and line.counted and not line.book:
        sentence = f"{line}: here, but the books have it empty or with a crew. Scan the bag and say what became of it."
        return CountAnswer(NEXT, sentence, line, repeated)
    return CountAnswer(NEXT, f"{line}: noted.", line, repeated)


def _happening(
    about: CountList | CountLine, name: str, told: Mapping[str, object], scan: Scan, addressed_to: str = ""
) -> Happening:
    """What is told of a list, or of one of its lines: two lines that wait at once are two notices."""
    counted = about if isinstance(about, CountList) else about.count_list
    data = {**told, "action": scan["action"]}
    return Happening(name, str(about), data, addressed_to=addressed_to, depot=counted.depot.depot)


def _record(
    about: CountList | CountLine, name: str, told: Mapping[str, object], scan: Scan, *, addressed_to: str = ""
) -> None:
    happening = _happening(about, name, told, scan, addressed_to)
    record_events([happening], by=scan["actor"].name, at=scan["at"])


def _refuse_on_a_list(to_count: Sequence[ToCount]) -> None:
    """Two who ask for the same place get one count of it."""
    wanted = {(one.place.pk, one.lot.pk if one.lot else None) for one in to_count}
    if len(wanted) < len(to_count):
        raise Refusal("counted-twice", "A place is on this list twice: name it once.", {})
    places = {place for place, _ in wanted}
    open_lines = CountLine.objects.filter(place__in=places).exclude(state=POSTED).order_by("pk")
    for line in open_lines.select_related("count_list", "place__depot", "lot__item"):
        if (line.place_id, line.lot_id) in wanted:
            message = f"{line.place} is on a list already ({line}): finish that one."
            raise Refusal("on-a-list", message, {"count": line.count_list.number, "line": line.position})
