"""What holds for all tests: laws are tried out without an eye on the clock; browsers start once."""

from __future__ import annotations

import os
import signal
import tempfile
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, settings

from tests.sampling import LONG

if TYPE_CHECKING:
    from tests.page.browsers import Browsers

# How long an example takes says how busy the machine is, not whether the law holds.
settings.register_profile(
    LONG, max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("usual", parent=settings.get_profile(LONG), max_examples=34)


def pytest_configure(config: pytest.Config) -> None:
    """Choose how often laws are tried before any of them is read."""
    is_long = LONG in config.getoption("markexpr").replace("not long", "")
    settings.load_profile(LONG if is_long else "usual")


# Loops are kept between the tests, and not in the user's folder.
_CACHES = tempfile.TemporaryDirectory(prefix="rungwise-tests-")
os.environ["XDG_CACHE_HOME"] = _CACHES.name

# Tests start the program hundreds of times: none of them is to compile it anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# A shell starts what it runs in the background deaf to Ctrl-C, and so would be what tests start.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="session")
def start() -> Iterator[Browsers]:
    """What gives a browser by its name (`chromium` or `firefox`), started once a worker.

    One driver serves all tests: it keeps a loop of events, and a thread has one at most.
    """
    from tests.page.browsers import browsers

    with browsers() as one:
        yield one


@pytest.fixture
def chromium(start: Browsers) -> Any:
    return start("chromium")
