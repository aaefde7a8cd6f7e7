"""Old codes of items: each points to one item, and moves to another only where the sheet says so of both."""

from collections.abc import Mapping
from dataclasses import replace

import pandas as pd

from inventory.models import Item, OldCode
from kitting.calculation.questions import REFUSE, Question
from kitting.services.upsert_rows import SheetChanges

_BATCH = 2_000
Moves = Mapping[str, tuple[str, str]]


def old_code_questions(items: pd.DataFrame) -> list[Question]:
    """Old codes that the books have for an item that the sheet does not name."""
    here = set(items["stock_code"])
    elsewhere = {code: item for code, item in _kept().items() if item not in here}
    found = []
    for row, codes in zip(items["row"], items["old_codes"], strict=True):
        for code in codes or ():
            if code in elsewhere:
                problem = f"{code} is an old code of {elsewhere[code]} in the books"
                found.append(Question("items", row, "old codes", code, problem, "leave it to one of them", REFUSE))
    return found


def keep_old_codes(items: pd.DataFrame) -> Moves:
    """Make the old codes of the sheet's items what the sheet says; before and after by item, where they differ."""
    given = {
        code: item for item, codes in zip(items["stock_code"], items["old_codes"], strict=True) for code in codes or ()
    }
    here = set(items["stock_code"])
    kept = {code: item for code, item in _kept().items() if item in here}
    gone = [code for code, item in kept.items() if given.get(code) != item]
    new = {code: item for code, item in given.items() if kept.get(code) != item}
    if gone:
        OldCode.objects.filter(code__in=gone).delete()
    if new:
        numbers = dict(Item.objects.values_list("stock_code", "pk"))
        OldCode.objects.bulk_create(
            (OldCode(code=code, item_id=numbers[item]) for code, item in new.items()), batch_size=_BATCH
        )
    moved = dict.fromkeys([*(kept[code] for code in gone), *new.values()])
    return {item: (_listed(kept, item), _listed(given, item)) for item in moved}


def with_old_codes(changes: SheetChanges, moves: Moves) -> SheetChanges:
    """What became of the items, with the old codes of those that were there before."""
    told = {item: {"old codes": texts} for item, texts in moves.items() if item not in set(changes.new)}
    changed = {item: {**changes.changed.get(item, {}), **told.get(item, {})} for item in [*changes.changed, *told]}
    return replace(changes, changed=changed, same=changes.same + len(changes.changed) - len(changed))


def _kept() -> dict[str, str]:
    return dict(OldCode.objects.values_list("code", "item__stock_code"))


def _listed(owners: Mapping[str, str], item: str) -> str:
    return "; ".join(sorted(code for code, owner in owners.items() if owner == item))
