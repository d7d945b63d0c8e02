"""Every shipped exercise plays the same events as ever, to the exact fraction of a second."""

from __future__ import annotations

import pytest

from renderer.reading.library import shipped_exercises
from tests.timing.shipped_events import kept, rows_of

NAMES = [one.name for one in shipped_exercises()]
KEPT = kept()


def test_the_table_names_every_shipped_exercise() -> None:
    assert {row[0] for row in KEPT} == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_each_plays_the_events_that_it_has_always_played(name: str) -> None:
    # Where that is meant to change: python -m tests.timing.shipped_events
    assert rows_of(name) == [row for row in KEPT if row[0] == name]
