"""What holds for all tests: laws are tried out without an eye on the clock."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

# How long an example takes says how busy the machine is, not whether the law holds.
settings.register_profile("rungwise", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("rungwise")
