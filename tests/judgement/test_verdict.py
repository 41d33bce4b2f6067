"""Verdicts of readings and boards."""

import math

import pytest

from autobench.errors import UsageError
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import BoardVerdict, Verdict, board_verdict, judge, skipped, void
from autobench.quantity import Estimate, Span

RAIL = Span(4.75, 5.25, "V")


def volts(value: float, uncertainty: float = 0.01) -> Estimate:
    """A voltage with its standard uncertainty."""
    return Estimate(value, "V", uncertainty)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (5.0, Verdict.WITHIN),
        (4.75 + 0.0165, Verdict.WITHIN),  # 1.645 u from a limit is 95 %, JCGM 106 Table 1
        (4.75 + 0.0163, Verdict.MARGINAL),
        (4.75, Verdict.MARGINAL),
        (4.75 - 0.0163, Verdict.MARGINAL),
        (4.75 - 0.0165, Verdict.OUTSIDE),
        (5.25 + 0.0163, Verdict.MARGINAL),
        (5.25 + 0.0165, Verdict.OUTSIDE),
    ],
)
def test_probability_decides(value: float, expected: Verdict) -> None:
    """Neither side is called before the probability reaches 95 %."""
    assert judge(volts(value), RAIL).verdict is expected


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (0.0019, Verdict.WITHIN),  # ILAC-G8: MPE ±0.003, U 0.001, accept at most 0.002
        (0.0025, Verdict.MARGINAL),  # ILAC-G8
        (0.0035, Verdict.MARGINAL),  # ILAC-G8: conditional fail
        (0.0041, Verdict.OUTSIDE),  # ILAC-G8
        (-0.0041, Verdict.OUTSIDE),  # ILAC-G8
    ],
)
def test_guard_band_decides(value: float, expected: Verdict) -> None:
    """With w = U the limits move in for a pass and out for a fail."""
    assert judge(volts(value, 0.0005), Span(-0.003, 0.003, "V"), rule="w = U").verdict is expected


def test_simple_acceptance_never_hesitates() -> None:
    """Simple acceptance calls even a value at the limit."""
    assert judge(volts(0.79, 0.1), Span(None, 0.8, "V"), rule="simple").verdict is Verdict.WITHIN
    assert judge(volts(0.81, 0.1), Span(None, 0.8, "V"), rule="simple").verdict is Verdict.OUTSIDE


def test_uncertainty_wider_than_the_limits_is_marginal() -> None:
    """A measurement too coarse for its limits calls nothing."""
    assert judge(volts(5.0, 0.5), RAIL).verdict is Verdict.MARGINAL
    assert judge(volts(5.0, 0.5), RAIL, rule="w = 3 U").verdict is Verdict.MARGINAL


def test_unusual_is_inside_the_limits() -> None:
    """A value the limits allow but the board type does not usually show is unusual, with both in the reason."""
    judgement = judge(volts(4.85), RAIL, Span(4.95, 5.05, "V"))
    assert judgement.verdict is Verdict.UNUSUAL
    assert judgement.reason == "4.850 V is allowed, usual is 4.950 V .. 5.050 V"


def test_outside_beats_unusual() -> None:
    """What is outside the limits is outside, whatever is usual."""
    assert judge(volts(4.0), RAIL, Span(3.9, 4.1, "V")).verdict is Verdict.OUTSIDE


def test_reasons_read_as_sentences() -> None:
    """The reason names the value and the limit, and a plain pass has none."""
    assert judge(volts(5.0), RAIL).reason is None
    assert judge(volts(4.0), RAIL).reason == "4.000 V is not within 4.750 V .. 5.250 V"
    assert judge(volts(0.9), Span(None, 0.8, "V")).reason == "900.0 mV is not at most 800.0 mV"
    assert "too near a limit" in (judge(volts(4.75), RAIL).reason or "")


@pytest.mark.parametrize("estimate", [volts(math.nan), volts(math.inf), volts(-math.inf), volts(5.0, math.inf)])
def test_no_number_is_void(estimate: Estimate) -> None:
    """Overload, no number and unknown uncertainty void the measurement and never accuse the board."""
    judgement = judge(estimate, RAIL)
    assert judgement.verdict is Verdict.VOID
    assert judgement.probability is None
    assert judgement.reason


def test_program_errors_are_not_verdicts() -> None:
    """Different units and a negative uncertainty raise ValueError, an unknown rule UsageError."""
    with pytest.raises(ValueError, match="cannot be judged"):
        judge(volts(5.0), Span(0.0, 1.0, "A"))
    with pytest.raises(ValueError, match="makes no sense"):
        judge(volts(5.0, -1.0), RAIL)
    with pytest.raises(UsageError, match="decision rule"):
        judge(volts(5.0), RAIL, rule="perhaps")


def test_few_repeats_are_judged_by_student() -> None:
    """The same distance from a limit is called with many degrees of freedom and not with two."""
    near = Estimate(4.75 + 0.02, "V", 0.01)
    assert judge(near, RAIL).verdict is Verdict.WITHIN
    assert judge(Estimate(near.value, "V", 0.01, degrees=2), RAIL).verdict is Verdict.MARGINAL  # t(2): 2.92 wanted


def reading(verdict: Verdict, conditional: bool = False, required: bool = True) -> Reading:
    """A reading of a step named for its verdict."""
    return Reading(
        step=f"step {verdict}",
        stage="rails",
        net="+5V",
        point="U1.11",
        quantity="voltage",
        value=5.0,
        unit="V",
        uncertainty=0.01,
        low=4.75,
        high=5.25,
        limit_from="board file",
        verdict=verdict,
        conditional=conditional,
        required=required,
    )


GOOD = reading(Verdict.WITHIN)


@pytest.mark.parametrize(
    ("readings", "expected"),
    [
        ([GOOD], BoardVerdict.GOOD),
        ([GOOD, reading(Verdict.UNUSUAL)], BoardVerdict.GOOD),
        ([GOOD, reading(Verdict.OUTSIDE)], BoardVerdict.FAULTY),
        ([reading(Verdict.VOID), reading(Verdict.OUTSIDE)], BoardVerdict.FAULTY),
        ([GOOD, reading(Verdict.VOID)], BoardVerdict.UNDECIDED),
        ([GOOD, reading(Verdict.SKIPPED)], BoardVerdict.UNDECIDED),
        ([GOOD, reading(Verdict.MARGINAL)], BoardVerdict.UNDECIDED),
        ([GOOD, reading(Verdict.MARGINAL, required=False)], BoardVerdict.GOOD),
        ([GOOD, reading(Verdict.OUTSIDE, required=False)], BoardVerdict.FAULTY),
        ([GOOD, reading(Verdict.OUTSIDE, conditional=True)], BoardVerdict.UNDECIDED),
        ([GOOD, reading(Verdict.OUTSIDE, conditional=True, required=False)], BoardVerdict.GOOD),
        ([], BoardVerdict.UNDECIDED),
        ([reading(Verdict.WITHIN, required=False)], BoardVerdict.UNDECIDED),
    ],
)
def test_board_verdict(readings: list[Reading], expected: BoardVerdict) -> None:
    """The first of faulty, undecided and good that fits the readings."""
    judgement = board_verdict(readings)
    assert judgement.verdict is expected
    assert (judgement.reason is None) is (expected is BoardVerdict.GOOD)


def test_stopped_comes_first() -> None:
    """A run that was ended from outside is stopped even with a reading outside."""
    judgement = board_verdict([reading(Verdict.OUTSIDE)], stopped="the operator stopped the run")
    assert (judgement.verdict, judgement.reason) == (BoardVerdict.STOPPED, "the operator stopped the run")


def test_refused_ohms_gate_is_faulty() -> None:
    """A refused ohms gate or a trip the board caused makes it faulty without any reading outside."""
    judgement = board_verdict([GOOD], refused="+5V to ground is 0.3 Ω")
    assert (judgement.verdict, judgement.reason) == (BoardVerdict.FAULTY, "+5V to ground is 0.3 Ω")


def test_void_and_skipped_carry_their_reason() -> None:
    """The two verdicts that gates give keep the gate's words."""
    assert void("clipped").reason == "clipped"
    assert skipped("needs a hand").verdict is Verdict.SKIPPED
