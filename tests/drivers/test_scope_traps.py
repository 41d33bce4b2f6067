"""What differs from one scope's dialect to the next, and what would go wrong by the other's: position in divisions,
gain in place of attenuation, codes with signs and the 256 they are counted by, two rules of time, two line ends.

Each is tried from the physical side: a known wave at the probe, and the volts and times that come out. The rules are
those of the dialects' descriptions (trade knowledge; instruments' manuals), the arithmetic is done here.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from autobench.clock import Clock
from autobench.documents.driver import Driver
from autobench.errors import BenchError, ProtocolError, ReplyError
from autobench.instruments.descriptor import descriptor_preamble
from autobench.instruments.preamble import preamble_of_seven
from autobench.instruments.scope import Capture, Scope, ScopeInput, Setup, Trigger
from autobench.signals.levels import find_levels
from simulated_instruments.devices.instrument import Device
from simulated_instruments.devices.scope_template import TemplateScope
from tests.drivers.meetings import DEVICES, driver_named, over
from tests.drivers.square import Square

SPANS = [(0.0, 5.0), (-2.0, 4.5), (0.2, 3.9), (-4.0, 4.0)]
ALL = ("o-2", "o-3a", "o-3b")


class Ramp(Square):
    """Rises evenly through the screen, so that every code between comes as often as every other."""

    def samples(self, channel: int, times: NDArray[np.float64], input_ohms: float) -> NDArray[np.float64]:
        cycles = times * self.rate
        found: NDArray[np.float64] = self.low + (self.high - self.low) * (cycles - np.floor(cycles))
        return found


def changed(name: str, actions: dict[str, dict[str, object]], **samples: object) -> Driver:
    """The shipped driver with something of its actions (an empty one: without it) or of its records otherwise."""
    driver = driver_named(name)
    assert driver.samples is not None
    made = dict(driver.actions)
    for key, update in actions.items():
        if update:
            made[key] = made[key].model_copy(update=update)
        else:
            del made[key]
    return driver.model_copy(update={"actions": made, "samples": driver.samples.model_copy(update=samples)})


def captured(
    name: str,
    low: float,
    high: float,
    *,
    driver: Driver | None = None,
    square: Square | None = None,
    make: Callable[[Clock], Device] | None = None,
) -> tuple[Capture, Device, float]:
    """One capture of a square wave of 0.2 V and 3.8 V, with the device, and the limit of error of its levels."""
    wave = square or Square()
    with over(
        "in process", name, make or (lambda clock: DEVICES[name]("scope", clock, wave, seed=5)), driver
    ) as spoken:
        scope = Scope(spoken.dialect)
        scope.prepare()
        entry = ScopeInput(1, low, high)
        level = (wave.low + wave.high) / 2.0
        found = scope.capture(Setup((entry,), 20e-6, 1000, Trigger(1, level)), spoken.clock.sleep, 0.5)
        return found, spoken.device, sum(part.value for part in scope.volts_components(entry, wave.high))


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize(("low", "high"), SPANS)
def test_levels_are_true_at_several_offsets(name: str, low: float, high: float) -> None:
    """Whatever is moved, and by what: 0.2 V and 3.8 V are found within the accuracy class, without a complaint."""
    capture, _, limit = captured(name, low, high)
    assert (capture.triggered, capture.reason) == (True, None)
    levels = find_levels(capture.traces[1])
    assert abs(levels.low - 0.2) <= limit
    assert abs(levels.high - 3.8) <= limit


@pytest.mark.parametrize("name", ALL)
def test_codes_are_read_as_they_were_made(name: str) -> None:
    """Two's complement (0xFC is -4, not -3): no code is lost or doubled where the sign changes. By the rule that takes
    255 off a code above 127 there would be no -1, and twice as many noughts (computed)."""
    ramp = Ramp(low=-1.0, high=6.0, rate=40e3)
    with over("in process", name, lambda clock: DEVICES[name]("scope", clock, ramp, seed=5)) as spoken:
        scope = Scope(spoken.dialect)
        scope.prepare()
        trace = scope.capture(Setup((ScopeInput(1, 0.0, 5.0),), 20e-6, 10_000), spoken.clock.sleep, 0.5).traces[1]
    codes = trace.samples.astype(int) - 128  # the screen's middle is nought
    assert (np.diff(np.sign(codes)) != 0).any()  # the ramp passes the middle
    counts = np.bincount(codes[(codes >= -20) & (codes <= 20)] + 20, minlength=41)
    assert counts.min() > 0.5 * counts.mean()
    assert counts.max() < 1.5 * counts.mean()


def test_a_code_of_fc_is_minus_four() -> None:
    """The worked example of one manual says -3; two's complement says -4 (IEEE 488.2 integers; computed)."""
    assert int(np.array([0xFC], dtype=np.uint8).view(np.int8)[0]) == -4
    assert int(np.uint8(0xFC) ^ np.uint8(0x80)) - 128 == -4


def test_a_driver_without_signs_is_refused_where_codes_must_have_them(tmp_path: object) -> None:
    """Read without their signs half the codes would be ten divisions too high, and nothing would contradict it."""
    from autobench.documents.driver_record_rules import record_complaints

    for name in ALL:
        driver = changed(name, {}, signed=False)
        assert driver.samples is not None
        said = [complaint.text for complaint in record_complaints(driver.samples, driver.actions)]
        assert any("needs 'signed: yes'" in text for text in said)


def test_a_position_is_in_divisions() -> None:
    """A scope of the older family O-2 has no offset in volts: its trace is moved by divisions alone, and the volts are
    true at every position."""
    older = changed("o-2", {"set offset": {}, "set offset?": {}}, positive_offset="up", position=5)
    for low, high in SPANS:
        capture, _, limit = captured("o-2", low, high, driver=older)
        assert (capture.triggered, capture.reason) == (True, None)
        levels = find_levels(capture.traces[1])
        assert abs(levels.low - 0.2) <= limit
        assert abs(levels.high - 3.8) <= limit


def test_a_position_reaches_so_far_only() -> None:
    """What lies five divisions from zero at the most is shown on a coarser scale, never off the screen: 11.5 V to
    12.5 V would need 0.2 V a division, and with 12 V in the middle it takes 5 V (computed: 12 / 5 = 2.4, next 5)."""
    older = changed("o-2", {"set offset": {}, "set offset?": {}}, positive_offset="up", position=5)
    capture, _, _ = captured("o-2", 11.5, 12.5, driver=older, square=Square(low=11.8, high=12.2))
    assert capture.traces[1].resolution == pytest.approx(5.0 / 25.0)


def test_volts_sent_as_a_position_are_noticed() -> None:
    """A driver that takes the position for an offset in volts moves the trace by other volts than it believes: on
    every scale but 1 V a division the record is refused, and told why."""
    own = driver_named("o-2").actions
    wrong = changed(
        "o-2",
        {
            "set offset": {"say": own["set position"].say},
            "set offset?": {"ask": own["set position?"].ask},
            "set position": {},
            "set position?": {},
        },
        positive_offset="up",
    )
    with pytest.raises(ReplyError, match="'origin' or 'positive offset' of the driver file may be wrong"):
        captured("o-2", 0.0, 1.0, driver=wrong, square=Square(low=0.2, high=0.8))


def test_a_position_that_somebody_turned_is_put_back() -> None:
    """With volts to move it, the position stands at nought, whatever the knob said before."""

    def make(clock: Clock) -> Device:
        device = DEVICES["o-2"]("scope", clock, Square(), seed=5)
        device.receive(b"CH1:POS 3\n", True)
        return device  # type: ignore[no-any-return]

    capture, device, limit = captured("o-2", 0.0, 5.0, make=make)
    assert device.input(1).position == 0.0  # type: ignore[attr-defined]  # of this kind of device
    assert abs(find_levels(capture.traces[1]).high - 3.8) <= limit


def test_a_probe_is_told_by_its_gain() -> None:
    """A probe that divides by ten has a gain of 0.1; told as 10 the volts would be a hundred times too small, and the
    scale of the screen goes beyond what the instrument has: it refuses, and nothing is captured."""
    _, device, _ = captured("o-2", 0.0, 5.0)
    assert device.input(1).probe == pytest.approx(10.0)  # type: ignore[attr-defined]  # of this kind of device
    wrong = changed("o-2", {}, probe="factor")
    capture, device, limit = captured("o-2", 0.0, 5.0, driver=wrong)
    assert device.input(1).probe == pytest.approx(0.1)  # type: ignore[attr-defined]
    assert abs(find_levels(capture.traces[1]).high - 3.8) > limit  # what `prove` and the look at the probes are for


def test_both_rules_of_time_put_the_trigger_where_it_was() -> None:
    """Most give the time of the first point, some that of the trigger's point: the edge is at nought by either."""
    for at_trigger in (False, True):

        def make(clock: Clock, at_trigger: bool = at_trigger) -> Device:
            device = DEVICES["o-2"]("scope", clock, Square(), seed=5)
            device.zero_at_trigger = at_trigger
            return device  # type: ignore[no-any-return]

        with over("in process", "o-2", make) as spoken:
            scope = Scope(spoken.dialect)
            scope.prepare()
            setup = Setup((ScopeInput(1, 0.0, 5.0),), 20e-6, 10_000, Trigger(1, 1.4), before=0.25)
            trace = scope.capture(setup, spoken.clock.sleep, 0.5).traces[1]
        assert trace.start == pytest.approx(-5e-6, abs=2 * trace.interval)
        place = int(-trace.start / trace.interval)
        volts = trace.in_volts()
        assert volts[place - 20 : place - 5].mean() < 1.4 < volts[place + 5 : place + 20].mean()


def test_seven_numbers_that_fit_neither_rule_of_time_are_refused() -> None:
    """The time at the trigger's point must be nought within a point."""
    good = preamble_of_seven((1000.0, 2e-9, -1e-6, 500.0, 0.04, -50.0, 0.5))
    assert good.start == pytest.approx(-1e-6)
    assert good.volts(0, "volts") == pytest.approx(0.5 + 50.0 * 0.04)  # computed: V = (code - YOFF) x YMULT + YZERO
    assert preamble_of_seven((1000.0, 2e-9, 1e-9, 500.0, 0.04, 0.0, 0.0)).start == pytest.approx(1e-9 - 1e-6)
    assert preamble_of_seven((1e4, 2e-9, -1e-5, 0.0, 0.04, 0.0, 0.0)).start == pytest.approx(-1e-5)
    with pytest.raises(ProtocolError, match="not nought by either rule"):
        preamble_of_seven((1000.0, 2e-9, -3e-6, 500.0, 0.04, 0.0, 0.0))
    with pytest.raises(ProtocolError, match="7 numbers"):
        preamble_of_seven((1000.0, 2e-9, -3e-6))


@pytest.mark.parametrize("low_first", [False, True])
def test_a_descriptor_is_read_in_either_byte_order(low_first: bool) -> None:
    """The descriptor says itself which byte comes first."""
    from simulated_instruments.devices.scope_positioned_setup import PositionedSetup
    from simulated_instruments.devices.scope_template_descriptor import descriptor

    data = descriptor(PositionedSetup(), 1, slice(0, 1000, 1), low_first, own_gain=True)
    found = descriptor_preamble(data)
    assert (found.points, found.y_increment) == (1000, pytest.approx(0.04))  # computed: 1 V a division, 25 codes
    assert found.start == pytest.approx(-5e-6)  # computed: ten divisions of 1 us, the trigger in the middle
    with pytest.raises(ProtocolError, match="beginning of a descriptor"):
        descriptor_preamble(data[1:])
    with pytest.raises(ProtocolError, match="346 bytes, this one 320"):
        descriptor_preamble(data[:320])


def test_an_offset_that_ignores_the_probe_is_noticed() -> None:
    """One family's offset is at the connector whatever the probe: its descriptor contradicts, and nothing is read."""

    def make(clock: Clock) -> Device:
        device = TemplateScope("scope", clock, Square(), seed=5)
        device.offset_at_connector = True
        return device

    with pytest.raises(ReplyError, match="in the middle of the screen"):
        captured("o-3a", -1.2, 2.2, make=make)


def test_a_descriptor_without_a_gain_is_noticed() -> None:
    """Budget instruments send the volts of a division where the gain of a code should be: by the driver of O-3a, were
    all its words known, a record of theirs is refused."""

    def make(clock: Clock) -> Device:
        device = TemplateScope("scope", clock, Square(), seed=5)
        device.own_gain = False  # type: ignore[misc]
        return device

    with pytest.raises(BenchError, match="its codes make a division of"):
        captured("o-3a", 0.0, 5.0, make=make)
