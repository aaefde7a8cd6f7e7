"""Which lot arriving or counted pieces belong to: one number, one date, and never two lots in one."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from inventory.errors import Refusal
from inventory.models import Item, Lot
from inventory.selectors.finding import LotKey, known_lots
from inventory.selectors.words import near
from inventory.services.doubts import Doubts

# What people write where a carton has no lot: stored as unknown, not as a lot called "?".
_NO_LOT = {"", "?", "n/a", "na", "unknown", "none", "-", "lot unknown"}

Identity = tuple[int, str, date | None, bool]  # item, number, use by, supplier-owned


@dataclass(frozen=True, slots=True)
class Label:
    """What the carton says of its lot; ``line`` is the number of the line that reads it, from 1."""

    line: int
    item: Item
    number: str
    use_by: date | None
    supplier_owned: bool = False


def lot_number(text: str) -> str:
    """The number of a lot, '' where it is not known."""
    number = text.strip()
    return "" if number.casefold() in _NO_LOT else number


def lots_of(labels: Sequence[Label], doubts: Doubts, *, ask_new: bool = False) -> list[Lot]:
    """The lot of each label, new where it has not been seen; asks where only one of label and books has a date.

    A lot without a date that is confirmed to be the same takes the date of the label. While a question is open nothing
    is stored, because the caller refuses.

    Args:
        labels: as read.
        doubts: takes the questions.
        ask_new: a number that is not on the books is asked about, because nothing new has come.

    Raises:
        Refusal: ``two-dates``: one lot number would have two dates.
    """
    known = known_lots((label.item, label.number) for label in labels)
    if ask_new:
        _ask_about_new(labels, known, doubts)
    dates: dict[LotKey, date | None] = {}
    for label in labels:
        key = (label.item.pk, label.number)
        if label.number:
            for lot in known[key]:
                dates.setdefault(key, lot.use_by)
            dates[key] = _agreed(label, dates[key], doubts) if key in dates else label.use_by
    wanted = [_identity(label, dates) for label in labels]
    _adopt_dates(known.values(), dates)
    found = _by_identity(known.values())
    new = {identity: label for identity, label in zip(wanted, labels, strict=True) if identity not in found}
    if new:
        rows = (Lot(item_id=item, number=number, use_by=day, supplier_owned=his) for item, number, day, his in new)
        Lot.objects.bulk_create(rows, ignore_conflicts=True)
        found.update(_by_identity(known_lots((one.item, one.number) for one in new.values()).values()))
    if not found.keys() >= new.keys():
        raise Refusal("lot-just-booked", "Somebody has just booked one of these lots with another date: try again.", {})
    return [found[identity] for identity in wanted]


def _ask_about_new(labels: Sequence[Label], known: Mapping[LotKey, Sequence[Lot]], doubts: Doubts) -> None:
    for label in labels:
        if label.number and not known[(label.item.pk, label.number)]:
            close = near(label.number, label.item.lots.exclude(number="").values_list("number", flat=True))
            doubts.ask("new-lot", label.line, f"{label.item} has no lot {label.number} on the books{close or ': new?'}")


def _identity(label: Label, dates: dict[LotKey, date | None]) -> Identity:
    use_by = dates[(label.item.pk, label.number)] if label.number else label.use_by
    return label.item.pk, label.number, use_by, label.supplier_owned


def _by_identity(known: Iterable[Sequence[Lot]]) -> dict[Identity, Lot]:
    return {(lot.item_id, lot.number, lot.use_by, lot.supplier_owned): lot for lots in known for lot in lots}


def _agreed(label: Label, known: date | None, doubts: Doubts) -> date | None:
    """The date on which label and books agree."""
    if known == label.use_by:
        return known
    name = f"{label.item} lot {label.number}"
    if known and label.use_by:
        raise Refusal(
            "two-dates",
            f"{name} is on the books with use by {known}, the label of line {label.line} says {label.use_by}: "
            "read the carton again; a lot has one date.",
            {"stock_code": label.item.stock_code, "lot": label.number, "known": known, "read": label.use_by},
        )
    if known:
        doubts.ask("same-lot", label.line, f"{name} is on the books with use by {known}; these have no date: the same?")
        return known
    doubts.ask(
        "same-lot",
        label.line,
        f"{name} is on the books without a date; is {label.use_by} the date of all its pieces?",
    )
    return label.use_by


def _adopt_dates(known: Iterable[Sequence[Lot]], dates: dict[LotKey, date | None]) -> None:
    undated = [
        lot for lots in known for lot in lots if lot.number and not lot.use_by and dates[(lot.item_id, lot.number)]
    ]
    for lot in undated:
        lot.use_by = dates[(lot.item_id, lot.number)]
    if undated:
        Lot.objects.bulk_update(undated, ["use_by"])
