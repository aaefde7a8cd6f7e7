"""Browsers of those whose pages most tests of this folder look at."""

import pytest
from browsing import browser_of
from django.test import Client
from people import PLANNER, STORES


@pytest.fixture
def planner() -> Client:
    """The planner's desk."""
    return browser_of(PLANNER)


@pytest.fixture
def window() -> Client:
    """The storekeeper's device."""
    return browser_of(STORES)
