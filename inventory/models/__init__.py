"""Records of the warehouse: what there is to stock and to buy, where pieces lie, and how they got there.

Quantities are whole thousandths of the item's stock unit, lengths whole nanometres, money and voltages exact decimals.
A blank fact is null, or '' where the fact is text; text facts are kept as they are written on the sheet.
"""

from inventory.models.catalogue import (
    DATE_IS_FINAL,
    DATE_MAY_BE_EXTENDED,
    DATED_KINDS,
    Depot,
    Item,
    Level,
    OldCode,
    Supplier,
    Way,
)
from inventory.models.ledger import (
    ENDINGS,
    FOUND,
    FROM_SUPPLIER,
    INSTALLED,
    LOST,
    OPENING,
    ORIGINS,
    RETURNED,
    SCRAPPED,
    Action,
    Movement,
)
from inventory.models.purchases import KEEP, SEND_BACK, OrderLine, PurchaseOrder
from inventory.models.stock import (
    BAG,
    BIN,
    HOLD,
    PLACE_KINDS,
    RESERVE,
    STAGING,
    SUPPLIER_OWNED,
    TRUCK,
    VAN,
    Balance,
    Lot,
    LotHold,
    Place,
)
from inventory.models.transfers import Difference, Transfer

__all__ = [
    "BAG",
    "BIN",
    "DATED_KINDS",
    "DATE_IS_FINAL",
    "DATE_MAY_BE_EXTENDED",
    "ENDINGS",
    "FOUND",
    "FROM_SUPPLIER",
    "HOLD",
    "INSTALLED",
    "KEEP",
    "LOST",
    "OPENING",
    "ORIGINS",
    "PLACE_KINDS",
    "RESERVE",
    "RETURNED",
    "SCRAPPED",
    "SEND_BACK",
    "STAGING",
    "SUPPLIER_OWNED",
    "TRUCK",
    "VAN",
    "Action",
    "Balance",
    "Depot",
    "Difference",
    "Item",
    "Level",
    "Lot",
    "LotHold",
    "Movement",
    "OldCode",
    "OrderLine",
    "Place",
    "PurchaseOrder",
    "Supplier",
    "Transfer",
    "Way",
]
