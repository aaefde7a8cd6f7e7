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
def _clauses() -> dict[str, list[str]]:
    """The clauses of each published rule, as listed in ``safety_references.csv``."""
    text = files("kitting.documents").joinpath("safety_references.csv").read_text(encoding="utf-8")
    clauses: dict[str, list[str]] = {}
    for row in csv.DictReader(text.splitlines()):
        clauses.setdefault(row["reference"], []).append(row["clause"])
    return clauses


def brief_cautions(words: Words) -> tuple[str, ...]:
    """The same in one paragraph, without the clauses, for small papers."""
    return (f"{' '.join(words(sentence) for sentence in SENTENCES)} See {', '.join(_clauses())}.",)


def cautions(words: Words) -> tuple[str, ...]:
    """The paragraphs at the foot of a page."""
    named = (f"{name} {', '.join(filter(None, parts))}".strip() for name, parts in _clauses().items())
    return " ".join(words(sentence) for sentence in SENTENCES), f"See {'; '.join(named)}."
