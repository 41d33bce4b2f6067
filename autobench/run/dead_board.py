"""A board that is proved off: the proof itself, and ohms of its rails and between its lines.

It leaves readings with the runner, puts nobody's hands on the board and draws no conclusion.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from autobench.diagnosis.result import NextCheck
from autobench.errors import InterlockRefusedError
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.plan.extra_looks import ExtraLooks
from autobench.plan.steps import Plan, RailJob
from autobench.plan.target import Target
from autobench.quantity import show
from autobench.run.actions import Bench
from autobench.run.contact import OHMS_BELOW, NoContactError
from autobench.run.off_proof import PROVED_OFF
from autobench.run.runner import Runner

DISCHARGE = 30.0  # s a rail is given to fall
MADE_OHMS = 20.0  # ohm; below it a rail made on the board is shorted or nearly so
LINE_OHMS = 100e3  # ohm; two inputs in series, or two pull-ups, are less
FINE_BELOW = 1e3  # ohm
BRIDGED = 50.0  # ohm; a bridge has about one, two lines of a bus thousands (common practice)


class DeadBoard:
    """One board at one bench with every output off."""

    def __init__(self, plan: Plan, bench: Bench, runner: Runner, looks: ExtraLooks) -> None:
        self._plan = plan
        self._bench = bench
        self._runner = runner
        self._looks = looks

    def prove(self) -> None:
        """Every output off and proved, and every rail of the board below half a volt where the meter gets to it.

        Raises `InterlockRefusedError` for a rail that does not fall, `OutputNotOffError` for an output that is not off.
        """
        if self._bench.captures is not None:
            self._bench.captures.forget()
        self._bench.power.make_off()
        rails = {job.rail: job.target for job in self._places()}
        for rail, target in rails.items():
            if target.by_hand and rail in self._plan.rails:
                continue  # proved at its own output, and no tip that slipped proves anything against that
            left = self._left(partial(self._volts, target), lambda volts: volts < PROVED_OFF)
            if left is not None:
                raise InterlockRefusedError(f"{rail} is not proved off ({left}): hands off the board")

    def _left(self, volts: Callable[[], float | None], fallen: Callable[[float], bool]) -> str | None:
        """Wait for `volts` to have `fallen`; None once they have, else in words what was left in the end."""
        until = self._bench.clock.now() + DISCHARGE
        while (seen := volts()) is None or not fallen(abs(seen)):
            if self._bench.clock.now() > until:
                return "nothing could be measured" if seen is None else show(seen, "V")
            self._bench.power.wait(0.2)
        return None

    def _volts(self, target: Target) -> float | None:
        """Volts left at a place of a rail."""
        if target.by_hand and self._bench.hand is not None and not self._bench.hand.holds(target):
            self._bench.touch.hold(target)
        return self._bench.touch.glance(target)

    def rail_ohms(self, check: NextCheck) -> None:
        """Ohms of a rail the board makes itself, with every rail proved off. Low is a short or a part that loads it."""
        target = next(job.target for job in self._places() if job.rail == check.net and job.target.point == check.point)
        self.prove()
        seen = self._bench.touch.ohms(target, MADE_OHMS)
        ohms = seen.beyond if seen.estimate is None else seen.estimate.value
        if ohms is None:
            return
        low = ohms < MADE_OHMS
        limits = f"{show(MADE_OHMS, 'ohm')}, common practice for a rail that is made on the board"
        words = f"{show(ohms, 'ohm')} to ground with the power off"
        reading = Reading(
            step=f"ohms {check.net}", stage="ohms", net=check.net, point=check.point, quantity="resistance",
            value=ohms, unit="ohm", uncertainty=None, low=MADE_OHMS, high=None, limit_from=limits,
            verdict=Verdict.OUTSIDE if low else Verdict.WITHIN, reason=words, required=False,
        )  # fmt: skip
        self._runner.keep(reading)

    def between(self, check: NextCheck) -> None:
        """Ohms from line to line, with every rail proved off: far more than a bridge has, or hardly any."""
        self.prove()
        for (net, point), (other, against) in zip(check.legs[::2], check.legs[1::2], strict=True):
            target = self._looks.between(net, point, against)
            if self._bench.hand is not None:
                self._bench.hand.learn(self._looks.spot(point))
            ohms = self._line_ohms(target)
            joined = ohms < BRIDGED
            seen = f"{show(ohms, 'ohm', 3)} from {net} at {point} to {other} at {against} with the power off"
            self._runner.keep(
                Reading(
                    step=f"ohms {net} to {other}", stage="bus", net=net, point=point, quantity="between", value=ohms,
                    unit="ohm", uncertainty=None, low=BRIDGED, high=None,
                    limit_from=f"{show(BRIDGED, 'ohm')}, common practice for two lines of a bus",
                    verdict=Verdict.OUTSIDE if joined else Verdict.WITHIN, state="joined" if joined else "apart",
                    reason=f"{seen}: they touch" if joined else f"{seen}: they do not touch", required=False,
                )
            )  # fmt: skip

    def _line_ohms(self, target: Target) -> float:
        """Ohms between two lines, at least; on a range that shows a healthy pair, then finer where there is little."""
        if not target.by_hand:
            self._discharged(target)
        seen = self._bench.touch.ohms(target, LINE_OHMS)
        if seen.estimate is not None and seen.estimate.value < FINE_BELOW:
            seen = self._bench.touch.ohms(target, BRIDGED)
        ohms = seen.beyond if seen.estimate is None else seen.estimate.value
        if ohms is None:
            raise NoContactError(seen.reason or "the meter showed nothing")
        return ohms

    def _discharged(self, target: Target) -> None:
        """No charge left that ohms would be measured of; whoever holds tips waits for that anyway."""
        left = self._left(partial(self._bench.touch.glance, target), lambda volts: volts <= OHMS_BELOW)
        if left is not None:
            raise NoContactError(f"{target.point} to {target.against} keeps a charge ({left})")

    def _places(self) -> list[RailJob]:
        """Where rails are measured in this round."""
        return [step.job for step in self._plan.steps if isinstance(step.job, RailJob)]
