"""Joints whose pieces come from more than one maker: told, because some owners want a joint of one maker.

Common practice: UFGS 16302N asks for a kit of one manufacturer. Nothing is refused.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from kitting.calculation.questions import NOTE, Question

MAKER = "maker"
_JOINT = ["job", "structure", "position"]


def maker_notes(
    requirements: pd.DataFrame, promises: pd.DataFrame, items: Mapping[str, Mapping[str, Any]]
) -> Iterator[Question]:
    """A note for each joint of which the makers of the pieces differ, with both makers and where the pieces come from.

    Pieces count as they are promised; of a line that lacks all, the code that would be bought. Items whose maker
    nobody has given are left out.

    Args:
        requirements, promises: the plan's tables.
        items: facts by stock code; ``maker`` and ``supplier`` are text where they are given.
    """
    makers = {code: item[MAKER] for code, item in items.items() if isinstance(item[MAKER], str)}
    if len(set(makers.values())) < 2:
        return
    joints = requirements[(requirements["side"] == "joint") & (requirements["stock_code"] != "")]
    taken: dict[str, dict[str, str]] = defaultdict(dict)
    of_joints = promises[promises["line"].isin(set(joints["line"]))]
    for row in of_joints[["line", "stock_code", "depot", "place", "order"]].itertuples(index=False, name=None):
        line, code, depot, place, order = map(str, row)
        taken[line].setdefault(code, f"order {order}" if order else f"{depot}/{place}")
    for (job, structure, position), lines in joints.groupby(_JOINT, sort=True, observed=True):
        sources: dict[str, str] = {}
        for line, code in zip(lines["line"], lines["stock_code"].astype(str), strict=True):
            sources |= taken.get(line) or {code: f"to be bought of {items[code]['supplier'] or 'nobody named'}"}
        told = {code: where for code, where in sorted(sources.items()) if code in makers}
        if len({makers[code] for code in told}) > 1:
            words = "; ".join(f"{code} by {makers[code]} ({where})" for code, where in told.items())
            yield Question(
                "items", 0, MAKER, "", f"{job} {structure}-{position}: makers differ in this joint: {words}",
                "one maker's pieces, if this joint must be a kit of one maker", NOTE,
            )  # fmt: skip
