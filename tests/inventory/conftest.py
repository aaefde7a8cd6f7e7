"""A small warehouse for the tests of stock."""

import pytest
from warehouse import Warehouse


@pytest.fixture
def warehouse(db: None) -> Warehouse:  # noqa: ARG001 - the records must be there
    """Two depots with bins, a bag, a truck, a hold shelf and a reserve; dated splices bought in kits of 3."""
    return Warehouse()
