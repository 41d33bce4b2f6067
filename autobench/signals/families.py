"""Logic families: the levels their data sheets guarantee. Data only; it looks at no trace.

Levels of whole families, not of one part; a board file that knows better says so.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from autobench.errors import UsageError

# What an 8-bit scope at 1 V a division may put on top of a low (its offset and noise; common practice).
SCOPE_ERROR = 0.15


@dataclass(frozen=True)
class Family:
    """Guaranteed levels in volts at the stated supply.

    `low_in` is the highest input taken as low (V_IL max), `high_in` the lowest taken as high (V_IH min), `low_out` and
    `high_out` what outputs keep to (V_OL max, V_OH min). `slowest` is the longest input transition in seconds (10 % to
    90 %) before a part may see several edges. `open_low` and `open_high` bound where an input that nothing drives
    settles by itself; `None` where it settles nowhere.
    """

    name: str
    low_in: float
    high_in: float
    low_out: float
    high_out: float
    slowest: float
    open_low: float | None = None
    open_high: float | None = None

    @property
    def raised_from(self) -> float:
        """From here on a low is higher than any output of the family drives it alone, seen with a scope."""
        return self.low_out + SCOPE_ERROR

    @property
    def high_margin(self) -> float:
        """High noise margin within the family."""
        return self.high_out - self.high_in

    @property
    def low_margin(self) -> float:
        """Low noise margin within the family."""
        return self.low_in - self.low_out


# 74 and 74LS data sheets at 4.75 to 5.25 V; 74HCT at 4.5 to 5.5 V, 4 mA loads for NMOS-style parts of 1.6 mA. An open
# bipolar input rises to about 1.4 V and acts as a high (common practice); NMOS and CMOS inputs drift anywhere.
FIXED: Mapping[str, Family] = {
    "TTL": Family("TTL", 0.8, 2.0, 0.4, 2.4, 1e-6, 1.1, 1.8),
    "LS": Family("LS", 0.8, 2.0, 0.5, 2.7, 1e-6, 1.1, 1.8),
    "NMOS": Family("NMOS", 0.8, 2.0, 0.45, 2.4, 1e-6),
    "HCT": Family("HCT", 0.8, 2.0, 0.1, 4.4, 500e-9),
}
# 74HC switches at 0.3 and 0.7 of its supply and comes within 0.1 V of the rails unloaded; CD4000B likewise, 0.05 V.
PROPORTIONAL: Mapping[str, tuple[float, float]] = {"HC": (0.1, 500e-9), "CMOS": (0.05, 15e-6)}
NAMES = (*FIXED, *PROPORTIONAL)


def family(name: str, supply: float = 5.0) -> Family:
    """The family called `name` at `supply` volts. Raises `UsageError` for an unknown name."""
    if name in FIXED:
        known = FIXED[name]
        if name == "HCT":
            return Family(name, known.low_in, known.high_in, known.low_out, supply - 0.1, known.slowest)
        return known
    if name in PROPORTIONAL:
        short, slowest = PROPORTIONAL[name]
        return Family(name, 0.3 * supply, 0.7 * supply, short, supply - short, slowest)
    raise UsageError(f"'{name}' is not a logic family known here; allowed are {', '.join(NAMES)}")


def margins(driver: Family, receiver: Family) -> tuple[float, float]:
    """High and low noise margin in volts from one family's output to another's input; negative: not guaranteed."""
    return driver.high_out - receiver.high_in, receiver.low_in - driver.low_out
