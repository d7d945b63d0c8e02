"""Of many cases some in the usual run, and all in the long one (`make test-long`)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import settings

LONG = "long"
"""The profile of the long run, in which laws are tried on as many examples as they ask for."""


def sampled(cases: Iterable[Any], every: int = 3) -> list[Any]:
    """Return cases for `parametrize` of which only each so many-th, the first too, runs usually."""
    return [
        pytest.param(case, marks=() if index % every == 0 else pytest.mark.long)
        for index, case in enumerate(cases)
    ]


def examples(most: int = 100) -> settings:
    """Return how often a law is tried: `most` times in the long run, a third of that usually.

    Each run tries others, so that what one leaves out another finds.
    """
    is_long = settings.get_current_profile_name() == LONG
    return settings(max_examples=most if is_long else -(-most // 3))
