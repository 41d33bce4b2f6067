"""A bench supply by its role: settings, read-backs, states and measurements of its outputs, whatever its dialect.

It sends what it is told to: whether an output may be switched on is the interlock's decision, whether a reading is good
the judgement's.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from autobench.documents.driver_sections import Outputs
from autobench.errors import BenchError, ReplyError
from autobench.instruments.accuracy import estimate
from autobench.instruments.decoders import Answer
from autobench.instruments.dialect import Dialect
from autobench.quantity import Estimate

UNITS = {"volts?": "V", "amps?": "A"}
NUMBERS = ("volts?", "amps?")
LOOKED_AT = (*NUMBERS, "limiting?", "tripped?")


class Supply:
    """One supply. `outputs` are the ones the bench uses (all where not given); no other output is ever touched.

    `turned` are outputs that count up and are wired the other way round, for a negative rail: their volts are negative
    for whoever asks here, and positive for the instrument.

    Every method may raise the link's errors; a method the dialect has no action for raises `BenchError`.
    """

    def __init__(self, dialect: Dialect, outputs: Sequence[int] | None = None, turned: Collection[int] = ()) -> None:
        if dialect.driver.outputs is None:
            raise BenchError(f"{dialect.name}: the driver '{dialect.driver.driver}' is not one of a supply")
        self.dialect = dialect
        self.name = dialect.name
        self.ratings: Outputs = dialect.driver.outputs
        self.outputs = tuple(outputs) if outputs is not None else self.ratings.channels
        self.turned = frozenset(turned) - frozenset(self.ratings.negative)

    @property
    def fall(self) -> float:
        """Seconds an output with nothing on it may take to fall."""
        return self.ratings.fall.value

    def look(self, output: int) -> tuple[float, float, bool, bool | None]:
        """Volts, amps, whether it limits and whether it tripped, by its own reading; None where it cannot say that.

        A reply that tells several of these is asked for once, so a slow supply can be looked at often.
        """
        told = [name for name in LOOKED_AT if name in NUMBERS or self.can(name)]
        answers = self.dialect.ask_together(told, channel=output)
        volts, amps = (self.finite(answers[name], name, output) for name in NUMBERS)
        limiting, tripped = answers.get("limiting?"), answers.get("tripped?")
        says_tripped = None if tripped is None else tripped.truth
        return self.sign(output) * volts, amps, limiting is not None and limiting.truth, says_tripped

    def can(self, action: str) -> bool:
        """Whether the dialect has the action, such as `limiting?`."""
        return self.dialect.can(action)

    def identify(self) -> str:
        """What the instrument says it is."""
        return self.dialect.identify()

    def quiet(self) -> None:
        """Outputs off first, then the error queue emptied, then every used output set to its lowest voltage.

        Without a reset: a reset leaves the current limit at its maximum on many supplies, and touches other outputs.
        """
        self.remote()
        for output in self.outputs:
            self.dialect.perform("off", channel=output)
        self.dialect.clear()
        for output in self.outputs:
            self.off(output)  # once more, now that an error can only be about this
            self.set_volts(output, max(self.ratings.volts.low or 0.0, 0.0))

    def remote(self) -> None:
        """Take command of it, where the dialect needs that."""
        if self.can("remote"):
            self.dialect.perform("remote")

    def local(self) -> None:
        """Give the front panel back, where the dialect has a command for it."""
        if self.can("local"):
            self.dialect.perform("local")

    def set_volts(self, output: int, volts: float) -> None:
        """Set the voltage, V; refused by the instrument or out of its span: an error."""
        self.dialect.perform("set volts", channel=output, value=self.sign(output) * volts, check=True)

    def set_amps(self, output: int, amps: float) -> None:
        """Set the current limit, A."""
        self.dialect.perform("set amps", channel=output, value=amps, check=True)

    def set_trip(self, output: int, volts: float) -> None:
        """Set and arm the over-voltage trip, V."""
        self.dialect.perform("set trip", channel=output, value=self.sign(output) * volts, check=True)

    def sent(self, action: str, output: int, value: float) -> float:
        """What the instrument gets for `value` by `set volts`, `set amps` or `set trip`: its steps cut off the rest."""
        sign = 1.0 if action == "set amps" else self.sign(output)
        return sign * self.dialect.sent(action, sign * value)

    def set_volts_back(self, output: int) -> float:
        """The voltage setting as the instrument holds it, V."""
        return self.sign(output) * self.number("set volts?", output)

    def set_amps_back(self, output: int) -> float:
        """The current limit as the instrument holds it, A."""
        return self.number("set amps?", output)

    def set_trip_back(self, output: int) -> float:
        """The over-voltage trip as the instrument holds it, V."""
        return self.sign(output) * self.number("set trip?", output)

    def on(self, output: int) -> None:
        """Switch the output on, and no other.

        On some supplies of a family whose outputs are selected first, ON concerns all of them: then everything goes off
        again and `BenchError` is raised, since rails cannot be put on in their order.
        """
        others = [other for other in self.outputs if other != output] if self.can("on?") else []
        before = {other: self.is_on(other) for other in others}
        self.dialect.perform("on", channel=output, check=True)
        for other, was in before.items():
            if not was and self.is_on(other):
                for each in self.outputs:
                    self.dialect.perform("off", channel=each)
                raise BenchError(
                    f"{self.name}: ON for output {output} switched output {other} on as well, so everything was "
                    "switched off again; this supply cannot put rails on one after another"
                )

    def off(self, output: int) -> None:
        """Switch the output off. That it is off shows only a measurement.

        After an exchange that failed OFF is sent at once, and again when the conversation is back in step.
        """
        for line in self.lines_off(output):
            self.dialect.link.say_ahead(line)
        self.dialect.perform("off", channel=output, check=True)

    def lines_off(self, output: int) -> tuple[str, ...]:
        """What `off` says for one output, for whoever must send it without this program."""
        return self.dialect.lines("off", channel=output)

    def is_on(self, output: int) -> bool:
        """Whether the instrument says that the output is on."""
        return self.answer("on?", output).truth

    def limiting(self, output: int) -> bool:
        """Whether the output is in current limit; the flag may lag by `ratings.current_flag_lags`."""
        return self.answer("limiting?", output).truth

    def tripped(self, output: int) -> bool:
        """Whether a protection of the output has tripped."""
        return self.answer("tripped?", output).truth

    def clear_trip(self, output: int) -> None:
        """Release a trip; the output stays off."""
        self.dialect.perform("clear trip", channel=output, check=True)

    def volts(self, output: int) -> Estimate:
        """Voltage at the output's terminals by the supply's own read-back, with its standard uncertainty."""
        return self.measured("volts?", output, self.sign(output))

    def amps(self, output: int) -> Estimate:
        """Current out of the output by the supply's own read-back, with its standard uncertainty."""
        return self.measured("amps?", output)

    def sign(self, output: int) -> float:
        """Of the instrument's own volts, as seen from the bench."""
        return -1.0 if output in self.turned else 1.0

    def measured(self, action: str, output: int, sign: float = 1.0) -> Estimate:
        """A measurement with the accuracy the driver file states for it."""
        value, trust = sign * self.number(action, output), self.dialect.action(action).trust
        if trust is None:
            raise BenchError(f"{self.name}: the driver does not say how far '{action}' can be off")
        return estimate((value,), trust, UNITS[action], how=f"{self.name}'s read-back")[0]

    def number(self, action: str, output: int) -> float:
        """A finite number the instrument answers; an overload is a `ReplyError`, since no supply reading is one."""
        return self.finite(self.answer(action, output), action, output)

    def finite(self, answer: Answer, action: str, output: int) -> float:
        """The number of an answer."""
        if not abs(answer.number) < float("inf"):
            raise ReplyError(self.name, f"answered '{action}' of output {output} with no number")
        return answer.number

    def answer(self, action: str, output: int) -> Answer:
        """The answer to a question about one output."""
        answer = self.dialect.perform(action, channel=output)
        if answer is None:
            raise BenchError(f"{self.name}: the driver's '{action}' asks nothing")
        return answer
