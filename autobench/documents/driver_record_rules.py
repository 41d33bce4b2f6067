"""Whether what a scope's driver file says of its records goes together with its actions.

Pure functions from what was read to complaints. They read no file and send nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from autobench.documents.driver_samples import Samples
from autobench.documents.driver_sections import Action
from autobench.documents.section import Complaint


def record_complaints(samples: Samples, actions: Mapping[str, Action]) -> Iterator[Complaint]:
    """Everything that does not fit."""
    yield from block_complaints(samples, actions)
    yield from moving_complaints(samples, actions)
    yield from source_complaints(actions)
    yield from scaling_complaints(samples, actions)


def block_complaints(samples: Samples, actions: Mapping[str, Action]) -> Iterator[Complaint]:
    """Without a first point a record comes in one block."""
    deepest = max(max(depths) for depths in samples.memory.values())
    if "first point" not in actions and samples.chunk < deepest:
        text = f"must hold a whole record of {deepest} points, since there is no 'first point'"
        yield Complaint(("samples", "chunk"), text)


def moving_complaints(samples: Samples, actions: Mapping[str, Action]) -> Iterator[Complaint]:
    """A trace is moved by volts, or by divisions; what is set is read back."""
    if not {"set offset", "set position"} & actions.keys():
        yield Complaint(("actions",), "a scope driver must have 'set offset' or 'set position'", at_key=True)
    for name in ("set offset", "set position"):
        if name in actions and f"{name}?" not in actions:
            yield Complaint(("actions", name), f"needs '{name}?', which reads it back", at_key=True)
    alone = "set position" in actions and "set offset" not in actions
    if alone and samples.position is None:
        text = "needs 'position': how many divisions the trace can be moved, since no offset in volts moves it"
        yield Complaint(("samples",), text, at_key=True)
    if not alone and samples.position is not None:
        yield Complaint(("samples", "position"), "counts only where no 'set offset' moves the trace", at_key=True)


def source_complaints(actions: Mapping[str, Action]) -> Iterator[Complaint]:
    """Which channel is read out must be said somewhere."""
    if "waveform source" in actions:
        return
    for name in ("preamble?", "data?"):
        if name in actions and "channel" not in actions[name].placeholders:
            text = "must name the {channel}, since there is no 'waveform source'"
            yield Complaint(("actions", name), text)


def scaling_complaints(samples: Samples, actions: Mapping[str, Action]) -> Iterator[Complaint]:
    """`origin` is about ten fields; every other way of telling what codes mean counts them from the screen's middle."""
    preamble = actions.get("preamble?")
    if preamble is not None and preamble.answer not in ("scaling", "descriptor"):
        if samples.origin is None:
            yield Complaint(("samples",), "needs 'origin': what field nine of the preamble is in", at_key=True)
        return
    if samples.origin is not None:
        yield Complaint(("samples", "origin"), "counts only with a 'preamble?' of ten fields", at_key=True)
    if not samples.signed:
        text = "needs 'signed: yes': without a preamble of ten fields, codes count from the middle of the screen"
        yield Complaint(("samples",), text, at_key=True)
