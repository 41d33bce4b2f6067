"""Cases spread over processes, outcomes in the order of the cases. It knows nothing of what a case is.

A worker ends with the program that started it, however that ends; Ctrl-C lets no worker begin another case.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from itertools import islice
from multiprocessing import connection
from typing import TypeVar

Case = TypeVar("Case")
Outcome = TypeVar("Outcome")
AHEAD = 2  # cases handed out beyond those being done, for each worker: none waits for the next, few are left at the end


def cores() -> int:
    """The cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def prepare_worker() -> None:
    """What a worker does first: Ctrl-C is for the program that started it, and without that program it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.disable()  # a tenth of the time would go into it in the midst of a case; `worked` clears up between two
    threading.Thread(target=end_with_parent, daemon=True).start()


def worked(play: Callable[[Case], Outcome], case: Case) -> Outcome:
    """One case in a worker, and the room it took given back. What the first one loaded stays for good."""
    outcome = play(case)
    gc.collect()
    if not gc.get_freeze_count():
        gc.freeze()
    return outcome


def end_with_parent() -> None:
    """Wait for the end of the program that started this worker, and end at once: nobody wants the outcome any more."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(4)


def spread(
    play: Callable[[Case], Outcome], cases: Sequence[Case], jobs: int, progress: Callable[[int], None]
) -> Iterator[Outcome]:
    """The outcome of `play` for every case, in their order; `progress` hears how many are done.

    `play` must be importable (or a partial of what is) where `jobs` is more than 1; with 1 it is called here.
    """
    if jobs <= 1 or len(cases) <= 1:
        for number, case in enumerate(cases, start=1):
            outcome = play(case)
            progress(number)
            yield outcome
        return
    outcomes: dict[int, Outcome] = {}
    following = 0
    with pool(min(jobs, len(cases))) as workers:
        pending: dict[Future[Outcome], int] = {}
        waiting = iter(enumerate(cases))
        try:
            while True:
                room = jobs * (1 + AHEAD) - len(pending)
                pending |= {workers.submit(worked, play, case): number for number, case in islice(waiting, room)}
                if not pending:
                    return
                for future in wait(pending, return_when=FIRST_COMPLETED).done:
                    outcomes[pending.pop(future)] = future.result()
                    progress(following + len(outcomes))
                while following in outcomes:
                    yield outcomes.pop(following)
                    following += 1
        finally:
            workers.shutdown(wait=True, cancel_futures=True)


def pool(jobs: int) -> ProcessPoolExecutor:
    """Workers that share nothing with this process; each is a fresh interpreter."""
    # Fresh ones: a forked copy of a program with threads may hang. One thread of arithmetic each: the cores are taken.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    context = multiprocessing.get_context("spawn")
    return ProcessPoolExecutor(jobs, mp_context=context, initializer=prepare_worker)
