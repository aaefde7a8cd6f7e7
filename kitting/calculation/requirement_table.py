"""The requirements table: every line with its answer, its choice and its sentence."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from kitting.calculation.expansion.lines import SIDES, line_texts
from kitting.calculation.expansion.slots import Template
from kitting.calculation.kinds import KINDS
from kitting.calculation.lengths import mm_text
from kitting.calculation.needs import Need
from kitting.calculation.plan_result import REQUIREMENT_COLUMNS
from kitting.calculation.quantities import as_decimal
from kitting.calculation.questions import Missing
from kitting.calculation.records import Fact

Column = Any  # a pandas array of one value a line


@dataclass(frozen=True, slots=True)
class LineAnswers:
    """For each line: its answer, and what its promise adds to the sentence of its choice ('' for nothing)."""

    answers: Sequence[str]
    additions: Sequence[str]


def requirement_table(
    frame: pd.DataFrame, templates: Sequence[Template], *, units: dict[str, str], answered: LineAnswers
) -> pd.DataFrame:
    """The table of design, one row a line in line order.

    Args:
        frame: lines in line order (``Lines.frame``).
        templates: the templates they point to.
        units: stock unit by stock code.
        answered: the answer of each line.
    """
    number = frame["template"].to_numpy()
    texts: dict[str, Any] = {
        "line": line_texts(frame, list(templates)),
        "job": frame["job"],
        "run": frame["run"],
        "structure": frame["structure"],
        "position": frame["position"],
        "side": pd.Categorical.from_codes(frame["side"].to_numpy(), categories=pd.Index(SIDES)),
        "phases": frame["phases"],
        "answer": pd.Categorical(list(answered.answers)),
        "reason": _reasons(number, [t.sentence for t in templates], answered.additions),
    }
    for name, value in _TEMPLATE_COLUMNS.items():
        texts[name] = _spread([value(template) for template in templates], number)
    texts["unit"] = _spread([_unit(template, units) for template in templates], number)
    return pd.DataFrame({name: texts[name] for name in REQUIREMENT_COLUMNS})


def _spread(values: Sequence[Any], number: np.ndarray) -> Column:
    """A value a template -> a column of lines, each distinct value stored once."""
    distinct = dict.fromkeys(values)
    codes = {value: code for code, value in enumerate(distinct)}
    of_template = np.array([codes[value] for value in values], dtype=np.int32)
    if any(isinstance(value, Decimal) for value in distinct):
        objects = np.array(list(distinct), dtype=object)
        return objects[of_template[number]]
    return pd.Categorical.from_codes(of_template[number] if len(values) else [], categories=pd.Index(list(distinct)))


def _reasons(number: np.ndarray, sentences: Sequence[str], additions: Sequence[str]) -> Column:
    distinct: dict[str, int] = {}
    of_template = np.array([distinct.setdefault(s, len(distinct)) for s in sentences], dtype=np.int32)
    codes = of_template[number] if len(sentences) else np.zeros(0, dtype=np.int32)
    for line, addition in enumerate(additions):
        if addition:
            text = f"{sentences[number[line]]}; {addition}"
            codes[line] = distinct.setdefault(text, len(distinct))
    return pd.Categorical.from_codes(codes, categories=pd.Index(list(distinct)))


def _unit(template: Template, units: dict[str, str]) -> str:
    if template.quantity is None:
        return ""
    if template.codes:
        return units.get(template.codes[0], "")
    return KINDS[template.kind].unit


def _of_need(read: Callable[[Need], object]) -> Callable[[Template], str]:
    def value(template: Template) -> str:
        return "" if template.need is None else _text(read(template.need))

    return value


def _text(fact: object) -> str:
    if fact is None or isinstance(fact, Missing):
        return ""
    return f"{fact:f}" if isinstance(fact, Decimal) else str(fact)


def _sides(read: Callable[[Any], object]) -> Callable[[Template], str]:
    """The facts of the sides, once each, joined where the sides differ."""

    def value(template: Template) -> str:
        if template.need is None:
            return ""
        texts = [_text(read(side)) for side in template.need.sides]
        return "; ".join(dict.fromkeys(text for text in texts if text))

    return value


def _end(band: Fact, name: str) -> object:
    if band is None or isinstance(band, Missing):
        return None
    nm = getattr(band, name)
    return None if nm is None else mm_text(nm)


def _quantity(template: Template) -> Decimal | str:
    if template.quantity is None:
        return ""
    return as_decimal(template.quantity)


def _margin(template: Template) -> str:
    if not template.codes or template.match is None or not template.match.margins_nm:
        return ""
    margin = template.match.margins_nm[0]
    return "" if margin is None else mm_text(margin)


def _mcov(need: Need) -> object:
    """MCOV need to 0.01 kV for reading; the check itself is exact."""
    return need.mcov_kv.quantize(Decimal("0.01")).normalize() if isinstance(need.mcov_kv, Decimal) else None


_TEMPLATE_COLUMNS: dict[str, Callable[[Template], Any]] = {
    "kind": lambda template: "" if template.need is None else template.kind,
    "quantity": _quantity,
    "spare": lambda template: "yes" if template.spare else "no",
    "stock_code": lambda template: template.codes[0] if template.codes else "",
    "class_kv": _of_need(lambda need: need.class_kv),
    "interface": _of_need(lambda need: need.interface),
    "current_a": _of_need(lambda need: need.current_a),
    "mcov_kv": _of_need(_mcov),
    "doi_low_mm": _sides(lambda side: _end(side.doi, "low_nm")),
    "doi_high_mm": _sides(lambda side: _end(side.doi, "high_nm")),
    "doi_origin": _sides(lambda side: getattr(side.doi, "origin", None)),
    "conductor_size": _sides(lambda side: side.conductor_size),
    "metal": _sides(lambda side: side.metal),
    "jacket_low_mm": _sides(lambda side: _end(side.jacket, "low_nm")),
    "jacket_high_mm": _sides(lambda side: _end(side.jacket, "high_nm")),
    "margin_mm": _margin,
    "rule": lambda template: template.rule,
    "rule_revision": lambda template: template.revision,
}
