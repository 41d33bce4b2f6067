"""Every test run is the same run: generated cases come from the tests themselves, not from the time of day.

And none of them sends anything beyond this machine.
"""

from __future__ import annotations

import pytest
from hypothesis import settings

from tests import loopback_only

settings.register_profile("the same each time", derandomize=True, deadline=None)
settings.load_profile("the same each time")
loopback_only.begin()


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(item: pytest.Item) -> None:
    """A test that tried to send something outside fails, even where the program took the refusal for a dead line."""
    if tried := loopback_only.taken():
        pytest.fail(f"{item.name} would have sent something beyond this machine: {'; '.join(tried)}")
