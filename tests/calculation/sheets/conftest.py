"""What the tests of sheets share."""

import pytest
from sheet_cells import SmallBook


@pytest.fixture
def small() -> SmallBook:
    """A book that reads without a doubt."""
    return SmallBook()
