"""A small warehouse in which people count."""

import pytest
from counters import Counters


@pytest.fixture
def stores(db: None) -> Counters:  # noqa: ARG001 - the records must be there
    """Two depots with bins, a truck, a reserve; dated splices bought in kits of 3."""
    return Counters()
