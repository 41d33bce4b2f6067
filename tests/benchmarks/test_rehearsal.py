"""What a rehearsed round costs beside bare arithmetic, how it scales with the cores, and how much memory grows."""

from __future__ import annotations

import os
import resource
import time
from functools import partial

import numpy as np
import pytest

from autobench import app
from autobench.rehearsal.cases import Case, FaultPlace, cases_of, place_of
from autobench.rehearsal.playing import Stage, play
from autobench.rehearsal.workers import cores, spread

pytestmark = pytest.mark.benchmark

STAGE = Stage("tarnbeck-8")
ROUNDS = 24
FACTOR = 30.0  # times the baseline a round may cost; 19.5 when it was last measured, with the machine shared
FLAT = 1.05  # of the most memory that the same rounds took the first time: what a round leaves behind would add up
SCALES = 0.6  # of the ideal gain


def baseline() -> float:
    """Processor seconds of a fixed piece of interpreter and array work."""
    began, total = time.process_time(), 0
    for number in range(300_000):
        total += number % 7
    values = np.arange(200_000.0)
    for _ in range(40):
        np.sort(values[::-1])
    return time.process_time() - began


def some_cases() -> list[Case]:
    """Good boards and faults of every kind, evenly over the catalogue."""
    places: list[FaultPlace] = [place_of(row) for row in app.list_faults(STAGE.board)]
    every = list(cases_of(places, range(2), 4, 0))
    return every[:: max(1, len(every) // ROUNDS)][:ROUNDS]


def test_a_round_is_a_few_times_bare_work_and_memory_stays_flat() -> None:
    """Mean processor time of a round against the baseline's best; the most memory of the same rounds done twice."""
    cases = some_cases()
    play(STAGE, cases[0])  # files, plan and predictions are made once a process
    bare = min(baseline() for _ in range(5))
    sizes, began = [], time.process_time()
    for _ in range(2):  # the first time fills what is kept for the next rounds, such as the board's predictions
        for case in cases:
            play(STAGE, case)
        sizes.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
    seconds = (time.process_time() - began) / len(cases) / 2
    ratio, grown = seconds / bare, sizes[1] / sizes[0]
    print(
        f"a rehearsed round: {seconds:.2f} s, {ratio:.1f} times the baseline; "
        f"memory {grown:.3f} times that of the same rounds before"
    )
    assert ratio < FACTOR
    assert grown < FLAT


def test_it_scales_with_the_cores() -> None:
    """The same cases by one worker and by one a core, start-up included; only where the machine is otherwise idle."""
    cases, busy = some_cases(), os.getloadavg()[0]
    took = []
    for jobs in (1, cores()):
        began = time.perf_counter()
        list(spread(partial(play, STAGE), cases, jobs, lambda _: None))
        took.append(time.perf_counter() - began)
    gain = took[0] / took[1]
    print(f"{cores()} cores: {gain:.2f} times as quick as one (load before: {busy:.1f})")
    assert busy > 1.0 or gain > SCALES * cores()
