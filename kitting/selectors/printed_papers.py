"""Our own papers by the number on them: which paper, what it is about, and whether it was printed again since."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from inventory.models import TRUCK, Depot, Lot, LotHold, Place, Transfer
from jobs.models import Job
from kitting.calculation.short_codes import make_code, verified
from kitting.errors import Refusal
from kitting.models import Borrow, CountList
from kitting.selectors.bag_contents import label_code
from kitting.selectors.lot_names import lot_address
from kitting.selectors.printings import superseded_print

ISSUE_SLIP, RETURN_SLIP, AS_INSTALLED, PICK_LIST = "issue slip", "return slip", "as-installed record", "pick list"
TRANSFER_SLIP, HOLD_TAG, COUNT_SHEET = "transfer slip", "hold tag", "count sheet"
LOT_TRACE, BORROW_NOTE, RESTOCK_SLIP = "lot trace", "borrow note", "restock slip"
PAPERS = (ISSUE_SLIP, RETURN_SLIP, AS_INSTALLED, PICK_LIST, TRANSFER_SLIP, HOLD_TAG, COUNT_SHEET, LOT_TRACE,
          BORROW_NOTE, RESTOCK_SLIP)  # fmt: skip
_REVISION = re.compile(r"(.+?) REV (\S+)", re.IGNORECASE)

Named = Iterator[tuple[tuple[str, ...], str, str]]  # parts of the number, what it is about, under what it is found


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper of ours: its kind, what it is about, the code under which its page is found, and why it is too old."""

    kind: str
    name: str
    code: str
    superseded: str


def _jobs() -> Named:
    for job in Job.objects.order_by("pk").values_list("job", flat=True):
        yield (job,), job, job


def _picks() -> Named:
    """A job has a pick list at its own depot, and at each that sends pieces."""
    depots = [*Depot.objects.order_by("pk").values_list("depot", flat=True)]
    for job in Job.objects.order_by("pk").values_list("job", flat=True):
        for depot in depots:
            yield (job, depot), f"{job} at {depot}", f"{depot}/{job}"


def _transfers() -> Named:
    for number, key in Transfer.objects.order_by("pk").values_list("number", "pk"):
        yield (number,), number, str(key)


def _holds() -> Named:
    for hold in LotHold.objects.select_related("item").order_by("pk"):
        yield (str(hold.pk),), str(hold), lot_address(hold.item.stock_code, hold.lot_number)


def _counts() -> Named:
    for number in CountList.objects.order_by("pk").values_list("number", flat=True):
        yield (str(number),), str(number), str(number)


def _lots() -> Named:
    for code, lot in Lot.objects.order_by("pk").values_list("item__stock_code", "number"):
        yield (code, lot or "UNKNOWN"), f"{code} lot {lot or 'unknown'}", lot_address(code, lot)


def _borrows() -> Named:
    for one in Borrow.objects.select_related("bag__job", "lot__item", "to_job").order_by("pk"):
        yield (str(one.pk),), str(one), label_code(one.bag)


def _trucks() -> Named:
    for place in Place.objects.filter(kind=TRUCK).select_related("depot").order_by("pk"):
        yield (place.depot.depot, place.code), str(place), str(place.pk)


# First part of the number: kind, the papers of that kind, and the name under which their prints are noted.
_KINDS: dict[str, tuple[str, Callable[[], Named], str]] = {
    "I": (ISSUE_SLIP, _jobs, "issue-slip"),
    "T": (RETURN_SLIP, _jobs, "return-slip"),
    "N": (AS_INSTALLED, _jobs, "as-installed"),
    "P": (PICK_LIST, _picks, PICK_LIST),
    "V": (TRANSFER_SLIP, _transfers, "transfer slip"),
    "H": (HOLD_TAG, _holds, "hold tag"),
    "C": (COUNT_SHEET, _counts, "count sheet"),
    "L": (LOT_TRACE, _lots, "lot trace.pdf"),
    "B": (BORROW_NOTE, _borrows, ""),
    "R": (RESTOCK_SLIP, _trucks, "restock slip"),
}


def paper_of(scanned: str) -> Paper | None:
    """The paper that bears a number; None where it is no paper's of these books."""
    found = _REVISION.fullmatch(scanned.strip())
    number, revision = (found[1], found[2].upper()) if found else (scanned, "")
    try:
        plain = verified(number)
    except Refusal:
        return None
    letter = plain[:1]
    if letter not in _KINDS:
        return None
    kind, named, document = _KINDS[letter]
    for parts, name, code in named():
        if verified(make_code(letter, *parts)) == plain:
            told = superseded_print(document=document, subject=name, revision=revision) if document and revision else ""
            return Paper(kind, name, code, told)
    return None
