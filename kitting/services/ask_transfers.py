"""Ask another depot for pieces that no plan wants, and close what was asked: told by events until it is answered."""

from typing import Unpack

from inventory.models import Depot
from inventory.selectors.finding import items_by_code
from inventory.services.actions import begin, use_case
from inventory.services.whole_pieces import need_whole
from kitting.errors import Refusal
from kitting.roles import DO, STOREKEEPER, require
from kitting.selectors.transfer_asks import ANSWERED, ASKED, ask_number, open_asks
from kitting.services.record_events import Happening, record_events
from kitting.services.scans import Scan, stamp_of

_WAREHOUSE = "warehouse"


@use_case
def ask_transfer(
    *, stock_code: str, quantity: int, source: Depot, target: Depot, why: str, **scan: Unpack[Scan]
) -> None:
    """Tell the stores of a depot what another one wants of them.

    Args:
        stock_code: of today or of former times.
        quantity: thousandths of its stock unit.
        source, target: which depot is asked, and for which.
        why: in words.
        scan: who asks, when, the number of the action: sent twice, it is asked once.

    Raises:
        Refusal: ``not-allowed``, ``other-depot``; ``unknown-stock-code``; ``same-depot``; ``no-quantity``;
            ``no-reason``.
    """
    require(scan["actor"], _WAREHOUSE, DO, target.depot)
    content = {"stock_code": stock_code, "quantity": quantity, "source": source.pk, "target": target.pk}
    _, repeated = begin("ask transfer", content, stamp_of(scan), why)
    if repeated:
        return
    item = items_by_code([stock_code])[stock_code]
    if source == target:
        raise Refusal("same-depot", f"{source} is asked for {target}: choose another depot to ask.", {})
    if quantity <= 0:
        raise Refusal("no-quantity", "Say how many pieces are wanted.", {"quantity": quantity})
    need_whole(item, quantity)
    if not why.strip():
        raise Refusal("no-reason", "Say what the pieces are wanted for.", {})
    data = {"quantity": quantity, "from": source.depot, "to": target.depot, "why": why.strip()}
    told = Happening(ASKED, item.stock_code, data, addressed_to=STOREKEEPER, depot=source.depot)
    record_events([told], by=scan["actor"].name, at=scan["at"])


@use_case
def answer_ask(*, number: int, answer: str, **scan: Unpack[Scan]) -> None:
    """Close what was asked: with the van that takes it, or why not; either depot may.

    Raises:
        Refusal: ``not-allowed``, ``other-depot``; ``no-open-ask``; ``no-reason``.
    """
    _, repeated = begin("answer transfer ask", {"ask": number}, stamp_of(scan), answer)
    if repeated:
        return
    asked = next((one for one in open_asks() if one.number == number), None)
    if asked is None:
        raise Refusal("no-open-ask", f"Nothing that was asked is open under {number}.", {"ask": number})
    if not scan["actor"].may(_WAREHOUSE, DO, asked.target):
        require(scan["actor"], _WAREHOUSE, DO, asked.source)
    if not answer.strip():
        raise Refusal("no-reason", "Say what becomes of it: the number of the van, or why not.", {"ask": number})
    data = {"answer": answer.strip(), "quantity": asked.quantity, "stock_code": asked.stock_code}
    told = Happening(ANSWERED, ask_number(number), data, addressed_to=STOREKEEPER, depot=asked.target)
    record_events([told], by=scan["actor"].name, at=scan["at"])
