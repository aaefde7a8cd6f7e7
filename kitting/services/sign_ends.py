"""Sign for what is installed on ends, once every phase is noted."""

from collections.abc import Collection
from typing import Unpack

from inventory.services.actions import begin, use_case
from kitting.errors import Refusal
from kitting.models import Bag
from kitting.roles import DO, require
from kitting.selectors.bag_contents import bag_by_code
from kitting.selectors.end_signatures import END_SIGNED, end_name, on_end
from kitting.selectors.installed_ends import EndRecord, ends_of, histories
from kitting.services.record_events import Happening, record_events
from kitting.services.retire_parts import AS_INSTALLED
from kitting.services.scans import Scan, stamp_of


@use_case
def sign_ends(*, bag: str, positions: Collection[str], signature: str, **scan: Unpack[Scan]) -> list[str]:
    """Sign the as-installed records of positions that a bag was for; returns the ends that are signed.

    Args:
        bag: code on its label.
        positions: of its structure.
        signature: the name under which the crew signs, and how it was proved.
        scan: who, when, the number of the action.

    Raises:
        Refusal: ``not-allowed``; ``no-end``: none is named, or nothing was ever noted there; ``end-open`` says which
            phase lacks what; ``not-signed``: there is no name.
    """
    one = bag_by_code(bag)
    require(scan["actor"], AS_INSTALLED, DO, one.depot.depot)
    if not positions:
        raise Refusal("no-end", "NO END: tick the ends that you sign for.", {"bag": str(one)})
    if not signature.strip():
        raise Refusal("not-signed", "NOT SIGNED: the crew's name is missing.", {"bag": str(one)})
    wanted = sorted({*positions})
    _, repeated = begin("sign ends", {"bag": one.code, "positions": wanted, "signature": signature}, stamp_of(scan))
    ends = {end.position: end for end in ends_of(one.job.job) if end.structure == one.structure}
    keys = [(one.structure, position) for position in wanted]
    if not repeated:
        for position in wanted:
            _refuse_open(one, position, ends.get(position))
        fitted = histories(keys)
        happenings = [
            Happening(
                END_SIGNED,
                end_name(key),
                {"bag": one.code, "job": one.job.job, "signature": signature, "action": scan["action"],
                 "pieces": on_end(fitted[key]), "on it": [one.words for one in fitted[key] if one.left]},
                depot=one.depot.depot,
            )
            for key in keys
        ]  # fmt: skip
        record_events(happenings, by=scan["actor"].name, at=scan["at"])
    return [*map(end_name, keys)]


def _refuse_open(bag: Bag, position: str, end: EndRecord | None) -> None:
    name = end_name((bag.structure, position))
    if end is None:
        raise Refusal("no-end", f"Nothing is noted as installed from {bag} at {name}.", {"end": name})
    if end.is_open:
        raise Refusal("end-open", f"STILL OPEN: {end.sentence}. Note it first, then sign.", {"end": name})
