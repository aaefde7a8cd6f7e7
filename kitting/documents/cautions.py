"""The cautions that stand on every paper, with the published rules behind them."""

import csv
from functools import cache
from importlib.resources import files

from kitting.documents.wording import Words

SENTENCES = (
    "Planning aid. De-energise, test and ground before work.",
    "Deadbreak parts are never operated energised.",
    "Qualified persons only.",
    "Local codes, the owner's rules and the instruction sheet in the kit prevail.",
)


@cache
def references() -> str:
    """The published rules in one line, as listed in ``safety_references.csv``."""
    text = files("kitting.documents").joinpath("safety_references.csv").read_text(encoding="utf-8")
    clauses: dict[str, list[str]] = {}
    for row in csv.DictReader(text.splitlines()):
        clauses.setdefault(row["reference"], []).append(row["clause"])
    named = (f"{name} {', '.join(filter(None, parts))}".strip() for name, parts in clauses.items())
    return f"See {'; '.join(named)}."


def cautions(words: Words) -> tuple[str, ...]:
    """The paragraphs at the foot of a page."""
    return " ".join(words(sentence) for sentence in SENTENCES), references()
