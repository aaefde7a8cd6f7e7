"""The demo's sheets and plans, made once for all tests."""

from functools import cache
from pathlib import Path

import pandas as pd
import pytest
from desk import Desk, Reading

from kitting.calculation.plan_result import Plan
from kitting.calculation.sheets.raw import RawBook, raw_book, raw_sheet
from kitting.spreadsheets.reading import read_raw_book

FIXTURES = Path(__file__).parents[3] / "fixtures_demo"


@cache
def _raw(name: str) -> RawBook:
    return read_raw_book(FIXTURES / name)


@cache
def _answered() -> RawBook:
    answers = pd.read_csv(FIXTURES / "answers.csv", dtype=str, keep_default_na=False)
    sheet = raw_sheet("answers", tuple(answers.columns), answers.itertuples(index=False, name=None))
    return raw_book([*_raw("received").sheets.values(), sheet])


@cache
def _plan(which: str) -> Plan:
    raw = _answered() if which == "answered" else _raw(which)
    return Desk(raw).plan()


@pytest.fixture
def desk() -> Desk:
    """The clean sheets."""
    return Desk(_raw("clean"))


@pytest.fixture
def received_desk() -> Desk:
    """The sheets as received, with their planted faults."""
    return Desk(_raw("received"))


@pytest.fixture
def clean() -> Plan:
    """The plan of the clean sheets."""
    return _plan("clean")


@pytest.fixture
def received() -> Plan:
    """The plan of the sheets as received."""
    return _plan("received")


@pytest.fixture
def answered() -> Plan:
    """The plan of the sheets as received with the answers."""
    return _plan("answered")


@pytest.fixture
def read() -> type[Reading]:
    """Reads a plan in the words of the trade."""
    return Reading
