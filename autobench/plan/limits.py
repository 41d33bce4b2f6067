"""What a reading is held to, and where that comes from."""

from __future__ import annotations

from dataclasses import dataclass

from autobench.quantity import Span


@dataclass(frozen=True)
class Limits:
    """Limits of one reading. `source` says where they come from, `data_sheet` what the parts' makers say."""

    span: Span
    source: str
    usual: Span | None = None
    data_sheet: Span | None = None
