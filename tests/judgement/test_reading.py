"""Readings as a technician reads them aloud."""

from dataclasses import replace

from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict

RAIL = Reading(
    step="rail +5V far",
    stage="rails",
    net="+5V",
    point="U18.8",
    quantity="voltage",
    value=4.931,
    unit="V",
    uncertainty=0.0021,
    low=4.75,
    high=5.25,
    limit_from="board file",
    verdict=Verdict.WITHIN,
)


def test_value_with_expanded_uncertainty() -> None:
    """A value is read with twice its standard uncertainty."""
    assert RAIL.in_words() == "4.931 V ± 4.2 mV"


def test_state_before_rate() -> None:
    """A line is read with its state first, and with the state alone where no rate was measured."""
    line = replace(RAIL, quantity="activity", unit="Hz", value=3.75e6, uncertainty=None, state="moving")
    assert line.in_words() == "moving, 3.750 MHz"
    assert replace(line, value=None, state="low").in_words() == "low"


def test_nothing_measured() -> None:
    """A reading that was not taken reads as a dash."""
    assert replace(RAIL, value=None, uncertainty=None, verdict=Verdict.SKIPPED).in_words() == "–"
