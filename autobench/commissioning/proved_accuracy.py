"""What a proof is worth later: limits of error of a scope that were measured, in place of what its driver file states.

What was measured may only make limits smaller. It counts for the very instrument it was measured on, by its identity,
with the same bench file and drivers, and for a year.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from autobench.commissioning.proof_plan import SEQUENCE
from autobench.commissioning.scope_proof import GAIN, OFFSET, stated_gain
from autobench.documents.driver_samples import Samples, ScopeTrust
from autobench.instruments.opened import Opened

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

GOOD_FOR = timedelta(days=365)
LEFT = 0.25  # of the stated limit, kept for temperature and time between proofs (common practice)
COVERAGE = 2.0

Row = tuple[str, str, float, float]


@dataclass(frozen=True)
class Proof:
    """A proof of a bench: its run, its day, the largest errors (shares) by instrument and quantity, who was there."""

    run: str
    day: str
    errors: Mapping[str, Mapping[str, float]]
    identities: Mapping[str, str]


def latest_proof(engine: Engine, bench: str, files: Mapping[str, str], now: datetime) -> Proof | None:
    """The last good proof of `bench` with these files (path to SHA-256), not older than a year at `now`; else None.

    The database's errors are the caller's.
    """
    from sqlalchemy import select

    from autobench.record import schema

    runs = schema.runs
    wanted = (
        select(runs.c.run, runs.c.started, runs.c.files)
        .where(runs.c.sequence == SEQUENCE, runs.c.bench == bench, runs.c.verdict == "good")
        .order_by(runs.c.started.desc())
    )
    with engine.connect() as connection:
        for run, started, kept in connection.execute(wanted):
            if now - datetime.fromisoformat(started) > GOOD_FOR:
                return None
            if all(files.get(path) == digest for path, digest in json.loads(kept).items()):
                return Proof(run, str(started)[:10], errors_of(scalings(connection, run)), identities(connection, run))
    return None


def scalings(connection: Connection, run: str) -> list[Row]:
    """Net, quantity, value and uncertainty of a proof's scaling readings, in %."""
    from sqlalchemy import select

    from autobench.record import schema

    table = schema.readings
    wanted = select(table.c.net, table.c.quantity, table.c.value, table.c.uncertainty).where(
        table.c.run == run, table.c.quantity.in_((GAIN, OFFSET)), table.c.value.is_not(None)
    )
    return [(row.net, row.quantity, row.value, row.uncertainty) for row in connection.execute(wanted)]


def identities(connection: Connection, run: str) -> dict[str, str]:
    """Who answered in a run, by instrument."""
    from sqlalchemy import select

    from autobench.record import schema

    table = schema.events
    wanted = select(table.c.data).where(table.c.run == run, table.c.kind == "Identified")
    told = [json.loads(data) for (data,) in connection.execute(wanted)]
    return {each["instrument"]: each["identity"] for each in told}


def errors_of(rows: Sequence[Row]) -> dict[str, dict[str, float]]:
    """The largest error with its expanded uncertainty, as a share, by instrument and quantity."""
    found: dict[str, dict[str, float]] = {}
    for net, quantity, value, uncertainty in rows:
        errors = found.setdefault(net.rpartition(" ")[0], {})
        share = (abs(value) + COVERAGE * uncertainty) / 100.0
        errors[quantity] = max(errors.get(quantity, 0.0), share)
    return found


def put_to_use(proof: Proof | None, opened: Opened) -> list[str]:
    """Give the opened scopes the limits that were proved for them; returns what was done, in words."""
    done: list[str] = []
    if proof is None:
        return done
    for name, scope in opened.scopes.items():
        stated = scope.samples
        if proof.identities.get(name) == opened.identities.get(name):
            scope.samples = with_errors(stated, proof.errors.get(name, {}))
        if scope.samples is not stated:
            done.append(f"{name}: {words(stated, scope.samples)}, proved {proof.day}")
    return done


def with_errors(samples: Samples, errors: Mapping[str, float]) -> Samples:
    """The ratings with limits of error no larger than those stated; unchanged where not all was proved."""
    if not {GAIN, OFFSET} <= errors.keys() or not stated_gain(samples):
        return samples
    trust = samples.trust
    share = min(1.0, LEFT + errors[GAIN] / stated_gain(samples))
    smaller = ScopeTrust.model_construct(
        of_reading=trust.of_reading * share,
        of_full_scale=trust.of_full_scale * share,
        of_division=min(trust.of_division, LEFT * trust.of_division + errors[OFFSET]),
        plus=trust.plus,
        time_base=trust.time_base,
    )
    return samples.model_copy(update={"trust": smaller})


def words(stated: Samples, proved: Samples) -> str:
    """`gain within 1.2 % (stated 4 %), offset within 4 % of a division (stated 10 %)`."""
    gain, was_gain = 100.0 * stated_gain(proved), 100.0 * stated_gain(stated)
    offset, was_offset = 100.0 * proved.trust.of_division, 100.0 * stated.trust.of_division
    return (
        f"gain within {gain:.2g} % (stated {was_gain:.2g} %), "
        f"offset within {offset:.2g} % of a division (stated {was_offset:.2g} %)"
    )
