"""What nobody may approve is what planning would not take either, for every line and part of the demo."""

import pandas as pd
from desk import Desk

from kitting.calculation.fit_matching.comparing import UNIT, compare_parts
from kitting.calculation.fit_matching.parts import read_parts
from kitting.calculation.fit_matching.stand_ins import StandIns
from kitting.calculation.sheets.book import read_book
from kitting.calculation.stand_in_comparison import templates_by_line

COLUMNS = ("wanted", "allowed", "system", "valid_from", "valid_to", "max_quantity", "approved_by", "reason")


def test_a_stand_in_that_no_check_forbids_is_taken_by_planning_and_any_other_is_not(desk: Desk) -> None:
    """Two ways to the same answer: the facts shown to the approver, and what planning does with an approval."""
    book = read_book(desk.raw)
    parts = {part.stock_code: part for part in read_parts(book.frames["items"])}
    templates = {id(one): one for one in templates_by_line(book).values() if one.need and one.codes}.values()
    allowed = forbidden = 0
    for template in templates:
        wanted = template.codes[0]
        for part in parts.values():
            if part.kind != template.kind or part.stock_code in template.codes:
                continue
            row = (wanted, part.stock_code, None, None, None, None, "standards", "")
            approved = StandIns(pd.DataFrame([row], columns=list(COLUMNS), dtype=object), parts, estimates="accept")
            facts = compare_parts(parts[wanted], part, template.need, at_a_line=True, estimates="accept")
            forbids = [fact.check for fact in facts if fact.forbids and fact.check != UNIT]
            assert bool(approved.options(template.need, template.codes)) == (not forbids), (wanted, part, forbids)
            allowed, forbidden = allowed + (not forbids), forbidden + bool(forbids)
    assert allowed > 0
    assert forbidden > 100
