"""What a proof is worth in later rounds: smaller limits of error, for that very instrument, and never larger ones."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from autobench import app
from autobench.commissioning.proved_accuracy import latest_proof, with_errors
from autobench.commissioning.scope_proof import stated_gain
from autobench.documents.gathered import read_bench_documents
from autobench.instruments.scope_setup import volts_components
from autobench.record.store import open_existing
from autobench.views.run_state import RunState
from tests.commissioning.proofs import bench_file, proved
from tests.drivers.meetings import driver_named


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bench that has been proved, with the whole plate of a board beside the reference plug's."""
    file = bench_file(
        tmp_path_factory.mktemp("proved"),
        ("  reference-plug:\n", "  tarnbeck-8: {J1.1: 1, J1.2: 2, J2.1: 13, U1.6: 10}\n  reference-plug:\n"),
    )
    assert proved(file).verdict == "good"
    return file


def rounds(bench: Path, records: str, seed: int = 0) -> RunState:
    """A short round on a board."""
    request = app.CheckRequest(
        "tarnbeck-8",
        bench=str(bench),
        only=("clock CPUCLK",),
        records=records,
        unattended=True,
        simulation=app.Simulation(seed=seed),
    )
    return app.check(request)


def gain_budgets(state: RunState) -> list[float]:
    """What the scope's gain brings to each level that was read."""
    return [part for reading in state.readings for name, part in reading.budget if name in ("gain", "offset")]


def test_levels_are_known_better_after_a_proof(bench: Path, tmp_path: Path) -> None:
    """The same round with the proof in its record has smaller uncertainties, and says why, in the report too."""
    without = rounds(bench, str(tmp_path / "other.sqlite"))
    with_proof = rounds(bench, str(bench.with_name("records.sqlite")))
    assert not any("proved" in notice.words for notice in without.notices)
    told = [notice.words for notice in with_proof.notices if notice.words.startswith("scope: gain within")]
    assert len(told) == 1
    assert f"proved {datetime.now(UTC):%Y}" in told[0]
    before, after = gain_budgets(without), gain_budgets(with_proof)
    assert before
    assert len(before) == len(after)
    assert all(smaller <= larger for smaller, larger in zip(after, before, strict=True))
    assert sum(after) < sum(before)


def test_another_specimen_of_the_instrument_gains_nothing(bench: Path) -> None:
    """Its identity is another one: the proof was not about it."""
    state = rounds(bench, str(bench.with_name("records.sqlite")), seed=1)
    assert not any("gain within" in notice.words for notice in state.notices)


def test_a_proof_counts_for_its_files_and_for_a_year(bench: Path) -> None:
    """A bench file or driver that was changed since, or a proof too old, counts for nothing."""
    engine = open_existing(str(bench.with_name("records.sqlite")))
    files = read_bench_documents(str(bench)).hashes
    now = datetime.now(UTC)
    try:
        proof = latest_proof(engine, "simulated", files, now)
        assert proof is not None
        assert set(proof.errors) == {"scope"}
        changed = {path: digest if not path.endswith("o-1b.yaml") else "0" * 64 for path, digest in files.items()}
        assert latest_proof(engine, "simulated", changed, now) is None
        assert latest_proof(engine, "simulated", files, now + timedelta(days=366)) is None
        assert latest_proof(engine, "another", files, now) is None
    finally:
        engine.dispose()


@pytest.mark.parametrize("gain", [0.0, 0.001, 0.02, 0.5])
@pytest.mark.parametrize("offset", [0.0, 0.01, 0.5])
def test_limits_of_error_only_ever_shrink(gain: float, offset: float) -> None:
    """Whatever a proof measured: never larger than stated, never below a quarter of it, never below what was seen."""
    stated = driver_named("o-1b").samples
    assert stated is not None
    better = with_errors(stated, {"gain error": gain, "offset error": offset})
    assert 0.25 * stated_gain(stated) <= stated_gain(better) <= stated_gain(stated)
    assert 0.25 * stated.trust.of_division <= better.trust.of_division <= stated.trust.of_division
    assert stated_gain(better) >= min(gain, stated_gain(stated))
    assert better.trust.of_division >= min(offset, stated.trust.of_division)
    now = volts_components(better, 1.0, 10.0, 2.5, difference=False)
    was = volts_components(stated, 1.0, 10.0, 2.5, difference=False)
    assert all(one.standard <= other.standard for one, other in zip(now, was, strict=True))


def test_half_a_proof_changes_nothing() -> None:
    """Without an offset, or for an instrument it says nothing of, the driver file counts."""
    stated = driver_named("o-1b").samples
    assert stated is not None
    assert with_errors(stated, {"gain error": 0.001}) is stated
    assert with_errors(stated, {}) is stated
