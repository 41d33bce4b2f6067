"""A current limit tried: set below what a live output's load draws, so that the supply must limit, and set back.

Only where nothing but a known resistor is on the leads. The watch goes on meanwhile; sagging is what is wanted. Whether
it limited, and at what, is for whoever tries it to see.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from autobench.run.power import Power

COMES = 0.6  # s for the volts to fall or rise, the reading to follow and the limiting flag to come


@contextlib.contextmanager
def tried_limit(power: Power, rail: str, amps: float) -> Iterator[None]:
    """The output of `rail` limits at `amps` inside, where it must be on.

    Raises as setting and the watch do. What was set before comes back, unless everything went off inside.
    """
    output = power.outputs[rail]
    before = output.set_amps
    output.held_low = True
    try:
        power.set_limit(output, amps)
        power.wait(COMES)
        yield
    finally:
        if output.interlock.state == "on":
            power.set_limit(output, before)
            power.wait(COMES)
        output.looks.clear()
        output.held_low = False
