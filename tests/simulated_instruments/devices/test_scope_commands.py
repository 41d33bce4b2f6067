"""What the preamble-and-data oscilloscope takes and answers, and the errors it enters for everything else."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

Build = Callable[..., Any]  # a builder of conftest.py


@pytest.mark.parametrize(
    ("displayed", "rate", "depth"), [(1, 1e9, 12_000_000), (2, 5e8, 6_000_000), (4, 2.5e8, 3_000_000)]
)
def test_channels_share_rate_and_memory(scope_bench: Build, displayed: int, rate: float, depth: int) -> None:
    """Each displayed channel takes its share of the sample rate and of the memory."""
    bench = scope_bench()
    for channel in range(1, displayed + 1):
        bench.say(f":CHAN{channel}:DISP ON")
    bench.say(f":ACQ:MDEP {depth}", ":TIM:SCAL 1E-6")
    assert bench.number(":ACQ:SRAT?") == pytest.approx(rate)  # 1 GSa/s in all
    bench.say(":SING")
    bench.clock.sleep(0.1)
    bench.say(":TFOR")
    bench.clock.sleep(0.1)
    bench.say(":WAV:MODE RAW")
    assert bench.preamble().points == round(rate * 12e-6)  # what fits into the screen, not the memory asked for
    assert bench.error() == 0
    bench.say(f":ACQ:MDEP {depth + 1}")
    assert bench.error() == -222  # SCPI-1999 vol. 2, 21.8


def test_another_channel_cuts_the_memory(scope_bench: Build) -> None:
    """A memory depth that the channels can no longer have is cut to their share."""
    bench = scope_bench()
    bench.say(":ACQ:MDEP 12000000")
    assert bench.ask(":ACQ:MDEP?") == "12000000"
    bench.say(":CHAN2:DISP ON", ":CHAN3:DISP ON")
    assert bench.ask(":ACQ:MDEP?") == "3000000"
    bench.say(":ACQ:MDEP AUTO")
    assert bench.ask(":ACQ:MDEP?") == "AUTO"


def test_time_base_takes_the_next_longer_step(scope_bench: Build) -> None:
    """A time base between two steps takes the longer one."""
    bench = scope_bench()
    for sent, set_to in ((1e-3, 1e-3), (1.1e-3, 2e-3), (3.3e-4, 5e-4), (5e-9, 5e-9)):  # 1, 2, 5: common practice
        bench.say(f":TIMebase:MAIN:SCALe {sent}")
        assert bench.number(":TIM:SCAL?") == pytest.approx(set_to)


@pytest.mark.parametrize(
    ("message", "number"),
    [
        (":CHAN1:DISPL ON", -113),  # SCPI-1999 vol. 1, 6.2.1: short or long form only
        (":TRIG:LEV 1", -113),  # this dialect has the level under EDGE
        (":CHAN1:SCAL", -109),  # SCPI-1999 vol. 2, 21.8: missing parameter
        (":CHAN1:SCAL 1,2", -108),
        (":CHAN1:SCAL 1000", -222),
        (":CHAN1:OFFS 1000", -222),
        (":CHAN5:SCAL 1", -114),
        (":CHAN1:PROB 3", -224),  # SCPI-1999 vol. 2, 21.8: illegal parameter value
        (":CHAN1:COUP HF", -141),
        (":CHAN1:BWL 100M", -224),
        (":CHAN1:BWL ON", -141),
        (":TIM:SCAL 1000", -222),
        (":TIM:MODE ROLL", -141),
        (":ACQ:MDEP 12345", -224),
        (":ACQ:AVER 3", -224),
        (":TRIG:EDGE:LEV 100", -222),
        (":TRIG:EDGE:SLOP UP", -141),
        (":WAV:SOUR MATH", -141),
        (":WAV:STAR 0", -222),
        (":WAV:POIN 1000", -113),  # this dialect has a start and a stop
    ],
)
def test_what_it_does_not_take(scope_bench: Build, message: str, number: int) -> None:
    """A command that is not of this dialect, or out of its limits, is an error and changes nothing."""
    bench = scope_bench()
    settings = bench.scope.setup
    bench.say(message)
    assert bench.error() == number
    assert bench.error() == 0
    assert bench.scope.setup == settings


def test_reading_what_is_not_there(scope_bench: Build, sine: Build) -> None:
    """A hidden channel, a running memory and a new instrument give an error and an empty block, never silence."""
    bench = scope_bench(sine(0.0, 2.0, 1e3))
    bench.say(":STOP", ":WAV:MODE RAW")
    assert bench.block(1, 100) == b""
    assert bench.error() == -230  # SCPI-1999 vol. 2, 21.8: data corrupt or stale
    bench.say(":RUN")
    bench.clock.sleep(1.0)
    assert bench.block(1, 100) == b""
    assert bench.error() == -221  # SCPI-1999 vol. 2, 21.8: settings conflict
    bench.say(":STOP", ":WAV:SOUR CHAN3")
    assert bench.block(1, 100) == b""
    assert bench.error() == -221
    assert bench.preamble().points == 0
    assert bench.error() == -221
    bench.say(":WAV:SOUR CHAN1")
    assert len(bench.block(1, 100)) == 100
    assert bench.error() == 0


@pytest.mark.parametrize(
    ("header", "value", "answer"),
    [
        (":CHANnel2:DISPlay", "ON", "1"),
        (":CHANnel2:COUPling", "AC", "AC"),
        (":CHANnel2:PROBe", "10", "10"),
        (":CHANnel2:BWLimit", "20M", "20M"),
        (":TIMebase:MODE", "MAIN", "MAIN"),
        (":ACQuire:TYPE", "AVERages", "AVER"),
        (":ACQuire:MDEPth", "100000", "100000"),
        (":TRIGger:MODE", "EDGE", "EDGE"),
        (":TRIGger:EDGE:SOURce", "CHANnel3", "CHAN3"),
        (":TRIGger:EDGE:SLOPe", "RFAL", "RFAL"),
        (":TRIGger:COUPling", "LFReject", "LFR"),
        (":TRIGger:SWEep", "NORMal", "NORM"),
        (":TRIGger:SWEep", "SINGle", "SING"),
        (":WAVeform:SOURce", "CHAN4", "CHAN4"),
        (":WAVeform:MODE", "MAXimum", "MAX"),
        (":WAVeform:FORMat", "ASCii", "ASC"),
        (":WAVeform:STOP", "250000", "250000"),
    ],
)
def test_settings_are_answered_in_their_short_form(scope_bench: Build, header: str, value: str, answer: str) -> None:
    """A setting is answered as it was sent, words in their short form."""
    bench = scope_bench()
    bench.say(f"{header} {value}")
    assert bench.ask(f"{header}?") == answer  # SCPI-1999 vol. 1, 7.1.2: words are answered in the short form
    assert bench.error() == 0


def test_numbers_are_answered_as_they_were_set(scope_bench: Build) -> None:
    """Numeric settings come back with their value."""
    bench = scope_bench()
    bench.set(1, scale=0.5, offset=-1.25)
    bench.say(":TIM:SCAL 2E-3", ":TIM:OFFS -4E-3", ":TRIG:EDGE:LEV 1.4", ":TRIG:HOLD 1E-3")
    for query, value in (
        (":CHAN1:SCAL?", 0.5),
        (":CHAN1:OFFS?", -1.25),
        (":TIM:MAIN:SCAL?", 2e-3),
        (":TIM:OFFS?", -4e-3),
        (":TRIG:EDGE:LEV?", 1.4),
        (":TRIG:HOLD?", 1e-3),
    ):
        assert bench.number(query) == pytest.approx(value)
    assert bench.ask("*IDN?").split(",")[:2] == ["ALDER STREET", "O-1b"]
    assert bench.error() == 0
