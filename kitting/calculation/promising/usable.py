"""Which lot may serve which kit, one by one: how its pieces come, by which day, and until when they are good."""

from kitting.calculation.promising.model import NEVER, ORDER, SHELF, TRANSFER, Cell, Kit, Lot

SOURCES = (SHELF, TRANSFER, ORDER)  # own depot before transfer before order
ALWAYS = -NEVER  # the arrival day of a piece that already lies at the kit's depot


def source_of(lot: Lot, depot: int) -> str:
    """How a piece comes to a depot: from its shelf, by transfer, or with an order."""
    if lot.is_order:
        return ORDER
    return SHELF if lot.depot == depot else TRANSFER


def arrival_day(lot: Lot, depot: int) -> int:
    """Day that decides whether a piece is in time at a depot; a piece on the depot's own shelf always is."""
    if lot.own_depot_only and lot.depot != depot:
        return NEVER
    return ALWAYS if source_of(lot, depot) == SHELF else lot.arrival[depot]


def is_usable(lot: Lot, kit: Kit, kit_index: int) -> bool:
    """True where a lot's pieces may go into a kit: kept for nobody else, there in time and good long enough."""
    return (
        kit.dated
        and lot.only_kit in (-1, kit_index)
        and lot.expiry_day >= kit.good_through_day
        and arrival_day(lot, kit.depot) <= kit.staged_by_day
    )


def is_buyable(cell: Cell, kit: Kit) -> bool:
    """True where missing pieces of a counted line can still be bought in time (own codes only, never a stand-in)."""
    return not cell.spare and not kit.buyable.isdisjoint(cell.options)
