"""Whether the rates and ratios of a board file can be at all, seen from its clocks. Pure arithmetic on the file."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from autobench.documents.clocks import Clock, nominal_of
from autobench.documents.lines import Line, Ratio, each_line
from autobench.documents.nets import spread
from autobench.documents.part_kinds import CPU_NETS
from autobench.documents.parts import Part
from autobench.documents.section import Complaint
from autobench.quantity import Span, show

# Clock cycles of the shortest instruction fetch (data sheets of the classes, from memory).
FETCH_CYCLES = {"R": 4, "S": 2}


def rate_complaints(
    rows: Mapping[str, Line], ratios: tuple[Ratio, ...], clocks: Mapping[str, Clock], parts: Mapping[str, Part]
) -> Iterator[Complaint]:
    """Lines that pulse faster than the clock they come from, and ratios that their lines' rates rule out."""
    fastest = max((nominal_of(clocks, name) for name in clocks), default=math.inf)
    limits = cpu_limits(clocks, parts)
    for key, row in rows.items():
        if row.rate is None or row.rate.low is None:
            continue
        for name in spread(key):
            most, words = limits.get(name, (fastest, "no line is faster than the fastest clock"))
            if row.rate.low > most:
                yield Complaint(("lines", key, "rate"), f"{row.rate} cannot be: {words}, {show(most, 'Hz')}")
                break
    yield from ratio_complaints(each_line(rows), ratios)


def cpu_limits(clocks: Mapping[str, Clock], parts: Mapping[str, Part]) -> dict[str, tuple[float, str]]:
    """Net of the CPU to the most pulses a second it can make, Hz, and why."""
    found: dict[str, tuple[float, str]] = {}
    for part in parts.values():
        nets = CPU_NETS.get(part.cpu_class or "")
        if part.kind != "cpu" or part.clock is None or part.clock not in clocks or nets is None:
            continue
        clock = nominal_of(clocks, part.clock)
        told = f"a CPU makes no line faster than its clock {part.clock}"
        found |= dict.fromkeys((*nets.outputs, *nets.addresses), (clock, told))
        cycles = FETCH_CYCLES.get(part.cpu_class or "", 1)
        found[nets.fetch] = (clock / cycles, f"a fetch takes at least {cycles} cycles of {part.clock}")
    return found


def ratio_complaints(lines: Mapping[str, Line], ratios: tuple[Ratio, ...]) -> Iterator[Complaint]:
    """A ratio whose limits lie outside all that the two lines' rates leave."""
    for number, ratio in enumerate(ratios):
        of, to = lines.get(ratio.of), lines.get(ratio.to)
        if of is None or to is None or of.rate is None or to.rate is None:
            continue
        low = (of.rate.low or 0.0) / (to.rate.high or math.inf)
        high = (of.rate.high or math.inf) / to.rate.low if to.rate.low else math.inf
        if (ratio.limits.high or math.inf) < low or (ratio.limits.low or 0.0) > high:
            left = Span(low, None if math.isinf(high) else high, "")
            text = f"{ratio.limits} cannot be: the rates of {ratio.of} and {ratio.to} leave {left}"
            yield Complaint(("ratios", number, "is"), text)
