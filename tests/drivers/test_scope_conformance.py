"""The shipped scope driver against the simulated oscilloscope of its dialect: whole captures of known waveforms.

Driver and instrument are written apart, each from the dialect; here they meet. What is connected is a square wave, so
the truth is in its three numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from autobench.clock import RealClock
from autobench.documents.driver import Driver
from autobench.documents.places import list_drivers
from autobench.documents.reading import read
from autobench.errors import InstrumentReportedError
from autobench.instruments.dialect import Dialect
from autobench.instruments.link import Link
from autobench.instruments.scope import Capture, Scope, ScopeInput, Setup, Trigger
from autobench.instruments.visa import open_session
from autobench.judgement.uncertainty import Budget, Component
from autobench.quantity import Span
from autobench.signals.alias import Expected, alias_of, rate_gate
from autobench.signals.levels import find_levels
from autobench.signals.waveform import characterise
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.connections.raw_socket import SocketServer
from simulated_instruments.devices.scope_preamble_data import PreambleDataScope
from tests.drivers.square import Square

ADDRESS = "GPIB0::7::INSTR"
COVERAGE = 3.0  # standard uncertainties; a reading within its accuracy class is at most √3 off, and its noise adds
LOGIC = ScopeInput(1, 0.0, 5.0)
EDGE = Trigger(1, 1.4)


@dataclass
class Meeting:
    """The shipped driver on the simulated scope, prepared, with everything that was said."""

    square: Square
    seed: int = 5
    clock: SimulatedClock = field(default_factory=SimulatedClock)
    said: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.clock.sleep(2.0)
        self.device = PreambleDataScope("scope", self.clock, self.square, seed=self.seed)
        self.scope = self.connect("o-1b")
        self.scope.prepare()

    def connect(self, name: str, lacking: Sequence[str] = ()) -> Scope:
        """The scope by the shipped driver of this name, without the actions it shall be `lacking`."""
        driver = read(dict(list_drivers())[name], Driver)
        actions = {key: action for key, action in driver.actions.items() if key not in lacking}
        library = InProcessLibrary({ADDRESS: self.device}, self.clock)
        session = open_session(ADDRESS, instrument="scope", library=library)
        link = Link(session, "scope", self.clock, on_exchange=lambda each: self.said.append(each.sent.decode("ascii")))
        return Scope(Dialect(driver.model_copy(update={"actions": actions}), link))

    def capture(self, setup: Setup, patience: float = 0.5) -> Capture:
        return self.scope.capture(setup, self.clock.sleep, patience)


def standard(parts: Sequence[Component]) -> float:
    """Combined standard uncertainty."""
    return Budget(parts).standard


def test_every_action_of_the_scope_is_performed() -> None:
    """Everything the driver file says is said at least once and understood, with nothing left in the error queue."""
    meeting = Meeting(Square())
    scope = meeting.scope
    assert scope.identify().split(",")[1] == "O-1b"
    meeting.capture(Setup((LOGIC, ScopeInput(2, 0.0, 5.0)), 20e-6, 1000, EDGE, before=0.5))
    falling = Setup((LOGIC,), 0.01, 1000, Trigger(1, 1.4, rising=False), peak=True, bandwidth_limit=True)
    assert meeting.capture(falling).triggered
    assert meeting.capture(Setup((LOGIC,), 20e-6, 1000)).triggered
    assert not meeting.capture(Setup((LOGIC,), 20e-6, 1000, Trigger(1, 4.5)), patience=0.1).triggered
    scope.local()
    heads = [line.partition("{")[0] for action in scope.dialect.driver.actions.values() for line in action.lines]
    assert [head for head in heads if not any(text.startswith(head) for text in meeting.said)] == []
    assert scope.dialect.errors() == []


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(
    ("low", "high", "scale"),
    [
        (0.0, 5.0, 1.0),  # the middle of the screen at 2.5 V
        (-2.0, 4.5, 1.0),  # at 1.25 V
        (0.2, 3.8, 0.5),  # at 2 V
        (0.3, 3.9, 0.5),  # at 2.1 V
        (-4.0, 4.0, 2.0),  # at 0 V, where every rule of origin agrees
    ],
)
def test_levels_are_true_within_the_accuracy_class(low: float, high: float, scale: float, seed: int) -> None:
    """At several offsets and scales: what the codes mean, the offset's sign and the probe are all right."""
    meeting = Meeting(Square(), seed)
    entry = ScopeInput(1, low, high)
    capture = meeting.capture(Setup((entry,), 20e-6, 10_000, EDGE))
    assert (capture.triggered, capture.reason) == (True, None)
    trace = capture.traces[1]
    assert trace.resolution == pytest.approx(scale / 25.0)  # common practice: 25 codes a division
    levels = find_levels(trace)
    assert abs(levels.low - 0.2) < COVERAGE * standard(meeting.scope.volts_components(entry, levels.low))
    assert abs(levels.high - 3.8) < COVERAGE * standard(meeting.scope.volts_components(entry, levels.high))
    swing = standard(meeting.scope.volts_components(entry, levels.high, difference=True))
    assert abs(levels.high - levels.low - 3.6) < COVERAGE * swing
    assert swing < standard(meeting.scope.volts_components(entry, levels.high)) < 0.2 * scale


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_frequency_and_duty_are_true_within_the_time_base(seed: int) -> None:
    """1 MHz and 30 % from samples alone."""
    meeting = Meeting(Square(), seed)
    base = meeting.scope.time_components().value
    found = characterise(meeting.capture(Setup((LOGIC,), 100e-6, 50_000, EDGE)).traces[1], time_base=base)
    assert found.period is not None
    frequency = found.period.frequency
    assert abs(frequency.value - 1e6) < COVERAGE * frequency.uncertainty
    assert frequency.uncertainty < 100.0
    assert found.duty == pytest.approx(0.3, abs=0.002)


@pytest.mark.parametrize("before", [0.0, 0.25, 1.0])
@pytest.mark.parametrize("rising", [True, False])
def test_the_trigger_lies_where_it_was_asked_for(before: float, rising: bool) -> None:
    """Time zero is the edge, and the wanted share of the record lies before it."""
    meeting = Meeting(Square())
    trace = meeting.capture(Setup((LOGIC,), 24e-6, 10_000, Trigger(1, 1.4, rising), before=before)).traces[1]
    assert trace.start == pytest.approx(-before * 24e-6, abs=2 * trace.interval)
    position = -trace.start / trace.interval
    volts = trace.in_volts()
    if before == 0.25:
        early, late = volts[int(position) - 20 : int(position) - 5], volts[int(position) + 5 : int(position) + 20]
        assert (early.mean() < 1.4 < late.mean()) if rising else (late.mean() < 1.4 < early.mean())


def test_all_channels_show_the_same_moment() -> None:
    """The same wave on four inputs has its edges at the same times."""
    meeting = Meeting(Square())
    inputs = tuple(ScopeInput(channel, 0.0, 5.0) for channel in meeting.scope.channels)
    capture = meeting.capture(Setup(inputs, 20e-6, 5000, EDGE))
    assert set(capture.traces) == {1, 2, 3, 4}
    edges = [characterise(trace).edges.rising for trace in capture.traces.values()]
    for found in edges[1:]:
        assert found == pytest.approx(edges[0], abs=capture.interval)


def test_a_record_of_many_blocks_has_no_seams() -> None:
    """A million points in four blocks: every period is there and none is cut."""
    meeting = Meeting(Square(rate=50e3, duty=0.5))
    capture = meeting.capture(Setup((LOGIC,), 12e-3, 1_000_000, EDGE))
    trace = capture.traces[1]
    assert trace.samples.size == 1_000_000
    assert trace.duration == pytest.approx(12e-3, rel=1e-3)
    assert sum(text == ":WAV:DATA?" for text in meeting.said) == 4  # computed: 250 000 points a block
    rising = characterise(trace).edges.rising
    assert rising.size == pytest.approx(600, abs=1)  # computed: 12 ms of 50 kHz
    assert np.diff(rising) == pytest.approx(20e-6, rel=1e-3)
    assert meeting.scope.dialect.errors() == []


def test_fewer_points_than_the_memory_holds_are_read_as_they_are() -> None:
    """Where the highest sample rate cannot fill the memory on a fast time base, nothing is made up."""
    meeting = Meeting(Square())
    trace = meeting.capture(Setup((LOGIC,), 1e-6, 1_000_000, EDGE)).traces[1]
    assert trace.interval == pytest.approx(1e-9)  # common practice: 1 GSa/s on one channel
    assert trace.samples.size * trace.interval >= 1e-6


def test_a_line_that_stands_still_is_captured_by_force_and_said_so() -> None:
    """No trigger within the patience; the level is evidence all the same."""
    meeting = Meeting(Square(duty=0.0))
    meeting.device.trigger.never = True
    capture = meeting.capture(Setup((LOGIC,), 20e-6, 1000, EDGE), patience=0.2)
    assert not capture.triggered
    assert capture.reason is not None
    assert capture.reason.startswith("no trigger (channel 1 rising through 1.400 V) within 2")
    assert find_levels(capture.traces[1]).mean == pytest.approx(0.2, abs=0.4)


def test_the_record_of_an_earlier_trigger_is_not_handed_out() -> None:
    """The scope still holds the first record and would send it; the second capture has none and says why."""
    meeting = Meeting(Square())
    meeting.scope = meeting.connect("o-1b", lacking=["force"])
    meeting.scope.prepare()
    setup = Setup((LOGIC,), 20e-6, 1000, EDGE)
    assert meeting.capture(setup).traces[1].samples.size > 0
    meeting.device.trigger.never = True
    capture = meeting.capture(setup, patience=0.2)
    assert capture.stale
    assert capture.reason is not None
    assert "what the scope still holds is of an earlier acquisition" in capture.reason
    meeting.device.trigger.never = False
    assert meeting.capture(setup).triggered


def test_a_clock_too_fast_for_the_samples_is_told_apart_from_a_slow_one() -> None:
    """4 MHz sampled too slowly looks like something else; the interval read back gives it away."""
    meeting = Meeting(Square(rate=4.0e6 + 1.0, duty=0.5))
    capture = meeting.capture(Setup((LOGIC,), 0.05, 10_000))
    assert capture.reason is None
    rate = 1.0 / capture.interval
    assert rate < 250e3
    found = characterise(capture.traces[1])
    seen = found.period.frequency.value if found.period is not None else 0.0
    assert seen < rate / 2.0 < 4e6
    assert alias_of(4e6, rate) < rate / 2.0
    reason = rate_gate(seen, rate, Expected(rate=4e6))
    assert reason is not None
    assert "too slow" in reason


def test_what_leaves_the_screen_is_clipped_and_counted() -> None:
    """Volts beyond what was expected end at the last codes, which the trace knows."""
    meeting = Meeting(Square(low=-6.0, high=12.0, duty=0.5))
    trace = meeting.capture(Setup((LOGIC,), 20e-6, 1000, EDGE)).traces[1]
    assert find_levels(trace).clipped > 0.9


def test_peak_detection_shows_a_pulse_between_two_samples() -> None:
    """100 ns every millisecond, 120 µs from sample to sample: unseen by samples, never missed by extremes."""
    meeting = Meeting(Square(rate=1e3, duty=1e-4))
    setup = Setup((LOGIC,), 0.1, 1000)
    plain = meeting.capture(setup).traces[1].in_volts()
    assert np.count_nonzero(plain > 2.0) < 20
    trace = meeting.capture(replace(setup, peak=True)).traces[1]
    assert trace.peak_detect
    lows, highs = trace.in_volts()[0::2], trace.in_volts()[1::2]
    assert np.all(lows <= highs)
    assert np.count_nonzero(highs > 2.0) == pytest.approx(trace.duration * 1e3, abs=2)
    assert np.count_nonzero(lows > 2.0) == 0


def test_a_capture_armed_beforehand_waits_for_what_happens_later() -> None:
    """Armed before power-on it is not ready; afterwards the record starts before it, as long as was asked for."""
    meeting = Meeting(Square(rate=1e-3, duty=0.9, begins=1e9))
    meeting.capture(Setup((LOGIC,), 20e-6, 1000))
    meeting.scope.arm(Setup((LOGIC, ScopeInput(2, 0.0, 5.0)), 1.2, 10_000, EDGE, before=0.1, peak=True))
    for _ in range(10):
        meeting.clock.sleep(0.1)
        assert not meeting.scope.ready()
    meeting.square.begins = meeting.clock.now() + 0.05
    for _ in range(30):
        meeting.clock.sleep(0.05)
        if meeting.scope.ready():
            break
    capture = meeting.scope.fetch()
    assert (capture.triggered, capture.reason) == (True, None)
    for trace in capture.traces.values():
        times = trace.start + np.arange(trace.samples.size) * trace.interval
        volts = trace.in_volts()
        assert volts[times < -0.001].max() < 1.4 < volts[times > 0.001].min()
        assert trace.start == pytest.approx(-0.12, rel=0.01)
        assert trace.duration == pytest.approx(1.2, rel=0.01)


def test_a_time_base_that_is_held_is_told() -> None:
    """Whatever is sent, somebody's hand on the panel shows in the preamble."""
    meeting = Meeting(Square())
    meeting.device.held_time_scale = 0.05
    capture = meeting.capture(Setup((LOGIC,), 20e-6, 1000))
    assert capture.interval == pytest.approx(6e-4)  # computed: twelve divisions of 50 ms in 1000 points
    assert capture.reason is not None
    assert "time" in capture.reason


def test_line_ends_within_the_samples_do_no_harm_over_a_socket() -> None:
    """A low level whose code is the line end's own, on a connection where only line ends mark the end of a message."""
    clock = RealClock()
    device = PreambleDataScope("scope", clock, Square(low=-2.2, duty=0.5), seed=5)
    with SocketServer(device) as server:
        link = Link(open_session(server.address, instrument="scope"), "scope", clock)
        scope = Scope(Dialect(read(dict(list_drivers())["o-1b"], Driver), link))
        scope.prepare()
        trace = scope.capture(Setup((LOGIC,), 20e-6, 10_000, EDGE), clock.sleep, 0.5).traces[1]
        scope.dialect.close()
    assert trace.samples.size == 10_000
    # computed: code 10 is (10 - 65) x 0.04 V = -2.2 V; gain and noise may move it by a few codes
    assert np.count_nonzero(np.abs(trace.samples.astype(int) - 10) <= 6) > 4000
    assert np.count_nonzero(trace.samples == ord("\n")) > 0


def test_what_the_scope_refuses_is_quoted() -> None:
    """Where the driver file promises more than the instrument takes, the instrument's own error is shown."""
    meeting = Meeting(Square())
    samples = meeting.scope.samples.model_copy(update={"time_scale": Span(1e-12, 50.0, "s")})
    meeting.scope.settings.samples = samples
    actions = meeting.scope.dialect.driver.actions
    actions["set time scale"] = actions["set time scale"].model_copy(update={"span": Span(1e-12, 50.0, "s")})
    with pytest.raises(InstrumentReportedError, match=r"scope: reported -222,.* after ':TIM:SCAL 0\.000000001'"):
        meeting.capture(Setup((LOGIC,), 12e-9, 1000))  # SCPI-1999 vol. 2, 21.8.9: -222 is data out of range
    meeting.scope.settings.samples = meeting.scope.samples
    assert meeting.capture(Setup((LOGIC,), 20e-6, 1000)).triggered
