"""The plan: tables that explain themselves, and the answer of each job."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

import pandas as pd

from kitting.calculation.most_kits import MostKits
from kitting.calculation.questions import Question
from kitting.calculation.sheets.book import Book

# The columns of the output tables, in file order. Quantities are in stock units, lengths exact mm, dates ISO text.
REQUIREMENT_COLUMNS = (
    "line", "job", "run", "structure", "position", "side", "phases", "kind", "quantity", "unit", "spare", "answer",
    "stock_code", "class_kv", "interface", "current_a", "mcov_kv", "doi_low_mm", "doi_high_mm", "doi_origin",
    "conductor_size", "metal", "jacket_low_mm", "jacket_high_mm", "margin_mm", "reason", "rule", "rule_revision",
)  # fmt: skip
PROMISE_COLUMNS = (
    "line", "job", "stock_code", "lot", "depot", "place", "quantity", "source", "order", "order_line", "ready_on",
)  # fmt: skip
SHORTAGE_COLUMNS = (
    "job", "line", "depot", "staged_by", "kind", "stock_code", "need", "have", "short", "why", "other_depots",
    "on_order", "order_by", "too_late", "cure",
)  # fmt: skip
REORDER_COLUMNS = (
    "supplier", "stock_code", "supplier_code", "description", "depot", "need", "on_order", "due_back", "net",
    "order_quantity", "purchase_unit", "per_purchase_unit", "resulting_quantity", "over_by", "needed_by", "order_by",
    "too_late", "jobs",
)  # fmt: skip
REFUSAL_COLUMNS = (
    "job", "kind", "stock_codes", "stock_pieces", "competing_jobs", "competing_pieces", "missing_pieces", "first_date",
)  # fmt: skip
MOVED_COLUMNS = ("line", "job", "quantity", "had", "has", "why")
CURE_COLUMNS = (
    "job", "cure", "move", "stock_code", "lot", "quantity", "holder", "from", "by_day", "instead", "breaks", "verified",
)  # fmt: skip
SPLIT_COLUMNS = {"requirements": "depot", "cures": "to"}
TOTAL_COLUMNS = ("job", "stock_code", "kind", "quantity", "ends")


@dataclass(frozen=True, slots=True)
class JobAnswer:
    """A job's worst answer, the line that decides it, and how many lines carry each answer.

    ``short_pieces`` is what is short in words, ``awaits`` what must still arrive where the job is ready if it does.
    Where its bags are staged at several depots, ``days`` is the staged-by day at each of them, ``waits_for`` the
    sentence that names those where something is still missing, '' for none.
    """

    job: str
    title: str
    depot: str
    answer: str
    deciding_line: str
    deciding_reason: str
    counts: Mapping[str, int]
    short_pieces: str
    staged_by: date | None
    cutover: datetime | None
    window_hours: str
    days: Mapping[str, date] = field(default_factory=dict)
    waits_for: str = ""
    awaits: str = ""


@dataclass(frozen=True, slots=True)
class Plan:
    """All tables of one planning, in output form: '' for blank, Decimal for quantities, ISO text for dates.

    The frames have exactly the columns named above, and the depot of each requirement line and of each move of a cure
    (``SPLIT_COLUMNS``) where bags of a job are staged elsewhere. Text columns may be categorical. ``moved`` holds what
    is promised from elsewhere than in an earlier plan, None where no earlier plan was given.
    """

    as_of: date
    book: Book
    requirements: pd.DataFrame
    promises: pd.DataFrame
    shortages: pd.DataFrame
    reorder: pd.DataFrame
    refusals: pd.DataFrame
    cures: pd.DataFrame
    totals: pd.DataFrame
    questions: tuple[Question, ...]
    jobs: tuple[JobAnswer, ...]
    summary: Mapping[str, object]
    timings: Mapping[str, float]
    moved: pd.DataFrame | None = None
    most_kits: MostKits | None = None
