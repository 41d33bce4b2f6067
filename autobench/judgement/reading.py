"""A judged reading: what was measured where, the limits it was held to, and the verdict. It judges nothing itself."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from autobench.judgement.verdict import DEFAULT_RULE, Verdict
from autobench.quantity import show


@dataclass(frozen=True)
class Reading:
    """One reading of a run, complete enough to be judged again from the record.

    `uncertainty` is the standard uncertainty (k = 1) in `unit`; `low` and `high` are the limits (None = open end),
    `usual_low` and `usual_high` the range healthy boards are usually in; `budget` lists the parts of the uncertainty
    as (name, standard uncertainty in `unit`). `required` readings decide the board's verdict when they are void,
    skipped or marginal.
    """

    step: str
    stage: str
    net: str | None
    point: str | None
    quantity: str
    value: float | None
    unit: str
    uncertainty: float | None
    low: float | None
    high: float | None
    limit_from: str | None
    verdict: Verdict
    state: str | None = None
    conditional: bool = False
    reason: str | None = None
    required: bool = True
    usual_low: float | None = None
    usual_high: float | None = None
    rule: str = DEFAULT_RULE
    budget: tuple[tuple[str, float], ...] = field(default=())

    def with_value(self, value: float, uncertainty: float, state: str | None = None) -> Reading:
        """The same reading with a value (and state)."""
        return replace(self, value=value, uncertainty=uncertainty, state=state)

    def optional(self) -> Reading:
        """The same reading, for information: it decides nothing about the board by being void, skipped or marginal."""
        return replace(self, required=False)

    def with_verdict(self, verdict: Verdict, reason: str | None) -> Reading:
        """The same reading under another verdict."""
        return replace(self, verdict=verdict, reason=reason)

    def with_reason(self, reason: str) -> Reading:
        """The same reading with other words beside its verdict."""
        return replace(self, reason=reason)

    def in_words(self) -> str:
        """Value with its uncertainty, or the state, or a dash, as a technician reads it aloud."""
        if self.value is None:
            return self.state or "–"
        text = show(self.value, self.unit)
        if self.uncertainty is not None:
            text += f" ± {show(2 * self.uncertainty, self.unit, 2)}"
        return f"{self.state}, {text}" if self.state else text
