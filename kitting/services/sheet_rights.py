"""Whose work each planning sheet is: who may change what it says, sheet by sheet and for items column by column."""

from collections.abc import Collection, Iterable, Mapping
from types import MappingProxyType

from kitting.errors import Refusal
from kitting.roles import APPROVE, DO, ROLES, Actor, require
from kitting.services.upsert_rows import SheetChanges

RULES = "rules"
_ITEMS, _PRICES, _DATES, _STORES = ("items", DO), ("prices", DO), ("job dates", DO), ("warehouse", DO)
# Sheet -> rights of which one is needed. Stand-ins are asked for by one person and approved by another: not by a file.
_RIGHTS: Mapping[str, tuple[tuple[str, str], ...]] = MappingProxyType(
    {
        "policies": (("policies", DO),),
        "depots": (_DATES, _STORES),
        "transfers": (_DATES, _STORES),
        "systems": (("schedule", DO), ("rules", DO)),
        "cable types": (_ITEMS,),
        "reels": (("reel band", DO),),
        "positions": (("schedule", DO),),
        "jobs": (_DATES,),
        "bag depots": (_DATES,),
        "schedule": (("schedule", DO),),
        "items": (_ITEMS,),
        "levels": (_STORES, ("order sheet", DO)),
        "stock": (_STORES,),
        "orders": (("order sheet", DO),),
        "pins": (_DATES,),
        "added lines": (("schedule", DO),),
        RULES: (("rules", DO),),
    }
)
_BOUGHT = frozenset(
    {
        "supplier",
        "supplier code",
        "lead days",
        "lead date",
        "minimum order",
        "order multiple",
        "price",
        "price date",
        "price breaks",
    }
)  # columns of an item that are purchasing's


def need_sheet(
    actor: Actor, sheet: str, columns: Iterable[str] | None = None, depots: Collection[str] = ()
) -> None:  # fmt: skip
    """Refuse who may not change a sheet; ``columns`` are the labels that change, None for whole rows.

    Raises:
        Refusal: ``not-allowed`` names the sheet and who may; ``other-depot``: one of ``depots`` is not the person's.
    """
    rights = _RIGHTS.get(sheet, ())
    if sheet == "items" and columns is not None and set(columns) <= _BOUGHT:
        rights = (*rights, _PRICES)
    mine = [right for right in rights if actor.may(*right)]
    if mine:
        for depot in sorted(depots):
            require(actor, *mine[0], depot)
        return
    if not rights:
        message = f"The sheet {sheet} is not changed by a file: one person asks, another approves, on To approve."
    else:
        who = [role for role in ROLES if any(Actor("", frozenset({role})).may(*right) for right in rights)]
        message = f"{actor.name} may not change the sheet {sheet}; {' or '.join(who)} may. Nothing was stored."
    raise Refusal("not-allowed", message, {"action": sheet, "level": APPROVE if not rights else DO})


def need_sheets(actor: Actor, sheets: Iterable[SheetChanges], *, schedules: Collection[str], rules: bool) -> None:
    """Refuse a load that changes a sheet which is not this person's work; what stays as it is may be on it.

    Args:
        actor: the person.
        sheets: what would change.
        schedules: depots of the jobs whose schedules would be revised.
        rules: whether decision tables would be.

    Raises:
        Refusal: as ``need_sheet``.
    """
    for one in sheets:
        if one.new or one.withdrawn:
            need_sheet(actor, one.sheet, depots=one.depots)
        for columns in one.changed.values():
            need_sheet(actor, one.sheet, columns, one.depots)
    if schedules:
        need_sheet(actor, "schedule", depots=schedules)
    if rules:
        need_sheet(actor, RULES)
