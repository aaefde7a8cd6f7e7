"""Take planning sheets into the records: all of them or none, questions first, and the same sheets change nothing."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime

import pandas as pd
from django.db import IntegrityError

from inventory.models import Depot, Item, PurchaseOrder, Supplier
from inventory.services.actions import use_case
from jobs.models import Job, Structure
from jobs.selectors.schedules import Facts, Schedule
from jobs.services.revise_schedules import Revised, revise_schedules
from kitting.calculation.questions import NOTE, Question
from kitting.calculation.sheets.book import Book, read_book
from kitting.calculation.sheets.network_sheets import BAG_DEPOTS
from kitting.calculation.sheets.parsers import YES_NO, Setting, plain
from kitting.calculation.sheets.policies import policy_name
from kitting.calculation.sheets.raw import RawBook
from kitting.errors import Refusal
from kitting.models import Policy
from kitting.roles import Actor
from kitting.selectors.bag_depots import bag_depots
from kitting.selectors.overrides import REASON
from kitting.selectors.record_sheets import RECORDS
from kitting.selectors.stock_on_books import StockOnBooks, stock_held_still
from kitting.services.bag_depots import Depots, bags_follow
from kitting.services.freeze_outages import changes_after_freeze
from kitting.services.keep_answers import keep_answers, with_kept_answers
from kitting.services.keep_old_codes import keep_old_codes, old_code_questions, with_old_codes
from kitting.services.keep_rules import keep_rules
from kitting.services.list_bags import review_moved
from kitting.services.load_stock import open_stock, order_questions, stock_questions
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.release_promises import release_moved
from kitting.services.sheet_rights import need_sheets
from kitting.services.sound_books import refuse_open_questions, require_sound_books
from kitting.services.storage_questions import storage_questions
from kitting.services.upsert_rows import SheetChanges, add_missing, replace_rows, stored_rows, upsert_rows

DEMO = "demo"
LISTS = ("bag depots", "stand ins", "pins", "added lines")  # each is the whole list of what holds
LISTS_OF_JOBS = ("bag depots", "pins", "added lines")  # rows are a job's: after the freeze they change for a reason
_LONGEST_NAME = 120


@dataclass(frozen=True, slots=True)
class Loaded:
    """What loading did.

    Args:
        sheets: what became of the rows of each sheet, in loading order; the schedule's are in ``schedules``.
        schedules: what became of each job's schedule.
        rules: new revisions of decision tables, and those that wait for review, in words.
        answers: how many answers are kept that were not before.
        unknown_lots: stock codes with lots that are tracked, of which pieces without a lot were opened.
    """

    sheets: tuple[SheetChanges, ...]
    schedules: tuple[Revised, ...]
    rules: tuple[str, ...]
    answers: int
    unknown_lots: tuple[str, ...]

    def __bool__(self) -> bool:
        revised = any(one.is_new for one in self.schedules)
        return any(self.sheets) or revised or bool(self.rules) or bool(self.answers)


@use_case
def load_sheets(
    *,
    raw: RawBook,
    by: str,
    at: datetime,
    source: str = "",
    actor: Actor | None = None,
    reason: str = "",
    last: Callable[[], None] = lambda: None,
) -> Loaded:
    """Store what the sheets say, where it is not in the records yet; nothing is stored if anything is in doubt.

    Rows with a key are added or changed. What the sheets don't name stays: jobs, stock, items and all else; only a
    job's schedule and the lists without keys are replaced by what their sheet says. Stock opens balances once: where
    the books hold other pieces, that is a question. Answers are kept, also for later files. A job whose outage has
    another time, or which has another depot, frees its pieces.

    Args:
        raw: sheets as received.
        by: the person who loads them.
        at: moment of loading, with its zone.
        source: name of the file, for the event.
        actor: whose rights are asked, sheet by sheet, once the books hold something; None for who runs the machine.
        reason: why; jobs whose outage is frozen need one to be changed.
        last: called when all is stored, in the same transaction; what it raises leaves nothing stored.

    Raises:
        Refusal: ``questions-open`` with the ``questions`` and the ``sheets`` they speak of; ``demo-apart``: the demo
            and other data don't go into the same books; ``no-name``; ``frozen``; ``not-allowed``;
            ``other-depot``; ``against-a-rule``; those of ``read_book``.
    """
    if not by.strip() or len(by) > _LONGEST_NAME:
        raise Refusal("no-name", f"Say who loads, in at most {_LONGEST_NAME} characters.", {"by": by})
    lock_chain()
    given = with_kept_answers(raw)
    book = read_book(given)
    were_empty = not (Depot.objects.exists() or Item.objects.exists() or Job.objects.exists())
    _keep_demo_apart(book, were_empty=were_empty)
    stock = stock_held_still()
    refuse_open_questions(given, [*book.questions, *_further_questions(book, stock)])
    staged = bag_depots(Job.objects.all())
    try:
        loaded = _store(book, _names(raw), stock, by=by, at=at)
    except IntegrityError as error:
        message = f"The records refuse what no question asked about ({error}); nothing was stored."
        raise Refusal("against-a-rule", message, {"source": source}) from error
    if loaded and not were_empty:
        if actor is not None:
            _need_rights(actor, loaded, book)
        require_sound_books()
    if loaded:
        _follow(loaded, book, source, staged=staged, reason=reason, by=by, at=at)
    last()
    return loaded


def _follow(loaded: Loaded, book: Book, source: str, *, staged: Depots, reason: str, by: str, at: datetime) -> None:
    """Let promises and bags follow what was stored, and record it all; a frozen outage asks for a reason."""
    moved = next(one.changed for one in loaded.sheets if one.sheet == "jobs")
    revised = (one.job for one in loaded.schedules if one.is_new)
    listed = (job for one in loaded.sheets if one.sheet in LISTS_OF_JOBS for job in one.jobs)
    late = changes_after_freeze((*moved, *revised, *listed), reason=reason, what="sheets loaded")
    released = release_moved(moved, at=at)
    elsewhere = bags_follow(staged, Job.objects.filter(ended=""), at=at) if _names_bag_depots(loaded) else ()
    told = (*_happenings(loaded, book, source), *_overrides(loaded), *late, *released, *elsewhere)
    record_events(told, by=by, at=at)
    review_moved(released, by=by, at=at)


def _names_bag_depots(loaded: Loaded) -> bool:
    return any(one.sheet == BAG_DEPOTS.name for one in loaded.sheets if one)


def _need_rights(actor: Actor, loaded: Loaded, book: Book) -> None:
    """Every sheet that changed is one that the person may change, and so is the depot of every new schedule."""
    depots = _depots_of_jobs(book)
    schedules = {depots[one.job] for one in loaded.schedules if one.is_new}
    need_sheets(actor, loaded.sheets, schedules=schedules, rules=bool(loaded.rules))


def _names(raw: RawBook) -> frozenset[str]:
    """The sheets that were given, whatever the case and blanks of their names."""
    return frozenset(plain(name.replace("_", " ")).casefold() for name, sheet in raw.sheets.items() if sheet.headers)


def _keep_demo_apart(book: Book, *, were_empty: bool) -> None:
    """Refuse the demo where other data is, and other data where the demo is."""
    kept = Policy.objects.filter(policy=DEMO).first()
    holds_demo = kept is not None and YES_NO.read(kept.value, Setting()) is True
    if not were_empty and holds_demo != book.policies.demo:
        held, given = ("the demo", "other data") if holds_demo else ("other data", "the demo")
        message = f"These books hold {held}, and {given} must not be mixed with it; load it into books of its own."
        raise Refusal("demo-apart", message, {"held": held, "given": given})


def _further_questions(book: Book, stock: StockOnBooks) -> list[Question]:
    """What only keeping asks; the values of cells in doubt are not looked at, they are asked about anyway."""
    if any(question.severity != NOTE for question in book.questions):
        return []
    return [
        *storage_questions(book),
        *stock_questions(book.frames["stock"], stock),
        *order_questions(book.frames["orders"]),
        *old_code_questions(book.frames["items"]),
    ]


def _store(book: Book, given: frozenset[str], stock: StockOnBooks, *, by: str, at: datetime) -> Loaded:
    """Put every sheet into its records, each after those that it refers to."""
    frames = dict(book.frames)
    frames["policies"] = frames["policies"].assign(policy=frames["policies"]["policy"].map(policy_name))
    add_missing(Structure, "structure", frames["positions"]["structure"])
    add_missing(Supplier, "name", [*frames["items"]["supplier"], *frames["orders"]["supplier"]])
    add_missing(PurchaseOrder, "number", frames["orders"]["order"])
    changes: list[SheetChanges] = []
    schedules: tuple[Revised, ...] = ()
    for name, records in RECORDS.items():
        frame = frames[name]
        if name == "schedule":
            schedules = revise_schedules(schedules=schedules_of(frame), file_digest=book.digest, by=by, at=at)
        elif name == "stock":
            changes.append(open_stock(frame, stock, file_digest=book.digest, by=by, at=at))
        elif name in LISTS:
            changes += [replace_rows(records, frame)] if name in given else []
        elif name == "items":
            changes.append(with_old_codes(upsert_rows(records, frame), keep_old_codes(frame)))
        else:
            changes.append(upsert_rows(records, frame))
    return Loaded(
        sheets=tuple(changes),
        schedules=schedules,
        rules=keep_rules(book.rules, by=by, at=at),
        answers=keep_answers(book.answers_used, frames["schedule"]),
        unknown_lots=_unknown_lots(frames["items"], frames["stock"]),
    )


def schedules_of(frame: pd.DataFrame) -> Mapping[str, Schedule]:
    """The facts of each run, by job and run number."""
    found: dict[str, dict[str, Facts]] = {}
    for job, run, *facts in stored_rows(RECORDS["schedule"], frame):
        found.setdefault(job, {})[run] = tuple(facts)
    return found


def _unknown_lots(items: pd.DataFrame, stock: pd.DataFrame) -> tuple[str, ...]:
    tracked = {code for code, is_tracked in zip(items["stock_code"], items["lot_tracked"], strict=True) if is_tracked}
    unknown = {code for code, lot in zip(stock["stock_code"], stock["lot"], strict=True) if lot is None}
    return tuple(sorted(tracked & unknown))


def _happenings(loaded: Loaded, book: Book, source: str) -> Iterator[Happening]:
    """What is recorded of a load: all of it together, and each job's new schedule for its planner."""
    yield Happening(
        name="sheets loaded",
        subject=source or book.digest,
        data={
            "file": book.digest,
            "sheets": {
                one.sheet: {
                    "new": len(one.new),
                    "changed": dict(one.changed),
                    "withdrawn": one.withdrawn,
                    "same": one.same,
                }
                for one in loaded.sheets
                if one
            },
            "rules": loaded.rules,
            "answers": loaded.answers,
            "unknown_lots": loaded.unknown_lots,
        },
    )
    depots = _depots_of_jobs(book)
    for one in loaded.schedules:
        if one.is_new:
            yield Happening(
                name="schedule revised",
                subject=one.job,
                data={"file": book.digest, "revision": one.letter, **asdict(one.changes)},
                addressed_to="planner",
                depot=depots[one.job],
            )


def _depots_of_jobs(book: Book) -> dict[str, str]:
    return dict(zip(book.frames["jobs"]["job"], book.frames["jobs"]["depot"], strict=True))


def _overrides(loaded: Loaded) -> Iterator[Happening]:
    """Each new pin and approved stand-in of a sheet: whose it is stands on the sheet, who loaded it in the event."""
    for sheet in loaded.sheets:
        for row in sheet.added:
            told = {REASON: row.get("reason") or "none given on the sheet", "row": dict(row)}
            if sheet.sheet == "pins":
                yield Happening("pin loaded", row["line"], {**told, "asked_by": row["by"]})
            elif sheet.sheet == "stand ins":
                named = f"{row['allowed']} for {row['wanted']}"
                yield Happening("stand-in loaded", named, {**told, "asked_by": row["approved by"]})
