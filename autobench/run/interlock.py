"""The interlock of one output: every output command passes this table or is refused. It talks to no instrument.

Rules, in the order they bite:

* Nothing is believed off until a measurement showed it; a new run begins in `unknown`.
* No ON before the ohms gate passed. Under 1 ohm a refused gate has no way on.
* From 1 to 5 ohm a person may override it with a reason, once for each injection: at most 0.5 V and 0.5 A, to look for
  the short by the volts along the rail. It leads to no other ON.
* The only ON before the polarity is settled is the probe: at most 0.3 V and 50 mA, below any junction.
* The full ON comes only from `armed`: volts, current limit and over-voltage trip set *and* read back, after the
  polarity was measured right.
* After hands were on the board its ohms are looked at again; a short that came with them has no way on.
* A supply tested by itself never comes to power a board in the same run.
* A supply worked by hand is set, read back and its polarity measured at its plug while that is off the board.
* OFF is allowed from every state. It is followed by a proof; what could not be proved off is an `alarm`.
* After a trip there is no second ON in the same run.
* No value ever goes beyond the envelope.

`ALLOWED` is the whole table: (state, event) -> next state. What is not in it is refused.
"""

from __future__ import annotations

import math

from autobench.errors import InterlockRefusedError
from autobench.plan.steps import Envelope
from autobench.quantity import show

PROBE_VOLTS = 0.3  # below a silicon junction: no part of the board can conduct backwards at this voltage
PROBE_AMPS = 0.05
PROBE = (PROBE_VOLTS, PROBE_AMPS)
INJECTION = (0.5, 0.5)  # V, A; common practice for following a short: hardly more than a junction, and little heat

# States in which the output may be live.
LIVE = frozenset(
    {"unknown", "apart", "alone", "probing", "probed right", "probed wrong", "injecting", "on", "tripped", "alarm"}
)

ALLOWED: dict[tuple[str, str], str] = {
    # the beginning, and the way back after something went wrong
    ("unknown", "off"): "ending",
    ("ending", "proved off"): "off",
    ("ending", "not off"): "alarm",
    ("alarm", "off"): "ending",
    # ohms, with the power off
    ("off", "ohms passed"): "checked",
    ("off", "ohms refused"): "refused",
    ("checked", "ohms passed"): "checked",
    ("checked", "ohms refused"): "refused",
    ("off", "ohms low"): "near-short",
    ("checked", "ohms low"): "near-short",
    # a near-short, followed at a very low voltage by a person who said why
    ("near-short", "overridden"): "overridden",
    ("overridden", "set lowest"): "injection armed",
    ("injection armed", "on"): "injecting",
    ("injecting", "trip"): "tripped",
    ("injecting", "off"): "ending near-short",
    ("ending near-short", "proved off"): "near-short",
    ("ending near-short", "not off"): "alarm",
    # the probe for the polarity
    ("checked", "set low"): "probe armed",
    ("probe armed", "set low"): "probe armed",
    ("probe armed", "on"): "probing",
    ("probing", "polarity right"): "probed right",
    ("probing", "polarity wrong"): "probed wrong",
    ("probed right", "off"): "ending right",
    ("ending right", "proved off"): "settled",
    ("ending right", "not off"): "alarm",
    ("probed wrong", "off"): "ending wrong",
    ("ending wrong", "proved off"): "reversed",
    ("ending wrong", "not off"): "alarm",
    # a supply worked by hand: its plug is measured while it is off the board
    ("checked", "taken apart"): "apart",
    ("apart", "polarity right"): "probed right",
    ("apart", "polarity wrong"): "probed wrong",
    ("apart", "off"): "ending checked",
    # a supply worked by hand that is tested by itself: no board is there, so there is no way from here to power
    ("unknown", "stands alone"): "alone",
    ("alone", "off"): "ending",
    # its ohms once more, after hands were on the board
    ("settled", "ohms passed"): "settled",
    ("settled", "ohms refused"): "refused",
    # full power
    ("settled", "set"): "armed",
    ("armed", "set"): "armed",
    ("armed", "on"): "on",
    ("on", "set"): "on",
    ("on", "trip"): "tripped",
    ("probing", "trip"): "tripped",
    ("tripped", "off"): "ending tripped",
    ("ending tripped", "proved off"): "stopped",
    ("ending tripped", "not off"): "alarm",
    ("on", "off"): "ending on",
    ("ending on", "proved off"): "settled",
    ("ending on", "not off"): "alarm",
    # OFF is always allowed
    ("off", "off"): "ending",
    ("checked", "off"): "ending checked",
    ("probe armed", "off"): "ending checked",
    ("probing", "off"): "ending checked",
    ("ending checked", "proved off"): "checked",
    ("ending checked", "not off"): "alarm",
    ("settled", "off"): "ending on",
    ("armed", "off"): "ending on",
    ("refused", "off"): "ending refused",
    ("ending refused", "proved off"): "refused",
    ("ending refused", "not off"): "alarm",
    ("near-short", "off"): "ending near-short",
    ("overridden", "off"): "ending near-short",
    ("injection armed", "off"): "ending near-short",
    ("ending near-short", "off"): "ending near-short",
    ("reversed", "off"): "ending wrong",
    ("stopped", "off"): "ending tripped",
    ("ending", "off"): "ending",
    ("ending on", "off"): "ending on",
    ("ending checked", "off"): "ending checked",
    ("ending right", "off"): "ending right",
    ("ending wrong", "off"): "ending wrong",
    ("ending tripped", "off"): "ending tripped",
    ("ending refused", "off"): "ending refused",
}

# States that a measurement of OFF led to, with no ON since.
PROVED_OFF = frozenset({"off", "checked", "settled", "reversed", "refused", "near-short", "stopped"})

# Why a refusal happened, in words for the person at the bench; by the state the output is in.
REFUSALS: dict[str, str] = {
    "unknown": "it has not been proved off yet",
    "off": "the ohms of the rail have not been checked",
    "refused": "the ohms of the rail refused it: power would only feed the short",
    "near-short": "the ohms of the rail refused it: a near-short is only followed at 0.5 V at most, with a reason",
    "overridden": "a near-short is only followed at 0.5 V at most",
    "injection armed": "a near-short is only followed at 0.5 V at most",
    "checked": "the polarity at the board's inlet has not been measured",
    "probe armed": "the polarity at the board's inlet has not been measured",
    "settled": "volts, current limit and over-voltage trip have not been set and read back",
    "reversed": "the leads are the wrong way round",
    "stopped": "it tripped in this run",
    "alarm": "it could not be proved off",
}


# What was asked for, in the same words.
ASKED: dict[str, str] = {
    "set low": "the polarity probe",
    "overridden": "an injection",
    "set lowest": "an injection",
    "taken apart": "the check of the plug",
    "set": "power",
    "on": "power",
}


class Interlock:
    """State of one output against the table."""

    def __init__(self, rail: str, envelope: Envelope) -> None:
        self.rail = rail
        self.envelope = envelope
        self.state = "unknown"

    @property
    def live(self) -> bool:
        """Whether the output may carry volts now."""
        return self.state in LIVE or self.state.startswith("ending")

    @property
    def proved_off(self) -> bool:
        """Whether OFF was proved, and nothing was switched on since."""
        return self.state in PROVED_OFF

    def allows(self, event: str) -> bool:
        """Whether the table knows `event` in the present state."""
        return (self.state, event) in ALLOWED

    def require(self, event: str) -> None:
        """Raise `InterlockRefusedError`, in words, unless `event` is allowed now. Changes nothing."""
        if not self.allows(event):
            why = REFUSALS.get(self.state, f"the output is in state '{self.state}'")
            raise InterlockRefusedError(f"{self.rail}: {ASKED.get(event, event)} refused: {why}")

    def happened(self, event: str) -> str:
        """Move by `event`; returns the new state. Raises `InterlockRefusedError` if the table does not allow it."""
        self.require(event)
        self.state = ALLOWED[(self.state, event)]
        return self.state

    def require_inside(self, volts: float, amps: float, trip: float, low: tuple[float, float] | None = None) -> None:
        """Raise `InterlockRefusedError` unless volts, current limit and trip stay inside the envelope (magnitudes).

        `low` are volts and amps that must not be passed either: `PROBE` or `INJECTION`.
        """
        volts_low, amps_low = low if low is not None else (math.inf, math.inf)
        most = self.envelope
        for what, value, top, unit in (
            ("volts", volts, min(most.volts, volts_low), "V"),
            ("current limit", amps, min(most.amps, amps_low), "A"),
            ("over-voltage trip", trip, most.trip, "V"),
        ):
            if not math.isfinite(value) or abs(value) > top * (1 + 1e-9):
                raise InterlockRefusedError(
                    f"{self.rail}: {what} {show(value, unit)} refused: the most allowed here is {show(top, unit)}"
                )
