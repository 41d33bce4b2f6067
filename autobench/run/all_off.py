"""Every output of a bench off without a plan: the quick way out. Proved by the supplies' own readings."""

from __future__ import annotations

from collections.abc import Mapping

from autobench.clock import Clock
from autobench.errors import AutobenchError, OutputNotOffError
from autobench.instruments.supply import Supply
from autobench.run.off_proof import PROVED_OFF


def all_off(supplies: Mapping[str, Supply], clock: Clock) -> list[str]:
    """Every output of every supply off; one that fails does not keep the next from being switched off."""
    done: list[str] = []
    failed: list[str] = []
    for name, supply in supplies.items():
        for output in supply.outputs:
            try:
                supply.off(output)
                until = clock.now() + supply.fall + 2.0
                while abs(volts := supply.volts(output).value) >= PROVED_OFF and clock.now() < until:
                    clock.sleep(0.05)
                words = f"{name} output {output}: {volts:.3f} V by its own reading"
                (done if abs(volts) < PROVED_OFF else failed).append(words)
            except AutobenchError as error:
                failed.append(f"{name} output {output}: {error}")
    if failed:
        raise OutputNotOffError("NOT PROVED OFF – switch the supply off by hand now: " + "; ".join(failed))
    return [f"off, proved: {words}" for words in done]
