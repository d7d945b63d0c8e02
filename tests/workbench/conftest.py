"""A workbench for the tests of a module, on a folder of its own."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.workbench.benches import Running, running


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """Start a workbench on an empty folder; modules that need another start their own."""
    with running(tmp_path_factory.mktemp("Larkmoor")) as one:
        yield one
