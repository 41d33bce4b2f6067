"""The preamble-and-data oscilloscope running: states, triggers, stale traces, aliases, its own measurements."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

Build = Callable[..., Any]  # a builder of conftest.py


def test_old_acquisition_is_read_until_the_new_one_is_complete(captured: Build, sine: Build, pulse: Build) -> None:
    """A read that comes too early gets the trace before, and no error tells."""
    bench = captured(sine(0.0, 2.0, 1e3), ":TIM:SCAL 1E-3")
    _, before = bench.record()
    bench.terminals.signals[1] = pulse(0.0, 3.0, start=bench.clock.now() + 5.0, width=1.0)
    bench.single(1.0)
    assert bench.state() == "WAIT"
    bench.say(":STOP")
    _, stale = bench.record()
    assert np.array_equal(stale, before)
    assert bench.error() == 0
    bench.single(10.0)
    assert bench.state() == "WAIT"  # its edge was before the arming


def test_trigger_that_never_comes(scope_bench: Build, pulse: Build, volts_class: Build) -> None:
    """Normal and single sweeps wait for ever; a forced trigger ends a single one."""
    bench = scope_bench(pulse(1.0, 1.1, start=5.0))
    bench.set(1)
    bench.say(":TIM:SCAL 1E-3", ":TRIG:EDGE:LEV 3", ":TRIG:SWE NORM", ":RUN")
    bench.clock.sleep(3600.0)
    assert bench.state() == "WAIT"
    bench.single(3600.0)
    assert bench.state() == "WAIT"
    bench.say(":TFOR")
    bench.clock.sleep(0.02)
    assert bench.state() == "STOP"
    preamble, codes = bench.record()
    assert abs(preamble.volts(codes).mean() - 1.0) < volts_class(1.0)
    bench.say(":TFOR")
    assert bench.error() == -211  # SCPI-1999 vol. 2, 21.8: trigger ignored


def test_single_acquisition_goes_through_its_states(scope_bench: Build, pulse: Build) -> None:
    """The record fills, then waits, is triggered, and stops once the part after the trigger is there."""
    bench = scope_bench(pulse(0.0, 5.0, start=12.0, width=1.0))
    bench.set(1)
    bench.say(":TIM:SCAL 0.1", ":TRIG:EDGE:LEV 2.5", ":SING")
    states = []
    for _ in range(40):
        bench.clock.sleep(0.1)
        states.append(bench.state())
    assert list(dict.fromkeys(states)) == ["RUN", "WAIT", "TD", "STOP"]
    assert 0.5 < states.count("RUN") / 6 < 1.5  # half the screen before the trigger: 6 x 0.1 s
    assert 0.5 < states.count("TD") / 6 < 1.5  # and half of it after


def test_state_lags_after_arming(captured: Build, sine: Build) -> None:
    """For some milliseconds after arming, the state is still that of the acquisition before."""
    bench = captured(sine(0.0, 2.0, 1e3), ":TIM:SCAL 0.1", seconds=3.0)
    assert bench.state() == "STOP"
    bench.say(":SING")
    assert bench.state() == "STOP"
    bench.clock.sleep(0.01)
    assert bench.state() == "RUN"


def test_edge_before_the_record_is_filled_does_not_count(scope_bench: Build, pulse: Build) -> None:
    """A trigger counts only when the part of the record before it is there."""
    bench = scope_bench(pulse(0.0, 5.0, start=10.02, width=0.5, period=1.0))
    bench.set(1)
    bench.say(":TIM:SCAL 1E-2", ":TRIG:EDGE:LEV 2.5", ":SING")  # 60 ms before, armed 20 ms before the edge
    bench.clock.sleep(0.9)
    assert bench.state() == "WAIT"
    bench.clock.sleep(0.3)
    assert bench.state() == "STOP"
    acquired = bench.scope.latest()
    assert acquired is not None
    assert acquired.triggers == pytest.approx([11.02])  # the next edge, a period later


def test_automatic_sweep_runs_freely(scope_bench: Build, pulse: Build, volts_class: Build) -> None:
    """Without an edge the automatic sweep forces a trigger after a tenth of a second and then says so."""
    bench = scope_bench(pulse(2.0, 2.1, start=5.0, width=100.0))
    bench.set(1)
    bench.say(":TIM:SCAL 1E-3", ":TRIG:EDGE:LEV 0", ":TRIG:SWE AUTO", ":RUN")
    bench.clock.sleep(0.09)
    assert bench.state() == "WAIT"
    bench.clock.sleep(0.1)
    assert bench.state() == "AUTO"
    bench.say(":STOP")
    bench.clock.sleep(0.01)
    assert bench.state() == "STOP"
    preamble, codes = bench.record()
    assert abs(preamble.volts(codes).mean() - 2.1) < volts_class(1.0)


def test_automatic_sweep_follows_edges(scope_bench: Build, sine: Build, volts_class: Build) -> None:
    """With edges the same sweep is triggered, and a stop keeps the last acquisition."""
    bench = scope_bench(sine(0.0, 2.0, 1e3))
    bench.set(1)
    bench.say(":TIM:SCAL 1E-4", ":TRIG:EDGE:LEV 0", ":RUN")
    bench.clock.sleep(1.0)
    assert bench.state() == "TD"
    bench.say(":STOP")
    preamble, codes = bench.record()
    middle = np.abs(preamble.times()) < 2e-5
    assert np.abs(preamble.volts(codes)[middle]).max() < 0.5 + volts_class(1.0)


@pytest.mark.parametrize(("slope", "phase"), [("POS", 0.0), ("NEG", math.pi)])
def test_slope_picks_the_edge(captured: Build, sine: Build, slope: str, phase: float) -> None:
    """The trace goes through the level at time 0 in the direction that was asked for."""
    bench = captured(sine(0.0, 3.0, 1e3), ":TIM:SCAL 5E-4", f":TRIG:EDGE:SLOP {slope}")
    preamble, codes = bench.record()
    expected = 3.0 * np.sin(2 * math.pi * 1e3 * preamble.times() + phase)
    assert np.corrcoef(preamble.volts(codes), expected)[0, 1] > 0.99


def test_fast_clock_at_a_slow_rate_stands_still(scope_bench: Build, sine: Build) -> None:
    """4 MHz sampled 250 000 times a second shows a line: it is a whole multiple of the rate."""
    bench = scope_bench(seed=3)
    # As counted by this scope's own time base; otherwise the alias would creep by the difference.
    hertz = 4e6 * (1 + bench.scope.converter.time_error)
    bench.terminals.signals[1] = sine(2.0, 1.5, hertz)
    bench.set(1, offset=-2.0)
    bench.say(":ACQ:MDEP 3000000", ":TIM:SCAL 1", ":TRIG:EDGE:LEV 2", ":SING")
    bench.clock.sleep(20.0)
    assert bench.number(":ACQ:SRAT?") == pytest.approx(250e3)  # 3 000 000 points in 12 s
    preamble, codes = bench.record()
    assert preamble.points == 3_000_000
    volts = preamble.volts(codes[:100_000])
    assert np.ptp(volts) < 12 / 25  # some codes of noise, of 3 V that are there
    bench.say(":TIM:SCAL 1E-6", ":SING")
    bench.clock.sleep(0.1)
    preamble, codes = bench.record()
    assert np.ptp(preamble.volts(codes)) > 2.8


def test_alias_follows_the_difference(scope_bench: Build, sine: Build) -> None:
    """A sine a little off a multiple of the sample rate comes out at the difference."""
    bench = scope_bench(seed=3)
    rate = 10_000 / 12e-3
    bench.terminals.signals[1] = sine(0.0, 2.0, (5 * rate + 1e3) * (1 + bench.scope.converter.time_error))
    bench.set(1)
    bench.say(":ACQ:MDEP 10000", ":TIM:SCAL 1E-3")
    bench.single()
    preamble, codes = bench.record()
    spectrum = np.abs(np.fft.rfft(preamble.volts(codes)))
    # |f - n·fs| with n = 5 is 1 kHz: twelve periods in 12 ms
    assert int(np.argmax(spectrum[1:])) + 1 == 12
    assert bench.number(":MEAS:ITEM? FREQ,CHAN1") == pytest.approx(1e3, rel=0.02)  # the same lie


@pytest.mark.parametrize(("kind", "caught"), [("PEAK", True), ("NORM", False)])
def test_peak_detection_catches_a_short_pulse(scope_bench: Build, pulse: Build, kind: str, caught: bool) -> None:
    """At 1 ms a division a pulse of 200 ns is seen by peak detection alone, as one high among lows."""
    bench = scope_bench(pulse(0.0, 4.0, start=11.0003007, width=200e-9), pulse(0.0, 5.0, start=11.0, width=1.0))
    bench.set(1, offset=-2.0)
    bench.set(2)
    bench.say(f":ACQ:TYPE {kind}", ":ACQ:MDEP 1000", ":TIM:SCAL 1E-3", ":TRIG:EDGE:SOUR CHAN2;LEV 2.5", ":SING")
    bench.clock.sleep(2.0)
    preamble, codes = bench.record()
    assert preamble.points == 1000
    volts = preamble.volts(codes)
    assert (volts > 3.0).sum() == (1 if caught else 0)
    if caught:
        place = int(np.argmax(volts))
        assert place % 2 == 1  # lows and highs take turns
        assert preamble.times()[place] == pytest.approx(300.8e-6, abs=2 * preamble.x_step)
        assert volts[0::2].max() < 1.0


def test_front_panel_can_hold_the_coupling_and_the_time_base(
    scope_bench: Build, sine: Build, volts_class: Build
) -> None:
    """What the front panel holds stays so whatever is sent, and is answered."""
    bench = scope_bench(sine(2.5, 1.0, 1e3))
    bench.scope.held_coupling, bench.scope.held_time_scale = "AC", 2e-3
    bench.set(1)
    bench.say(":ACQ:MDEP 10000", ":TIM:SCAL 1E-4", ":TRIG:EDGE:LEV 0")
    bench.single(1.0)
    assert bench.ask(":CHAN1:COUP?") == "AC"
    assert bench.number(":TIM:SCAL?") == pytest.approx(2e-3)
    preamble, codes = bench.record()
    assert preamble.points * preamble.x_step == pytest.approx(24e-3)
    assert abs(preamble.volts(codes).mean()) < volts_class(1.0)


def test_measurement_of_a_frequency(captured: Build, sine: Build) -> None:
    """The automatic frequency is one over a period near the trigger, and 9.9E37 when there is none."""
    bench = captured(sine(0.0, 2.0, 1e3), ":TIM:SCAL 1E-3")
    assert bench.number(":MEAS:ITEM? FREQ,CHAN1") == pytest.approx(1e3, rel=0.02)
    assert bench.number(":MEAS:ITEM? VPP,CHAN1") == pytest.approx(4.0, rel=0.1)
    assert bench.ask(":MEAS:ITEM? FREQ,CHAN2") == "9.9E37"  # common practice
    bench.say(":TIM:SCAL 1E-5")
    bench.single()
    assert bench.ask(":MEAS:ITEM? FREQ,CHAN1") == "9.9E37"


def test_automatic_set_up_changes_everything_and_takes_seconds(scope_bench: Build, sine: Build) -> None:
    """`AUToscale` finds the signal, throws the settings away, and answers nothing for some seconds."""
    bench = scope_bench(sine(0.0, 0.0, 1.0), sine(2.5, 2.0, 1e4))
    bench.set(1, scale=0.2)
    bench.say(":ACQ:TYPE PEAK", ":TIM:SCAL 1", ":TRIG:SWE NORM")
    bench.clock.sleep(1.0)
    before = bench.clock.now()
    bench.say(":AUToscale")
    assert bench.ask(":CHAN1:DISP?") == "0"
    assert bench.clock.now() - before >= 2.0  # common practice: 2 s to 10 s
    assert bench.ask(":CHAN2:DISP?") == "1"
    assert bench.ask(":ACQ:TYPE?") == "NORM"
    assert bench.ask(":TRIG:SWE?") == "AUTO"
    assert bench.number(":TIM:SCAL?") == pytest.approx(5e-5)  # three periods of 100 us in twelve divisions
    assert bench.state() == "TD"
    assert bench.error() == 0


def test_trigger_switched_off_sees_no_edge(scope_bench: Build, sine: Build) -> None:
    """With the switch for a dead trigger, a single acquisition of a plain sine waits for ever."""
    bench = scope_bench(sine(0.0, 2.0, 1e3))
    bench.scope.trigger.never = True
    bench.set(1)
    bench.single(10.0)
    assert bench.state() == "WAIT"
