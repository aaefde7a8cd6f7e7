"""What somebody is told who asks for what must not be."""

from collections.abc import Callable
from typing import Any

import pytest

import inventory.errors
from kitting.errors import Refusal


def refusal(code: str, act: Callable[..., Any], *args: Any, **given: Any) -> str:
    """The sentence with which ``act`` is refused, under this code."""
    with pytest.raises((Refusal, inventory.errors.Refusal)) as refused:
        act(*args, **given)
    assert refused.value.code == code, refused.value.message
    return refused.value.message
