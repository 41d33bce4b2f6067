"""An oscilloscope by its role, against a scripted far end at the session port: replies no simulated instrument gives.

What the shipped driver does on the simulated instrument of its dialect is tried in `tests/drivers`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from autobench.documents.driver import Driver
from autobench.documents.places import list_drivers
from autobench.documents.reading import read
from autobench.errors import BenchError, InstrumentReportedError, LinkError, NoReplyError, ReplyError
from autobench.instruments.dialect import Dialect
from autobench.instruments.link import Link
from autobench.instruments.scope import Capture, Scope, ScopeInput, Setup, Trigger
from simulated_instruments.clock import SimulatedClock

LOGIC = ScopeInput(1, 0.0, 5.0)
ONE = Setup((LOGIC,), 0.12, 1000, Trigger(1, 1.4), before=0.25)
LATENCY = 0.001


@dataclass
class FarEnd:
    """What is at the other end of the session: keeps what it is told, answers from that or from a test's own script.

    After `:SING` its state is each of `after_single` in turn, one a question, the last for good; every state is told
    `lag` seconds late. `replies` are scripted answers, `cut` how many bytes of a block come before the message ends.
    """

    clock: SimulatedClock
    instrument: str = "scope"
    partial: bytes = b""
    has_end: bool = True
    settings: dict[str, str] = field(default_factory=dict)
    replies: dict[str, str] = field(default_factory=dict)
    after_single: list[str] = field(default_factory=lambda: ["WAIT", "STOP"])
    when_run: str = "TD"
    lag: float = 0.0
    cut: int | None = None
    short: int = 0
    codes: Callable[[int, int], bytes] = lambda first, last: bytes(point % 251 for point in range(first, last + 1))
    heard: list[str] = field(default_factory=list)
    refuses: set[str] = field(default_factory=set)  # lines it reports an error for, `once` or whenever they come
    once: bool = False
    errors: int = 0
    states: list[tuple[float, str]] = field(default_factory=lambda: [(0.0, "WAIT")])
    script: Iterator[str] | None = None
    waiting: bytes = b""

    def write(self, message: bytes, within: float) -> None:
        self.clock.sleep(LATENCY)
        text = message.decode("ascii")
        self.heard.append(text)
        if text.endswith("?"):
            self.waiting = self.answer(text)
            return
        if text in self.refuses:
            self.errors += 1
            self.refuses = set() if self.once else self.refuses
            return
        head, _, value = text.partition(" ")
        self.settings[head] = value
        if head in (":RUN", ":STOP", ":SING", ":TFOR"):
            self.script = iter(self.after_single) if head == ":SING" else None
            states = {":RUN": self.when_run, ":STOP": "STOP", ":TFOR": "STOP", ":SING": self.when_run}
            self.states.append((self.clock.now(), states[head]))

    def answer(self, question: str) -> bytes:
        if question == ":SYST:ERR?" and self.errors:
            self.errors -= 1
            return b'-222,"Data out of range"'  # SCPI-1999 vol. 2, 21.8.9
        if question in self.replies:
            return self.replies[question].encode("ascii")
        if question == ":TRIG:STAT?":
            if self.script is not None and (state := next(self.script, None)) is not None:
                self.states.append((self.clock.now(), state))
            told = [state for at, state in self.states if at <= self.clock.now() - self.lag]
            return (told[-1] if told else "STOP").encode("ascii")
        if question == ":WAV:DATA?":
            first, last = int(self.settings[":WAV:STAR"]), int(self.settings[":WAV:STOP"]) - self.short
            data = self.codes(first, last)
            return (b"#9%09d" % len(data) + data)[: self.cut]
        known = {":SYST:ERR?": '0,"No error"', "*IDN?": "ALDER STREET,O-1b,1,1.0", ":WAV:PRE?": self.preamble()}
        known[":ACQ:SRAT?"] = f"{self.rate:E}"
        if question.startswith("*ESE"):  # the link getting back in step
            before = "0;" if question.startswith("*ESE?") else ""
            return (before + question.split("*ESE ")[1].split(";")[0]).encode("ascii")
        return known.get(question, self.settings.get(question[:-1], "")).encode("ascii")

    @property
    def rate(self) -> float:
        """What fills the memory within twelve divisions."""
        return float(self.settings.get(":ACQ:MDEP", "1000")) / (12.0 * float(self.settings.get(":TIM:SCAL", "0.01")))

    def preamble(self) -> str:
        channel = self.settings.get(":WAV:SOUR", "CHAN1")
        step = float(self.settings.get(f":{channel}:SCAL", "1")) / 25.0
        origin = float(self.settings.get(f":{channel}:OFFS", "0")) / step
        points = self.settings.get(":ACQ:MDEP", "1000")
        form = {"BYTE": 0, "WORD": 1, "ASC": 2}[self.settings.get(":WAV:FORM", "BYTE")]
        return f"{form},2,{points},1,{1.0 / self.rate:E},-0.03,0,{step:E},{origin:E},127"

    def confirm(self, within: float) -> None:
        """Nothing confirms a command."""

    def read_message(self, within: float) -> bytes:
        if not self.waiting:
            self.clock.sleep(within)
            raise NoReplyError(self.instrument, "nothing came")
        found, self.waiting = self.waiting, b""
        return found

    def read_exact(self, count: int, within: float) -> bytes:
        found, self.waiting = self.waiting[:count], self.waiting[count:]
        if len(found) < count:
            self.partial = found
            raise ReplyError(self.instrument, f"the message ended after {len(found)} of {count} bytes")
        return found

    def finish_message(self, within: float) -> bytes:
        return self.read_message(within) if self.waiting else b""

    def clear(self) -> None:
        self.waiting = b""

    def status_byte(self) -> int | None:
        return None

    def abort(self) -> None:
        """Nothing to break off."""

    def reopen(self) -> None:
        self.waiting = b""

    def close(self) -> None:
        """Nothing to close."""

    def after(self, command: str) -> list[str]:
        """What was heard after the last time it heard `command`, without the questions for errors."""
        last = len(self.heard) - 1 - self.heard[::-1].index(command)
        return [text for text in self.heard[last + 1 :] if text != ":SYST:ERR?"]


@dataclass
class Table:
    """A scope on its scripted far end, prepared."""

    scope: Scope
    far: FarEnd
    clock: SimulatedClock

    def capture(self, setup: Setup = ONE, patience: float = 0.5) -> Capture:
        return self.scope.capture(setup, self.clock.sleep, patience)


def table(driver: Driver | None = None, probe: float = 10.0) -> Table:
    """The shipped driver, or another one, on a scripted far end."""
    clock = SimulatedClock()
    clock.sleep(1.0)
    far = FarEnd(clock)
    found = driver or read(dict(list_drivers())["o-1b"], Driver)
    scope = Scope(Dialect(found, Link(far, "scope", clock)), probe)
    scope.prepare()
    return Table(scope, far, clock)


@pytest.fixture
def bench() -> Table:
    return table()


def without(*names: str) -> Driver:
    """The shipped driver without some of its actions."""
    driver = read(dict(list_drivers())["o-1b"], Driver)
    kept = {name: action for name, action in driver.actions.items() if name not in names}
    return driver.model_copy(update={"actions": kept})


def test_a_trace_has_the_codes_as_they_came_with_scale_and_time_from_the_preamble(bench: Table) -> None:
    """Nothing is converted or copied; volts follow from the preamble's codes rule."""
    capture = bench.capture()
    trace = capture.traces[1]
    assert (capture.triggered, capture.reason, capture.stale) == (True, None, False)
    assert trace.samples.dtype == np.uint8
    assert bytes(trace.samples) == bench.far.codes(1, 1000)
    assert trace.step == pytest.approx(0.04)  # common practice: 25 codes a division of 1 V
    assert trace.volts(127 - 62.5) == pytest.approx(0.0)  # computed: the middle of 0 .. 5 V in the middle of the codes
    assert trace.start == pytest.approx(-0.03)
    assert trace.interval == capture.interval == pytest.approx(1.2e-4)  # computed: twelve divisions in 1000 points
    assert trace.clipped == (0.0, 255.0)


def test_everything_is_sent_the_first_time_and_only_what_differs_later(bench: Table) -> None:
    """A reset or a person may have left any setting anywhere; after that a second look costs few messages."""
    bench.capture()
    first = bench.far.after(":RUN")
    wanted = [":CHAN1:DISP ON", ":CHAN2:DISP OFF", ":CHAN1:PROB 10", ":CHAN1:COUP DC", ":CHAN1:BWL OFF"]
    wanted += [":CHAN1:SCAL 1.0000", ":CHAN1:OFFS -2.50000", ":TIM:SCAL 0.010000000", ":TIM:OFFS 0.030000000"]
    wanted += [":ACQ:MDEP 1000", ":ACQ:TYPE NORM", ":TRIG:EDGE:SOUR CHAN1", ":TRIG:EDGE:SLOP POS"]
    wanted += [":TRIG:EDGE:LEV 1.40000", ":TRIG:SWE NORM", ":SING"]
    assert [text for text in first if text in wanted] == wanted
    bench.capture()
    assert bench.far.after(":RUN")[:4] == [":TRIG:STAT?", ":TRIG:SWE NORM", ":SING", ":TRIG:STAT?"]
    bench.capture(replace(ONE, trigger=Trigger(1, 2.0, rising=False)))
    sent = bench.far.after(":RUN")
    assert sent[: sent.index(":SING")] == [
        ":TRIG:STAT?",
        ":TRIG:EDGE:SLOP NEG",
        ":TRIG:EDGE:LEV 2.00000",
        ":TRIG:SWE NORM",
    ]


def test_what_another_setting_moves_is_sent_again(bench: Table) -> None:
    """A new scale takes offset and trigger level with it, a new time base the trigger's place and the memory."""
    bench.capture()
    bench.capture(Setup((ScopeInput(1, 1.0, 4.0),), 0.06, 1000, Trigger(1, 1.4), before=0.25))
    sent = bench.far.after(":RUN")
    for text in (":CHAN1:OFFS -2.50000", ":TRIG:EDGE:LEV 1.40000", ":TIM:OFFS 0.015000000", ":ACQ:MDEP 1000"):
        assert text in sent
    bench.capture(Setup((LOGIC, ScopeInput(2, 1.0, 4.0)), 0.06, 1000, Trigger(1, 1.4), before=0.25))
    assert ":ACQ:MDEP 1000" in bench.far.after(":RUN")  # how deep the memory is depends on the channels that are on


def test_never_autoscale_and_never_a_built_in_measurement(bench: Table) -> None:
    """Nothing but settings, states and samples goes over the line."""
    bench.capture()
    bench.capture(replace(ONE, peak=True, bandwidth_limit=True, trigger=None))
    assert not any(
        "AUT" in text.replace("SWE AUTO", "") or ":MEAS" in text or "*RST" in text for text in bench.far.heard
    )


def test_after_an_error_nothing_is_taken_for_known(bench: Table) -> None:
    """Every setting goes out again with the next capture."""
    bench.capture()
    bench.far.replies[":WAV:PRE?"] = "garbage"
    with pytest.raises(ReplyError, match=r"the reply to ':WAV:PRE\?' is not understood: no number in 'garbage'"):
        bench.capture()
    del bench.far.replies[":WAV:PRE?"]
    bench.capture()
    assert ":CHAN1:PROB 10" in bench.far.after(":RUN")
    assert ":CHAN4:DISP OFF" in bench.far.after(":RUN")


def test_what_the_scope_refuses_is_quoted_with_its_command(bench: Table) -> None:
    """The instrument's own error, and after which of many lines it came, though they are asked about together."""
    bench.capture()
    heard = len(bench.far.heard)
    bench.capture(replace(ONE, seconds=0.06))
    assert bench.far.heard[heard:].count(":SYST:ERR?") == 2  # one look at what was set, one at what was read
    bench.far.refuses = {":TIM:SCAL 0.010000000"}
    with pytest.raises(InstrumentReportedError) as refused:
        bench.capture()
    assert str(refused.value) == """scope: reported -222,"Data out of range" after ':TIM:SCAL 0.010000000'"""


def test_what_was_refused_once_only_is_sent_again(bench: Table) -> None:
    """Everything goes out once more, line by line; what stands then is what is captured."""
    bench.capture()
    bench.far.refuses, bench.far.once = {":TIM:SCAL 0.005000000"}, True
    assert bench.capture(replace(ONE, seconds=0.06)).reason is None
    assert bench.far.heard.count(":TIM:SCAL 0.005000000") == 2


def test_how_a_record_is_read_is_sent_again_where_somebody_moved_it(bench: Table) -> None:
    """The preamble shows it; a record is never read with what was only believed."""
    bench.capture()
    heard = len(bench.far.heard)
    assert bench.capture().reason is None
    assert not {":WAV:FORM BYTE", ":WAV:MODE RAW", ":WAV:STAR 1", ":WAV:STOP 1000"} & set(bench.far.heard[heard:])
    bench.far.settings[":WAV:FORM"] = "ASC"  # at the front panel, or by another program
    heard = len(bench.far.heard)
    assert bench.capture().traces[1].samples.size == 1000
    assert ":WAV:FORM BYTE" in bench.far.heard[heard:]


def test_a_scale_that_somebody_turned_between_two_captures_is_noticed(bench: Table) -> None:
    """It is not sent again, since it was known; its record contradicts it, and the next capture sends everything."""
    bench.capture()
    bench.far.settings[":CHAN1:SCAL"] = "2"
    with pytest.raises(ReplyError, match=r"its codes make a division of 2.000 V, the scale is 1.000 V"):
        bench.capture()
    assert bench.capture().reason is None
    assert bench.far.settings[":CHAN1:SCAL"] == "1.0000"


@pytest.mark.parametrize(
    ("setup", "words"),
    [
        (replace(ONE, points=20_000_000), "scope: 20000000 points a channel are too many for 1 channels; 12000000 at"),
        (replace(ONE, seconds=1e4), "scope: a record of 10.00 ks is too long; 600.0 s at the most"),
        (Setup((ScopeInput(1, -1e3, 1e3),), 0.1, 1000), "scope: 2.000 kV do not fit the screen"),
        (Setup((ScopeInput(5, 0.0, 5.0),), 0.1, 1000), "scope: the driver 'o-1b' knows no channel 5"),
        (
            replace(ONE, trigger=Trigger(1, 9.0)),
            r"the trigger \(channel 1 rising through 9.000 V\) is not on the screen, which shows -1.500 V .. 6.500 V",
        ),
    ],
)
def test_a_setup_beyond_the_scope_is_refused_before_anything_is_sent(bench: Table, setup: Setup, words: str) -> None:
    """The words say what would be possible."""
    heard = len(bench.far.heard)
    with pytest.raises(BenchError, match=words):
        bench.scope.arm(setup)
    assert len(bench.far.heard) == heard


@pytest.mark.parametrize(
    ("name", "setup"), [("acquire peak", {"peak": True}), ("limit bandwidth", {"bandwidth_limit": True})]
)
def test_what_the_dialect_lacks_is_refused_by_name(name: str, setup: dict[str, bool]) -> None:
    """A driver without peak detection or a bandwidth limit cannot be asked for one, and captures without it."""
    bench = table(without(name, "full bandwidth"))
    with pytest.raises(BenchError, match=f"scope: the driver 'o-1b' has no '{name}'"):
        bench.capture(replace(ONE, **setup))
    assert bench.capture().triggered


def test_a_setting_that_does_not_stand_is_told_and_what_stands_is_used(bench: Table) -> None:
    """A time base somebody holds is no reason to stop, but every capture says so, until it is taken."""
    bench.far.replies[":TIM:SCAL?"] = "0.02"
    capture = bench.capture()
    assert capture.reason == "the time scale stays at 20.00 ms although 10.00 ms was sent"
    assert bench.capture().reason == capture.reason
    del bench.far.replies[":TIM:SCAL?"]
    assert bench.capture().reason is None


@pytest.mark.parametrize(
    ("question", "reply", "words"),
    [
        (":CHAN1:PROB?", "1", "the probe of channel 1 stays at 1 although 10 was sent"),
        (":CHAN1:COUP?", "AC", "channel 1 stays coupled otherwise than DC: its levels are lost"),
        (":ACQ:SRAT?", "1E6", "the points are 120.0 µs apart although 1.000 MSa/s were told: the time base is held"),
    ],
)
def test_what_falsifies_a_trace_is_told_with_it(bench: Table, question: str, reply: str, words: str) -> None:
    """The reason stands beside the traces, so that a person can look at both."""
    bench.far.replies[question] = reply
    capture = bench.capture()
    assert capture.reason is not None
    assert words in capture.reason
    assert not capture.stale


@pytest.mark.parametrize(
    ("question", "reply", "words"),
    [
        (":CHAN1:SCAL?", "0", r"answered 'set scale\?' with 0, which no scope can stand at"),
        (":CHAN1:SCAL?", "9.91E37", r"answered 'set scale\?' with no number"),
        (":ACQ:SRAT?", "0", "says that its sample rate is 0 Sa/s"),
        (":ACQ:SRAT?", "9.9E37", r"answered 'sample rate\?' with no number"),
        (":CHAN1:OFFS?", "-2.5 A", r"is in A, expected was V"),
    ],
)
def test_a_read_back_without_sense_is_an_error(bench: Table, question: str, reply: str, words: str) -> None:
    """No trace is made with it."""
    bench.far.replies[question] = reply
    with pytest.raises(ReplyError, match=words):
        bench.capture()


@pytest.mark.parametrize(
    ("preamble", "words"),
    [
        ("1,2,1000,1,1.2E-4,0,0,0.04,-62.5,127", "it is in form 1, not in bytes"),
        ("0,2,999,1,1.2E-4,0,0,0.04,-62.5,127", None),
        ("0,2,990,1,1.2E-4,0,0,0.04,-62.5,127", "it has 990 points, 1000 should fit its 120.0 ms"),
        ("0,2,1000,1,1.2E-4,0,0,0.4,-6.25,127", "its codes make a division of 10.00 V, the scale is 1.000 V"),
        (
            "0,2,1000,1,1.2E-4,0,0,0.04,62.5,127",
            "it has -2.500 V in the middle of the screen, by its offset there are 2",
        ),
        ("0,2,1000,1,1.2E-4,0,0,0.04,-2.5,127", r"it has 100.0 mV in the middle of .* \('origin' or 'positive offset'"),
    ],
)
def test_a_preamble_that_contradicts_the_settings_is_refused(bench: Table, preamble: str, words: str | None) -> None:
    """It is about another record, another probe, or the driver's rule of origin is wrong."""
    bench.far.replies[":WAV:PRE?"] = preamble
    if words is None:
        assert bench.capture().traces[1].samples.size == 999
        return
    with pytest.raises(ReplyError, match=f"scope: the record of channel 1 is not the one that was set up: {words}"):
        bench.capture()


def test_the_wrong_rule_of_origin_does_not_pass(bench: Table) -> None:
    """A driver for volts on a scope that tells codes is found out by the first capture with an offset."""
    driver = read(dict(list_drivers())["o-1b"], Driver)
    assert driver.samples is not None
    wrong = driver.model_copy(update={"samples": driver.samples.model_copy(update={"origin": "volts"})})
    with pytest.raises(
        ReplyError, match=r"it has -62\.50 V in the middle of the screen, by its offset there are 2\.500 V"
    ):
        table(wrong).capture()


def test_a_block_cut_short_is_an_error_with_its_counts(bench: Table) -> None:
    """Less than the block announces is never padded or taken for the record."""
    bench.far.cut = 511
    with pytest.raises(ReplyError, match=r"scope: :WAV:DATA\?: the message ended after 500 of 1000 bytes"):
        bench.capture()
    bench.far.cut = None
    assert bench.capture().triggered


def test_a_block_with_another_count_of_points_is_an_error(bench: Table) -> None:
    """The count must be what was asked for, not what came."""
    bench.far.short = 1
    with pytest.raises(ReplyError, match="scope: sent 999 points of channel 1 in one block where 1000 were asked for"):
        bench.capture()


def test_a_reply_that_is_no_block_is_an_error(bench: Table) -> None:
    """Numbers in ASCII are not read as codes."""
    bench.far.replies[":WAV:DATA?"] = "1.25,1.25,1.26" * 30
    with pytest.raises(ReplyError, match=r"scope: :WAV:DATA\?: no block: there is no '#'"):
        bench.capture()


def test_a_long_record_comes_in_chunks_in_order(bench: Table) -> None:
    """Each block by its own range; the end moves before the start on the way up, and the range is put back."""
    bench.far.codes = lambda first, last: (np.arange(first, last + 1) // 4000).astype(np.uint8).tobytes()
    capture = bench.capture(replace(ONE, points=1_000_000))
    assert capture.traces[1].samples.size == 1_000_000
    assert np.array_equal(capture.traces[1].samples, (np.arange(1, 1_000_001) // 4000).astype(np.uint8))
    ranges = [text for text in bench.far.after(":WAV:PRE?") if text.startswith((":WAV:ST", ":WAV:DATA"))]
    assert ranges[:5] == [
        ":WAV:STOP 250000",
        ":WAV:DATA?",
        ":WAV:STOP 500000",
        ":WAV:STAR 250001",
        ":WAV:DATA?",
    ]
    assert ranges[-2:] == [":WAV:DATA?", ":WAV:STAR 1"]
    heard = len(bench.far.heard)
    bench.capture()
    assert ":WAV:STOP 1000" in bench.far.heard[heard:]  # the end is put back before the next record


def test_channels_come_from_one_acquisition_with_a_pause_between(bench: Table) -> None:
    """It is stopped before the first block, not started again until the last, and not rushed."""
    bench.capture(Setup((LOGIC, ScopeInput(3, 0.0, 5.0)), 0.12, 1000))
    read_out = bench.far.after(":STOP")
    assert [text for text in read_out if text.startswith(":WAV:SOUR")] == [":WAV:SOUR CHAN1", ":WAV:SOUR CHAN3"]
    assert not any(text in (":RUN", ":SING") for text in read_out)
    before = bench.clock.now()
    bench.capture(Setup((LOGIC, ScopeInput(3, 0.0, 5.0)), 0.12, 1000))
    two = bench.clock.now() - before
    before = bench.clock.now()
    bench.capture(Setup((LOGIC,), 0.12, 1000))
    bench.capture(Setup((LOGIC,), 0.12, 1000))
    before = bench.clock.now()
    bench.capture(Setup((LOGIC,), 0.12, 1000))
    assert two - (bench.clock.now() - before) > 0.05


def test_extremes_come_lowest_first_whichever_way_round_the_scope_sends_them(bench: Table) -> None:
    """A peak-detected trace is pairs of extremes."""
    bench.far.codes = lambda first, last: bytes([200, 100] * ((last - first + 1) // 2))
    trace = bench.capture(replace(ONE, peak=True)).traces[1]
    assert trace.peak_detect
    assert list(trace.samples[:4]) == [100, 200, 100, 200]
    assert ":ACQ:TYPE PEAK" in bench.far.after(":RUN")


def test_a_missing_trigger_is_forced_and_told(bench: Table) -> None:
    """After the patience the record is taken all the same, as evidence of a line that stands still."""
    bench.far.after_single = ["WAIT"]
    capture = bench.capture(patience=0.3)
    assert not capture.triggered
    assert capture.traces[1].samples.size == 1000
    assert capture.reason is not None
    assert capture.reason.startswith("no trigger (channel 1 rising through 1.400 V) within 3")
    assert capture.reason.endswith(" ms; it was forced")
    assert ":TFOR" in bench.far.heard


def test_a_scope_that_should_start_by_itself_is_helped_without_blame(bench: Table) -> None:
    """Without a trigger in the setup there is none to miss."""
    bench.far.after_single = ["WAIT"]
    capture = bench.capture(replace(ONE, trigger=None), patience=5.0)
    assert (capture.triggered, capture.reason) == (True, None)
    assert ":TRIG:SWE AUTO" in bench.far.after(":RUN")


def test_a_long_record_is_not_forced_while_it_fills(bench: Table) -> None:
    """Patience is for the trigger; once that has come the record takes the time it takes."""
    bench.far.after_single = ["RUN", *["TD"] * 12, "STOP"]
    capture = bench.capture(patience=0.05)
    assert (capture.triggered, capture.reason) == (True, None)
    assert ":TFOR" not in bench.far.heard


@pytest.mark.parametrize("lacking", [(), ("force",)])
def test_an_acquisition_that_never_completes_gives_no_samples(lacking: tuple[str, ...]) -> None:
    """What the memory still holds is of an earlier acquisition, so it is not even read."""
    bench = table(without(*lacking))
    bench.capture()
    bench.far.after_single = ["RUN"] if not lacking else ["WAIT"]
    bench.far.heard.clear()
    capture = bench.capture(patience=0.1)
    assert capture.stale
    assert not capture.triggered
    assert capture.traces[1].samples.size == 0
    assert capture.interval == pytest.approx(1.2e-4)
    assert capture.reason is not None
    assert capture.reason.startswith("no trigger (channel 1 rising through 1.400 V) within 1.")
    assert capture.reason.endswith("; what the scope still holds is of an earlier acquisition and was not read")
    assert ":WAV:DATA?" not in bench.far.heard


def test_a_stopped_state_left_over_is_not_taken_for_the_new_acquisition(bench: Table) -> None:
    """However late the state is told: after the first capture the second one's trigger never comes."""
    bench.far.lag = 0.2
    bench.far.after_single = ["WAIT", "TD", "STOP"]
    assert bench.capture(patience=5.0).triggered
    bench.far.after_single = ["WAIT"]
    bench.scope.arm(ONE)
    for _ in range(100):
        assert not bench.scope.ready()
        bench.clock.sleep(0.01)
    capture = bench.scope.fetch()
    assert capture.stale


def test_an_acquisition_faster_than_any_question_counts(bench: Table) -> None:
    """It is seen running before it is armed, so the first answer may already be that it is complete."""
    bench.far.after_single = ["STOP"]
    capture = bench.capture()
    assert (capture.triggered, capture.reason) == (True, None)


@pytest.mark.parametrize(
    ("always", "words"),
    [
        ("STOP", "scope: was told to run, but still says that it stands after 2.0 s"),
        ("TD", "scope: was told to stop, but does not say that it has after 2.0 s"),
        ("hello", "scope: was told to stop, but does not say that it has after 2.0 s"),
    ],
)
def test_a_state_that_never_changes_is_an_error(always: str, words: str) -> None:
    """Neither a stopped scope that does not run nor a running one that does not stop is believed."""
    bench = table()
    bench.scope.stopped = always == "STOP"
    bench.far.replies[":TRIG:STAT?"] = always
    with pytest.raises(NoReplyError, match=words):
        bench.scope.arm(ONE)


def test_breaking_off_a_capture_leaves_the_next_one_whole(bench: Table) -> None:
    """What waits may raise; the next capture stops the one under way first."""

    def stop(seconds: float) -> None:
        raise KeyboardInterrupt

    bench.far.after_single = ["WAIT"]
    with pytest.raises(KeyboardInterrupt):
        bench.scope.capture(ONE, stop, 1.0)
    bench.far.after_single = ["WAIT", "STOP"]
    assert bench.capture().triggered
    assert bench.far.heard.count(":STOP") >= 3


def test_nothing_can_be_fetched_that_was_not_armed(bench: Table) -> None:
    """Nor forced, nor waited for, nor fetched twice."""
    for action in (bench.scope.ready, bench.scope.force, bench.scope.fetch):
        with pytest.raises(BenchError, match="scope: no acquisition is armed"):
            action()
    bench.capture()
    with pytest.raises(BenchError, match="scope: no acquisition is armed"):
        bench.scope.fetch()


def test_after_an_error_the_acquisition_is_gone(bench: Table) -> None:
    """A capture that failed half-way cannot be fetched."""
    bench.scope.arm(ONE)
    bench.far.replies[":TRIG:STAT?"] = ""
    bench.far.replies[":SYST:ERR?"] = "?"
    with pytest.raises(LinkError):
        bench.scope.force()
    with pytest.raises(BenchError, match="no acquisition is armed"):
        bench.scope.fetch()


def test_a_probe_told_as_a_gain_is_the_inverse() -> None:
    """Some dialects want 0.1 for a probe that divides by ten."""
    driver = read(dict(list_drivers())["o-1b"], Driver)
    assert driver.samples is not None
    gain = driver.model_copy(update={"samples": driver.samples.model_copy(update={"probe": "gain"})})
    bench = table(gain)
    assert bench.capture().reason is None
    assert ":CHAN1:PROB 0.1" in bench.far.heard


def test_a_downward_offset_is_the_middle_of_the_screen() -> None:
    """Where a positive offset moves the trace down, the volts in the middle are sent as they are."""
    driver = read(dict(list_drivers())["o-1b"], Driver)
    assert driver.samples is not None
    down = driver.samples.model_copy(update={"positive_offset": "down", "origin": "volts"})
    bench = table(driver.model_copy(update={"samples": down}))
    bench.far.replies[":WAV:PRE?"] = "0,0,1000,1,1.2E-4,0,0,0.04,2.5,128"
    capture = bench.capture()
    assert ":CHAN1:OFFS 2.50000" in bench.far.heard
    assert capture.traces[1].volts(128) == pytest.approx(2.5)


def test_the_accuracy_follows_the_scale_that_stands(bench: Table) -> None:
    """A scale that was not taken makes the volts as coarse as it is."""
    before = {part.name: part.value for part in bench.scope.volts_components(LOGIC)}
    assert before["resolution"] == pytest.approx(0.04)  # computed: 1 V a division in 25 codes
    bench.far.replies[":CHAN1:SCAL?"] = "2"
    bench.far.replies[":WAV:PRE?"] = "0,2,1000,1,1.2E-4,0,0,0.08,-31.25,127"
    assert bench.capture().reason == "the scale of channel 1 stays at 2.000 V although 1.000 V was sent"
    assert {part.name: part.value for part in bench.scope.volts_components(LOGIC)}["resolution"] == pytest.approx(0.08)
    assert bench.scope.time_components(1e6).contribution == pytest.approx(14.43, abs=5e-3)  # computed: 25 ppm / √3


def test_a_driver_of_another_kind_is_refused() -> None:
    """A meter cannot be used as a scope."""
    clock = SimulatedClock()
    driver = read(dict(list_drivers())["m-1"], Driver)
    with pytest.raises(BenchError, match="scope: the driver 'm-1' is not one of an oscilloscope"):
        Scope(Dialect(driver, Link(FarEnd(clock), "scope", clock)))
