"""Approved stand-ins: parts that may be taken instead of one that serves, one way and within limits."""

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

import pandas as pd

from kitting.calculation.fit_matching.checks import judge, stand
from kitting.calculation.fit_matching.parts import Part
from kitting.calculation.fit_matching.results import CLASS, RULE
from kitting.calculation.natural_order import natural_key
from kitting.calculation.needs import Need, StandInOption
from kitting.calculation.questions import Missing

_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")


class StandIns:
    """The approved rows of the stand ins sheet, by the code they stand in for; a row in doubt counts for nothing."""

    def __init__(self, rows: pd.DataFrame, parts: Mapping[str, Part], *, estimates: str) -> None:
        self._parts = parts
        self._estimates = estimates
        self._by_wanted: dict[str, list[Mapping[Any, Any]]] = {}
        for row in rows.to_dict("records"):
            if not any(isinstance(fact, Missing) for fact in row.values()) and row["approved_by"]:
                self._by_wanted.setdefault(row["wanted"], []).append(row)

    def options(self, need: Need, codes: Sequence[str]) -> tuple[StandInOption, ...]:
        """Stand-ins for the stock codes that serve a need, in the order of those codes, then their own."""
        found = []
        for place, wanted in enumerate(codes):
            for row in self._by_wanted.get(wanted, ()):
                allowed = self._parts.get(row["allowed"])
                if allowed is not None and row["allowed"] not in codes and self._may_stand_in(row, allowed, need):
                    found.append((place, natural_key(row["allowed"]), _option(row)))
        return tuple(option for _, _, option in sorted(found, key=lambda one: (one[:2], str(one[2]))))

    def _may_stand_in(self, row: Mapping[Any, Any], allowed: Part, need: Need) -> bool:
        if row["system"] and row["system"] != need.system:
            return False
        results = judge(stand(allowed, need, named=True), need, estimates=self._estimates)
        waived = {RULE, CLASS} if higher_class_may_serve(allowed, need) else {RULE}
        return all(result.passed is True or result.check in waived for result in results)


def higher_class_may_serve(part: Part, need: Need) -> bool:
    """True where the part is of a higher class of the same family and no interface is involved."""
    if need.interface is not None or part.interface is not None or not isinstance(need.class_kv, str):
        return False
    if not isinstance(part.classes_kv, tuple):
        return False
    family, needed = _class_key(need.class_kv)
    return any(_class_key(given)[0] == family and _class_key(given)[1] > needed for given in part.classes_kv)


def _class_key(class_kv: str) -> tuple[bool, Decimal]:
    """Family of a class (``12/20(24)`` is of another than ``25``) and its place there, the greatest voltage named."""
    return "/" in class_kv, max(map(Decimal, _NUMBER.findall(class_kv)), default=Decimal(0))


def _option(row: Mapping[Any, Any]) -> StandInOption:
    return StandInOption(
        stock_code=row["allowed"],
        wanted=row["wanted"],
        valid_from=row["valid_from"].isoformat() if row["valid_from"] else "",
        valid_to=row["valid_to"].isoformat() if row["valid_to"] else "",
        max_quantity=row["max_quantity"],
        approved_by=row["approved_by"],
    )
