"""Change some facts of one record by hand, as it was when it was looked at: a stale edit is refused."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import IntegrityError, models

from inventory.services.actions import use_case
from jobs.selectors.references import rows_of
from kitting.calculation.doubts import Doubt
from kitting.calculation.sheets.columns import Column
from kitting.calculation.sheets.parsers import Setting
from kitting.errors import Refusal
from kitting.models import Bag
from kitting.roles import CREW_LEAD, PLANNER, STOREKEEPER
from kitting.selectors.bag_contents import is_out
from kitting.selectors.bag_depots import bag_depots
from kitting.selectors.record_sheets import RECORDS, SheetRecords
from kitting.selectors.reel_fits import bags_on_reel
from kitting.services.bag_depots import SHEET, bags_follow
from kitting.services.freeze_outages import changes_after_freeze
from kitting.services.list_bags import review_moved
from kitting.services.load_sheets import DEMO, LISTS_OF_JOBS
from kitting.services.record_events import Happening, lock_chain, record_events
from kitting.services.release_promises import release_moved
from kitting.services.sound_books import require_sound_books

# These change by revisions, movements, receipts and approvals. Neither does the demo become real by a word.
_NOT_BY_HAND = frozenset({"schedule", "stock", "orders", "stand ins"})


@use_case
def change_facts(
    *, sheet: str, key: Sequence[str], version: int, changes: Mapping[str, str], by: str, at: datetime, reason: str = ""
) -> int:
    """Change columns of one row to what their texts say; the record's new version.

    A moved job frees its pieces, and its bags are looked at again.

    Args:
        sheet: the sheet's name.
        key: texts of its key columns; of a list without keys the record's number.
        version: the version that was looked at.
        changes: new text by column label, '' for blank.
        by: the person.
        at: moment of the change.
        reason: why; a job whose outage is frozen needs one.

    Raises:
        Refusal: ``frozen``: see ``changes_after_freeze``.
        Refusal: ``stale-edit`` with the current values; ``no-such-row``; ``not-by-hand``; ``cell-in-doubt``;
            ``questions-open``: the change contradicts other records.
    """
    records = kept_by_hand(sheet, key)
    lock_chain()
    found = _find(records, key)
    before, staged = _texts(records, found), bag_depots([found.job]) if sheet == SHEET else {}
    if found.version != version:
        message = f"{sheet} {'/'.join(key)} was changed meanwhile; look at it again before you change it."
        raise Refusal("stale-edit", message, {"version": found.version, "now": before})
    for label, text in changes.items():
        _set(records, found, label, text.strip())
    found.version += 1
    try:
        found.save()
    except IntegrityError as error:
        message = f"{sheet} {'/'.join(key)} can't be so: it breaks a rule of the records ({error})."
        raise Refusal("against-a-rule", message, {"sheet": sheet, "key": tuple(key)}) from error
    require_sound_books(changed=sheet)
    after = _texts(records, found)
    differing = [label for label in before if before[label] != after[label]]
    data = {"before": {at: before[at] for at in differing}, "after": {at: after[at] for at in differing}}
    moved = {label: (before[label], after[label]) for label in differing}
    released = release_moved({key[0]: moved}, at=at) if sheet == "jobs" else []
    of_job = key[:1] if sheet == "jobs" else [found.job.job] if sheet in LISTS_OF_JOBS else []
    late = changes_after_freeze(of_job, reason=reason, what="facts of the job") if differing else []
    late += bags_follow(staged, [found.job], at=at) if sheet == SHEET else []
    unfit = _unfit_for_reel(key[0]) if sheet == "reels" else ()
    changed = Happening("facts changed", f"{sheet} {'/'.join(key)}", data)
    record_events([changed, *late, *released, *unfit], by=by, at=at)
    review_moved(released, by=by, at=at)
    return int(found.version)


def kept_by_hand(sheet: str, key: Sequence[str]) -> SheetRecords:
    """The records of a sheet that people change cell by cell.

    Raises:
        Refusal: ``not-by-hand``.
    """
    records = RECORDS.get(sheet)
    if records is None or sheet in _NOT_BY_HAND or (sheet, *key) == ("policies", DEMO):
        raise Refusal("not-by-hand", f"The sheet {sheet} is not changed cell by cell.", {"sheet": sheet})
    return records


def _unfit_for_reel(reel: str) -> Iterator[Happening]:
    """Tell of each bag with a part that the reel, as it is measured now, does not let fit."""
    found = bags_on_reel(reel)
    for bag in Bag.objects.filter(pk__in=found).select_related("job", "depot").order_by("pk"):
        told = {"bag": bag.code, "why": found[bag.pk]}
        for role in (PLANNER, STOREKEEPER, *((CREW_LEAD,) if is_out(bag) else ())):
            yield Happening("part does not fit its reel", str(bag), told, addressed_to=role, depot=bag.depot.depot)


def _find(records: SheetRecords, key: Sequence[str]) -> Any:
    """The record, locked until the transaction ends."""
    paths = [records.paths[records.columns[at].field] for at in records.key] or ["pk"]
    where = dict(zip(paths, key, strict=True))
    if paths == ["pk"] and not key[0].isdecimal():
        where = {"pk": "0"}
    found = rows_of(records.model).select_for_update(of=("self",)).filter(**where).first()
    if found is None:
        message = f"The records have no row {'/'.join(key)} of the sheet {records.sheet.name}."
        raise Refusal("no-such-row", message, {"sheet": records.sheet.name, "key": tuple(key)})
    return found


def _set(records: SheetRecords, found: Any, label: str, text: str) -> None:
    column = next((one for one in records.columns if one.label == label and not one.key), None)
    if column is None:
        message = f"The sheet {records.sheet.name} has no column {label} that can be changed."
        raise Refusal("no-such-column", message, {"sheet": records.sheet.name, "column": label})
    value = _parsed(records, column, text)
    own, _, rest = records.paths[column.field].partition("__")
    if not rest:
        setattr(found, own, value)
    elif not value:
        setattr(found, f"{own}_id", None)
    else:
        setattr(found, own, _named(found, own, rest, str(value)))


def _parsed(records: SheetRecords, column: Column, text: str) -> object:
    """The value that the record keeps of a text."""
    try:
        return records.stored(column, _read(column, text))
    except Doubt as doubt:
        hint = f" ({doubt.suggestion})" if doubt.suggestion else ""
        message = f"{column.label} {text or 'blank'}: {doubt.problem}{hint}"
        raise Refusal("cell-in-doubt", message, {"column": column.label, "read": text}) from doubt


def _read(column: Column, text: str) -> object:
    if not text and column.required:
        raise Doubt("it must be given", column.parser.words)
    value = column.parser.read(text, Setting(column.parser.unit or None)) if text else column.blank
    if value is not None and column.rule is not None and not column.rule(value):
        raise Doubt(column.message)
    return value


def _named(found: models.Model, own: str, rest: str, code: str) -> models.Model:
    target = found._meta.get_field(own).related_model  # noqa: SLF001 - Django's public way to a model's fields
    named = rows_of(target).filter(**{rest: code}).first()  # type: ignore[arg-type]  # a reference has a target
    if named is None:
        message = f"The records have no {own.replace('_', ' ')} {code}."
        raise Refusal("cell-in-doubt", message, {"column": own, "read": code})
    return named


def _texts(records: SheetRecords, found: models.Model) -> dict[str, str]:
    """The record as its sheet shows it, by column label."""
    row = records.rows(everything=True).get(pk=found.pk)[1:]
    texts = records.texts([row])
    return {column.label: text for column, (text,) in zip(records.columns, texts, strict=True)}
