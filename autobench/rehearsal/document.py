"""The JSON document of a rehearsal: the one machine-readable answer of `rehearse --json`. Shape only, no counting."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from autobench.rehearsal.result import Rehearsal


def rehearsal_document(done: Rehearsal) -> dict[str, Any]:
    """The document of a rehearsal; `remark` is there only where something must be said of every figure in it."""
    good, pairs = done.good_counts, done.pair_counts()
    document: dict[str, Any] = {
        "board": done.board,
        "runs": len(done.outcomes),
        "good": {"runs": good[0], "faulty": good[1], "undecided": good[2]},
        "bench": [
            {"fault": row.fault, "runs": row.runs, "faulty": row.faulty, "void": row.void, "undecided": row.undecided}
            for row in done.bench
        ],
        "undetectable": [asdict(row) for row in done.undetectable],
        "faults": [asdict(row) for row in done.faults],
        "pairs": {"runs": pairs[0], "detected": pairs[1], "first": pairs[2]},
    }
    return document if done.remark is None else document | {"remark": done.remark}
