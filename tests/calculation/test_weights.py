"""Weights are exact in both units, and a sum says what it doesn't know."""

from fractions import Fraction

import pytest

from kitting.calculation.questions import ASK, REFUSE
from kitting.calculation.sheets.parsers import CellDoubt, Setting
from kitting.calculation.sheets.trade_parsers import WEIGHT
from kitting.calculation.weights import NG_PER_KG, NO_LOAD, Pieces, both_weights, load_of, parse_weight

GRAM = NG_PER_KG // 1000


def test_kilograms_and_pounds_are_held_exactly() -> None:
    # international yard and pound agreement, 1959: 1 lb is 0.45359237 kg
    assert parse_weight("1 lb", None) == 453_592_370_000
    assert parse_weight("16 oz", "kg") == parse_weight("1", "lb")
    assert parse_weight("1.25", "kg") == parse_weight("1250 g", "lb") == 1250 * GRAM
    assert parse_weight("0.0001 lb", None) * 10_000 == parse_weight("1 lb", None)
    assert both_weights(Fraction(parse_weight("12.35 kg", None))) == "12.4 kg (27.2 lb)"


@pytest.mark.parametrize(
    ("text", "unit", "severity", "suggestion"),
    [
        ("1.25", None, ASK, "1.25 kg or 1.25 lb?"),
        ("1,25", "kg", ASK, "1.25 kg?"),
        ("3 st", "kg", REFUSE, ""),
        ("0", "kg", REFUSE, "more than 0 and at most 1000 kg"),
        ("1001", "kg", REFUSE, "more than 0 and at most 1000 kg"),
        ("0.00001 lb", None, ASK, "0.005 g?"),
    ],
)
def test_a_weight_that_is_in_doubt_is_asked_with_what_would_be_right(
    text: str, unit: str | None, severity: str, suggestion: str
) -> None:
    with pytest.raises(CellDoubt) as doubt:
        WEIGHT.read(text, Setting(unit))
    assert (doubt.value.severity, doubt.value.suggestion) == (severity, suggestion)
    assert WEIGHT.write(WEIGHT.read("2.5 lb", Setting())) == "1.133980925"


def test_a_load_equals_the_sum_by_hand_and_says_at_least_where_a_fact_is_missing() -> None:
    elbow = Pieces("EL15-2", 3000, 680 * GRAM, 1)
    splice = Pieces("CS25-2", 2000, 1150 * GRAM, 3)
    wire = Pieces("DW-14", 12_500, 9 * GRAM, 0)  # 12.5 ft of a spool, in no box
    lug, gone = Pieces("LUG", 3000, None, None), Pieces("JS-1", 0, None, None)
    known = load_of([elbow, splice, wire, gone])
    # 3 x 0.680 + 2 x 1.150 + 12.5 x 0.009 = 2.040 + 2.300 + 0.1125 = 4.4525 kg; 3 + 1 + 0 boxes
    assert known.weight == Fraction("4452.5") * GRAM
    assert known.words == "4.5 kg (9.8 lb), 4 boxes"
    assert load_of([elbow, splice, wire, lug]).words == (
        "at least 4.5 kg (9.8 lb), 1 item without weight, at least 4 boxes, 1 item without a number per box"
    )
    assert load_of([lug]).words == "weight unknown: 1 item without weight"
    assert NO_LOAD.words == "nothing to load"
    halves = load_of([Pieces("CS25-2", 1000, 1150 * GRAM, 3)]) + load_of([Pieces("CS25-2", 1000, 1150 * GRAM, 3)])
    assert (halves.words, load_of([splice]).boxes) == ("2.3 kg (5.1 lb), 2 boxes", 1)
