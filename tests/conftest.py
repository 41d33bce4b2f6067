"""Every test run is the same run: generated cases come from the tests themselves, not from the time of day.

And none of them sends anything beyond this machine.
"""

from __future__ import annotations

import gc
import os

import pytest
from hypothesis import settings

from autobench.__main__ import GARBAGE_AFTER
from tests import loopback_only

settings.register_profile("the same each time", derandomize=True, deadline=None)
settings.load_profile("the same each time")
loopback_only.begin()

# As in the command itself, and before anything loads the arithmetic: with a thread for every core a round in this
# process costs nearly twice the processor time, spent on threads that wait for each other.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
gc.set_threshold(GARBAGE_AFTER)


def pytest_xdist_auto_num_workers() -> int:
    """One worker more than there are cores: many tests wait for a port, a process or a clock that is real."""
    return len(os.sched_getaffinity(0)) + 1


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(item: pytest.Item) -> None:
    """A test that tried to send something outside fails, even where the program took the refusal for a dead line."""
    if tried := loopback_only.taken():
        pytest.fail(f"{item.name} would have sent something beyond this machine: {'; '.join(tried)}")
