"""Cases spread over processes: order, progress, errors."""

from __future__ import annotations

import operator
from functools import partial

import pytest

from autobench.rehearsal.workers import spread


@pytest.mark.parametrize("jobs", [1, 2])
def test_outcomes_come_in_the_order_of_the_cases(jobs: int) -> None:
    """However many processes share the work, and everything is heard of."""
    heard: list[int] = []
    play = partial(operator.mul, 3)
    assert list(spread(play, range(20), jobs, heard.append)) == [3 * case for case in range(20)]
    assert heard[-1] == 20


@pytest.mark.parametrize("jobs", [1, 2])
def test_an_error_in_a_case_ends_the_whole(jobs: int) -> None:
    """It is not taken for an outcome, and the workers have ended when it arrives."""
    with pytest.raises(ZeroDivisionError):
        list(spread(partial(operator.floordiv, 1), [1, 0, 1], jobs, lambda _: None))
