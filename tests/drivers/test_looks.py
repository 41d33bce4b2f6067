"""A look at a live output: each question asked once, however much its answer tells, and quick enough for the watch."""

from __future__ import annotations

import pytest

from autobench.errors import ReplyError
from autobench.instruments.supply import Supply
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.misbehaviour import Misbehaviour
from tests.drivers.meetings import DEVICES, Loads, meet

# Messages of one look: a reading, a register, a whole line of digits is asked for once, a register of events twice; a
# supply that is slow to listen gets all its questions in one message.
MESSAGES = {"ps-1": 3, "ps-2": 3, "ps-3": 4, "ps-4": 1, "ps-5": 3, "ps-6": 1, "ps-7": 4}
HALF_A_SECOND = 0.5  # the watch's promise: every live rail is looked at twice a second


@pytest.mark.parametrize("name", MESSAGES)
def test_a_look_asks_each_question_once(name: str) -> None:
    """And what it tells is what the single questions tell: volts, amps, constant voltage, not tripped."""
    loads = Loads({1: 10.0, 2: 50.0, 3: 50.0})
    spoken = meet(name, DEVICES[name]("supply", SimulatedClock(), loads, seed=5))
    supply = Supply(spoken.dialect, outputs=(1,))
    supply.quiet()
    supply.set_volts(1, 5.0)
    supply.set_amps(1, 1.0)
    supply.on(1)
    spoken.clock.sleep(0.5)
    del spoken.said[:]
    before = spoken.clock.now()
    volts, amps, limiting, tripped = supply.look(1)
    assert len(spoken.said) == MESSAGES[name]
    assert spoken.clock.now() - before < HALF_A_SECOND
    assert volts == pytest.approx(5.0, abs=0.05)
    assert amps == pytest.approx(0.5, abs=0.02)  # Ohm's law: 5 V across 10 Ω
    assert (limiting, tripped) == (False, None if name == "ps-6" else False)
    supply.set_amps(1, 0.2)
    for _ in range(8):  # the flag counts from a first look, and lags
        spoken.clock.sleep(0.1)
        supply.look(1)
    assert supply.look(1)[2]


def test_a_slow_supply_looks_after_two_rails_twice_a_second() -> None:
    """Each message costs its pace; both its outputs together must not take longer than the watch may."""
    spoken = meet("ps-4", DEVICES["ps-4"]("supply", SimulatedClock(), Loads({1: 10.0, 2: 50.0}), seed=5))
    supply = Supply(spoken.dialect)
    supply.quiet()
    before = spoken.clock.now()
    for output in supply.outputs:
        supply.look(output)
    assert spoken.clock.now() - before < HALF_A_SECOND


def test_an_answer_too_few_to_joined_questions_is_refused() -> None:
    """What is not one answer to each question belongs to none of them."""
    spoken = meet("ps-4", DEVICES["ps-4"]("supply", SimulatedClock(), Loads({1: 10.0, 2: 50.0}), seed=5))
    supply = Supply(spoken.dialect, outputs=(1,))
    spoken.misbehave(Misbehaviour(garbage=b"4.995;0.812;CV\n"))
    with pytest.raises(ReplyError, match=r"^ps-4: 3 answers came to 4 questions: '4.995;0.812;CV'"):
        supply.look(1)
    assert spoken.dialect.link.dirty
    spoken.misbehave(Misbehaviour())
    assert supply.look(1)[0] == pytest.approx(0.0, abs=0.05)


def test_a_register_that_keeps_what_has_been_is_asked_for_what_is() -> None:
    """Half a second in the limit is over: one question alone would still call it limiting."""
    loads = Loads({1: 10.0, 2: 50.0})
    spoken = meet("ps-7", DEVICES["ps-7"]("supply", SimulatedClock(), loads, seed=5))
    supply = Supply(spoken.dialect, outputs=(1,))
    supply.set_volts(1, 5.0)
    supply.set_amps(1, 0.2)
    supply.on(1)
    for _ in range(5):
        spoken.clock.sleep(0.1)
        spoken.device.advance()
    supply.set_amps(1, 1.0)
    for _ in range(5):
        spoken.clock.sleep(0.1)
        spoken.device.advance()
    assert int(spoken.dialect.link.ask("LSR1?")) & 0b10  # constant current has been …
    supply.set_amps(1, 0.2)
    spoken.clock.sleep(0.5)
    spoken.device.advance()
    supply.set_amps(1, 1.0)
    spoken.clock.sleep(0.5)
    spoken.device.advance()
    assert not supply.limiting(1)  # … and is over
