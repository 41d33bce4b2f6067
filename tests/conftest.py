"""Every test run is the same run: generated cases come from the tests themselves, not from the time of day."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("the same each time", derandomize=True, deadline=None)
settings.load_profile("the same each time")
