"""Which bag each line of a job goes into: one bag a structure, in the natural order of the structures' names."""

from collections import defaultdict
from collections.abc import Mapping
from decimal import Decimal

import pandas as pd

from kitting.calculation.natural_order import natural_key

YES, NO = "yes", "no"


def assign_bags(lines: pd.DataFrame) -> pd.DataFrame:
    """The bag of each line of one job.

    A line goes into the bag of its structure; a spare travels in the bag of the structure that uses most of its stock
    code (the first such bag); every other line of the job goes into the first bag (common practice of stores).

    Args:
        lines: requirement lines of one job, with columns line, structure, stock_code, quantity, spare (``yes`` or not).

    Returns:
        One row a line, in the same order: line, bag (1, 2, ...), bags (how many), structure (of the bag; blank where
        the job names no structure at all, and then there is one bag).
    """
    structures = sorted({name for name in lines["structure"].astype(str) if name}, key=natural_key) or [""]
    number = {name: position for position, name in enumerate(structures, 1)}
    users = _users(lines)
    bags = [
        number[str(structure) or _heaviest(users.get(str(code), {}) if spare == YES else {}, number)]
        for structure, code, spare in zip(lines["structure"], lines["stock_code"], lines["spare"], strict=True)
    ]
    return pd.DataFrame(
        {
            "line": lines["line"].astype(str).to_numpy(),
            "bag": bags,
            "bags": len(structures),
            "structure": [structures[bag - 1] for bag in bags],
        }
    )


def _users(lines: pd.DataFrame) -> dict[str, dict[str, Decimal]]:
    """For each stock code the quantity that each structure uses of it, spares left out."""
    users: dict[str, dict[str, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    columns = (lines[name] for name in ("structure", "stock_code", "quantity", "spare"))
    for structure, code, quantity, spare in zip(*columns, strict=True):
        if structure and code and spare != YES and quantity != "":
            users[str(code)][str(structure)] += Decimal(quantity)
    return users


def _heaviest(uses: Mapping[str, Decimal], number: Mapping[str, int]) -> str:
    """The structure that uses most, the first bag among equals; the first bag of all where none uses it."""
    return min(uses or number, key=lambda name: (-uses.get(name, Decimal()), number[name]))
