"""What each bag that could lend would break, found by planning without the pieces; the least harmful first."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from kitting.calculation import what_if
from kitting.calculation.answers import WORST_FIRST
from kitting.calculation.plan_result import Plan
from kitting.calculation.planning import plan
from kitting.calculation.sheets.book import read_book
from kitting.models import Errand
from kitting.selectors.expired_uses import past_dates
from kitting.selectors.promises import open_promises
from kitting.selectors.sheets import one_moment, sheets_from_records
from kitting.services.ask_errands import end_errand, note_stage

LENDING = "who lends"


def look_at_lending(errand: Errand) -> None:
    """Plan once as it is and once without the pieces of each bag; nothing is stored but what came of it.

    ``given``: ``as_of``, ``item``, ``quantity`` in stock units, ``lenders``: of each ``code``, ``label``, ``lot``,
    ``depot``, ``place``, ``cutover``.

    Raises:
        Refusal: ``no-such-row``: the pieces lie there no more.
    """
    given, day = errand.given, date.fromisoformat(errand.given["as_of"])
    with one_moment():
        sheets, earlier, let_go = sheets_from_records(day), open_promises(), past_dates()
    before = plan(read_book(sheets), as_of=day, earlier=earlier, past_dates=let_go)
    found = []
    for one in given["lenders"]:
        note_stage(errand, f"without {one['label']}")
        left = what_if.take_pieces(
            sheets, stock_code=given["item"], depot=one["depot"], place=one["place"], lot=one["lot"],
            quantity=given["quantity"],
        )  # fmt: skip
        worse = worse_jobs(before, plan(read_book(left), as_of=day, earlier=earlier, past_dates=let_go))
        found.append({**one, "worse": worse, "short": str(sum(Decimal(job["more_short"]) for job in worse))})
    found.sort(key=lambda one: (len(one["worse"]), Decimal(one["short"])))  # equal harm: the latest outage stays first
    end_errand(errand, result={"lenders": found})


def worse_jobs(before: Plan, after: Plan) -> list[dict[str, str]]:
    """Jobs whose answer is worse by the plan after, or that lack more pieces: both answers and how many, as texts."""
    jobs, lacked, lacks = {one.job: one for one in after.jobs}, _short(before), _short(after)
    found = []
    for one in before.jobs:
        then, more = jobs[one.job].answer, lacks[one.job] - lacked[one.job]
        if WORST_FIRST.index(then) < WORST_FIRST.index(one.answer) or more > 0:
            told = {"job": one.job, "now": one.answer, "then": then, "more_short": f"{max(more, Decimal()):f}"}
            found.append({**told, "staged_by": str(one.staged_by or "")})
    return found


def _short(made: Plan) -> Mapping[str, Decimal]:
    """Pieces that each job lacks."""
    found: dict[str, Decimal] = defaultdict(Decimal)
    for job, short in zip(made.shortages["job"], made.shortages["short"], strict=True):
        found[job] += short
    return found
