"""How readings, outputs, suspects and times are said: the words that all views share. Knows no screen and no colour."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import TypeVar

from autobench.diagnosis.result import Diagnosis, Suspect
from autobench.events import (
    CheckChosen,
    Investigated,
    PowerChanged,
    Prompted,
    PromptEnded,
    RunStarted,
    TouchPlace,
    Watched,
)
from autobench.judgement.reading import Reading
from autobench.judgement.verdict import Verdict
from autobench.quantity import show
from autobench.views.run_state import RunState

Value = TypeVar("Value")

MOST_SHOWN = 3
# Quantities that the step's own name says already.
PLAIN_QUANTITIES = ("voltage", "current", "resistance", "ripple", "rate", "answer", "driven")
LINE_LEVELS = ("low level", "stay")
SHOWN_STATES = {"probing": "on for the polarity probe", "on": "ON", "tripped": "TRIPPED", "alarm": "NOT PROVED OFF"}
# States in which an output may carry volts, and the word for it; "ending …" are added by `live_word`.
LIVE_WORDS = {
    "probing": "LIVE for the polarity probe",
    "probed right": "LIVE for the polarity probe",
    "probed wrong": "LIVE for the polarity probe",
    "on": "LIVE",
    "tripped": "TRIPPED",
    "alarm": "NOT PROVED OFF",
}
# One sign a verdict, told apart by shape alone.
MARKS = {
    Verdict.WITHIN: "✓",
    Verdict.UNUSUAL: "~",
    Verdict.MARGINAL: "?",
    Verdict.OUTSIDE: "✗",
    Verdict.VOID: "∅",
    Verdict.SKIPPED: "–",
}
# What a person presses for each key that may count; others are shown as they are written.
KEY_CAPS = {
    "enter": "Enter",
    "again": "r",
    "back": "b",
    "skip": "s",
    "off": "o",
    "yes": "y",
    "no": "n",
    "erase": "Backspace",
}
TIP_KINDS = ("touch", "clip")  # prompts for a tip at a point
TYPED_KINDS = ("number", "reason")  # prompts whose answer is typed: there the letter o is only a letter
ENDINGS = {
    "again": "once more",
    "back": "back to the one before",
    "skipped": "skipped",
    "answered": "answered",
    "refused": "refused",
    "off": "SWITCHING OFF",
}
PROBE = re.compile(r".+ [1-9]")  # a scope's channel; any other tip is a meter's
NARROW = 0.011  # of the centre: limits closer than this are said as centre and tolerance
FINE = 0.00099  # … and closer than this in ppm


def harmless(value: Value) -> Value:
    """`value` with every text in it free of control characters: they are written out, never sent to a screen.

    Goes through dataclasses, dictionaries, lists and tuples. Line ends and tabs become spaces; whatever else cannot be
    printed (escapes, direction marks, halves of surrogate pairs) is spelt as `\\x1b` or `\\u202e`.
    """
    changed: object = value
    if isinstance(value, str) and not isinstance(value, Enum):  # words of a closed list stay what they are
        changed = value if value.isprintable() else "".join(spelt(sign) for sign in value)
    elif is_dataclass(value) and not isinstance(value, type):
        changed = replace(value, **{item.name: harmless(getattr(value, item.name)) for item in fields(value)})
    elif isinstance(value, tuple | list):
        changed = type(value)(harmless(item) for item in value)
    elif isinstance(value, Mapping):
        changed = {harmless(key): harmless(item) for key, item in value.items()}
    return changed  # type: ignore[return-value]  # each branch rebuilds the type it was given


def spelt(sign: str) -> str:
    """One character as it may be shown."""
    if sign.isprintable():
        return sign
    if sign.isspace():
        return " "
    return f"\\x{ord(sign):02x}" if ord(sign) < 0x100 else f"\\u{ord(sign):04x}"


def started_words(started: RunStarted) -> str:
    """Board, serial number, options, sequence and bench in one line."""
    chosen = ", ".join(f"{name} {choice}" for name, choice in started.options.items())
    serial = f", serial {started.serial}" if started.serial else ""
    return f"{started.board}{serial}{' with ' + chosen if chosen else ''}: {started.sequence} on {started.bench}"


def reading_name(reading: Reading) -> str:
    """Step and quantity, without saying the same word twice."""
    step, quantity = reading.step, reading.quantity
    if quantity in PLAIN_QUANTITIES or step.split(" ")[0] == quantity:
        return step
    return quantity if quantity.split(" ")[0] == step else f"{step} {quantity}"


def aside(reading: Reading) -> bool:
    """Whether a reading is worth no line of its own while a run goes on: the levels of a bus line that are as they
    should be, said of every line. The report has them."""
    own = reading.quantity in LINE_LEVELS and reading.stage in ("bus", "memory")
    return own and reading.verdict is Verdict.WITHIN and not reading.conditional


def verdict_words(reading: Reading) -> str:
    """The verdict, and whether it counts."""
    return f"{reading.verdict}{', conditional' if reading.conditional else ''}"


def value_words(reading: Reading) -> str:
    """The value as briefly as it can be said: a rate says that a line moves, a level that it does not."""
    if reading.value is None:
        return reading.state or "–"
    if reading.state is not None and reading.value == 0.0:
        return reading.state
    return replace(reading, state=None).in_words() if reading.state == "moving" else reading.in_words()


def limits_words(reading: Reading) -> str:
    """The limits, briefly: close ones as centre and tolerance, others from–to with the unit said once."""
    low, high, unit = reading.low, reading.high, reading.unit
    if low is None:
        return "" if high is None else f"at most {brief(high, unit)}"
    if high is None:
        return f"at least {brief(low, unit)}"
    centre, half = (low + high) / 2.0, (high - low) / 2.0
    if 0.0 < half < NARROW * abs(centre):
        share = half / abs(centre)
        tolerance = f"{share * 1e6:.3g} ppm" if share < FINE else f"{share * 1e2:.2g} %"
        return f"{brief(centre, unit)} ± {tolerance}"
    first, last = brief(low, unit), brief(high, unit)
    number, _, low_unit = first.rpartition(" ")
    same_unit = low_unit == last.rpartition(" ")[2] or low == 0
    return f"{number} .. {last}" if number and same_unit else f"{first} .. {last}"


def brief(value: float, unit: str) -> str:
    """A number of a file: as exact as it is, without noughts at its end."""
    number, space, written = show(value, unit).partition(" ")
    return f"{number.rstrip('0').rstrip('.') if '.' in number else number}{space}{written}"


def reading_lines(reading: Reading, said: str | None = None) -> list[str]:
    """A reading as one line, and its reason as another unless that was `said` just before."""
    point = f" [{reading.point}]" if reading.point else ""
    shown = "" if reading.value is None and reading.state is None else f"{reading.in_words()} – "
    lines = [f"  {reading_name(reading)}{point}: {shown}{verdict_words(reading)}"]
    if reading.reason and reading.reason != said:
        lines.append(f"      {reading.reason}")
    return lines


def live_word(changed: PowerChanged) -> str | None:
    """The word for an output that may carry volts; `None` once it was proved off or was never on."""
    if changed.state.startswith("ending"):
        return "GOING OFF"
    return LIVE_WORDS.get(changed.state)


def output_words(changed: PowerChanged, look: Watched | None) -> str:
    """One output that may carry volts, as the last look saw it or as it is set."""
    word, limit = live_word(changed) or "off", f"(limit {changed.amps:.2f} A)"
    if look is None or look.at < changed.at:
        return f"{word} {changed.rail} set to {changed.volts:.2f} V {limit}"
    limiting = " LIMITING" if look.limiting else ""
    return f"{word} {changed.rail} {look.volts:.2f} V {look.amps:.2f} A {limit}{limiting}"


def live_outputs(state: RunState) -> list[tuple[PowerChanged, Watched | None]]:
    """Outputs that may carry volts, each with its last look."""
    looks = dict(state.looks)
    return [(changed, looks.get(rail)) for rail, changed in state.outputs if live_word(changed) is not None]


def tip_words(place: TouchPlace) -> str:
    """Which tip goes to the point, and where its other end goes."""
    if PROBE.fullmatch(place.tip):
        return f"the probe of {place.tip}{', its ground on ' + place.against if place.against else ''}"
    return f"the meter's red tip{', black on ' + place.against if place.against else ''}"


def place_words(place: TouchPlace) -> str:
    """Part, pin, side and where on it, as far as they are known."""
    pin = place.pin if not place.pin or place.pin.startswith("pin") else f"pin {place.pin}"
    between = ", " if "," in place.part else " "
    return ", ".join(part for part in (between.join(part for part in (place.part, pin) if part), place.where) if part)


def expected_words(place: TouchPlace) -> str:
    """The net, and what should be seen on it."""
    expected = f"expected {place.expected}" if place.expected else ""
    return ", ".join(part for part in (place.net, expected) if part)


def instruction_words(prompt: Prompted) -> str:
    """What to do: where a tip is wanted, which one and where; else the prompt's own words."""
    place = prompt.place
    wanted = place is not None and prompt.kind in TIP_KINDS
    return f"{prompt.kind.upper()} {place.point} with {tip_words(place)}" if place and wanted else prompt.words


def more_words(prompt: Prompted) -> str:
    """The words of a prompt for a tip, unless they name the point and so say the same again."""
    place = prompt.place
    return "" if place is None or prompt.kind not in TIP_KINDS or place.point in prompt.words else prompt.words


def setting_words(prompt: Prompted) -> str:
    """Rail, volts and most amps that a prompt about a supply is about, as far as its words do not say them."""
    figures = (
        f"{prompt.volts:.2f} V" if prompt.volts is not None else "",
        f"at most {prompt.amps:.2f} A" if prompt.amps is not None else "",
    )
    words = " ".join(part for part in (prompt.rail or "", ", ".join(part for part in figures if part)) if part)
    return "" if words in prompt.words else words


def key_words(prompt: Prompted) -> list[str]:
    """The keys that count now, each with what it does: `Enter take`, `o off` (where an answer is typed `Esc off`)."""
    caps = {**KEY_CAPS, "off": "Esc"} if prompt.kind in TYPED_KINDS else KEY_CAPS
    return [f"{caps.get(key.lower(), key)} {does}" for key, does in prompt.keys]


def prompt_words(prompt: Prompted, state: RunState) -> str:
    """A prompt in one line: what to do, where, what is expected, what is live meanwhile, and the keys."""
    place = prompt.place
    where = "; ".join(part for part in (place_words(place), expected_words(place)) if part) if place else ""
    live = ", ".join(output_words(*output) for output in live_outputs(state))
    kind, instruction = prompt.kind.upper(), instruction_words(prompt)
    said = instruction.upper().startswith((f"{kind}:", f"{kind} "))
    what = f"{'' if said else kind + ': '}{instruction}{' – ' + where if where else ''}"
    keys = f"keys: {', '.join(key_words(prompt))}" if prompt.keys else ""
    return "; ".join(part for part in (what, more_words(prompt), setting_words(prompt), live, keys) if part)


def ended_words(prompt: Prompted | None, ended: PromptEnded) -> str:
    """How a prompt ended other than by being taken."""
    name = "" if prompt is None else prompt.place.point if prompt.place else prompt.step
    said = ": ".join(part for part in (ENDINGS.get(ended.how, ended.how), ended.words) if part)
    return f"{name} – {said}" if name else said


def time_left_words(seconds: float) -> str:
    """A time left, no finer than an estimate deserves."""
    if seconds < 1.0:
        return "nearly done"
    if seconds < 20.0:
        return f"about {math.ceil(seconds)} s left"
    if seconds < 90.0:
        return f"about {5 * math.ceil(seconds / 5.0)} s left"
    return f"about {math.ceil(seconds / 60.0)} min left"


def chance_words(probability: float) -> str:
    """A probability; never quite sure and never quite impossible."""
    percent = 100.0 * probability
    if percent > 99.0:
        return "over 99 %"
    return f"{percent:.0f} %" if percent >= 0.95 else "under 1 %"


def suspect_words(suspect: Suspect) -> str:
    """Place, how likely, and what is broken there."""
    broken, chance = broken_words(suspect), chance_words(suspect.probability)
    what = suspect.fault if broken is None else f"{broken} ({suspect.fault})"
    return f"{what}, {chance}" if suspect.place == suspect.fault else f"{suspect.place}, {chance}: {what}"


def broken_words(suspect: Suspect) -> str | None:
    """What its fault means, in the catalogue's words; `None` for one the catalogue does not have."""
    from autobench.diagnosis.catalogue import catalogue  # late: a good board needs no catalogue

    fault = catalogue().get(suspect.fault)
    return fault.broken if fault is not None else None


def reasons_for(suspect: Suspect) -> tuple[str, ...]:
    """Why, without what the suspect's own line says already."""
    broken = broken_words(suspect)
    return tuple(reason.removesuffix(f": {broken}") for reason in suspect.for_ if reason != broken)


def check_lines(event: CheckChosen) -> list[str]:
    """A check beyond the round, as it begins."""
    check = event.check
    return [f"– check {event.number}, about {check.minutes:g} min: {check.what} –", f"      {check.why}"]


def leading_words(diagnosis: Diagnosis) -> str:
    """The leading suspects with their chances, in a line."""
    return "; ".join(f"{each.place}, {chance_words(each.probability)}" for each in diagnosis.suspects[:MOST_SHOWN])


def investigated_lines(event: Investigated, diagnosis: Diagnosis) -> list[str]:
    """How the checks beyond the round ended, and who is suspected then."""
    made = f"{event.checks} check{'s' if event.checks != 1 else ''} in {event.minutes:.1f} min"
    return [f"– {made} –", *diagnosis_lines(diagnosis), event.words]


def repair_lines(diagnosis: Diagnosis) -> list[str]:
    """Which repair to try first, second and third, where more than one may cure: by chance over minutes."""
    if len(diagnosis.repairs) < 2:
        return []
    named = (
        f"{each.place} ({chance_words(each.probability)}, about {each.minutes:g} min)"
        for each in diagnosis.repairs[:MOST_SHOWN]
    )
    return [f"  repairs, the best chance for its minutes first: {', then '.join(named)}"]


def diagnosis_lines(diagnosis: Diagnosis) -> list[str]:
    """At most three suspects with why and why not, then the next check, in words a technician says aloud."""
    if not diagnosis.suspects:
        return []
    lines = ["– who may be to blame –"]
    for number, suspect in enumerate(diagnosis.suspects[:MOST_SHOWN], 1):
        lines.append(f"  {number}. {suspect_words(suspect)}")
        lines += [f"      for: {reason}" for reason in reasons_for(suspect)[:MOST_SHOWN]]
        lines += [f"      against: {reason}" for reason in suspect.against[:MOST_SHOWN]]
    if not diagnosis.told_apart and diagnosis.group:
        lines.append(f"  not told apart yet: {', '.join(diagnosis.group)}")
    if diagnosis.next_check is not None:
        check = diagnosis.next_check
        lines.append(f"  next check, about {check.minutes:g} min: {check.what}")
        lines.append(f"      {check.why}")
    return lines + repair_lines(diagnosis)
