"""The report's words: what the owner calls a stage, a part or a verdict. Texts only; it looks at no reading.

Page one has no jargon. Whoever adds a stage, a kind of part or a verdict says here what it is called there.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime

from autobench.diagnosis.catalogue import catalogue
from autobench.diagnosis.result import Suspect
from autobench.documents.board import Board
from autobench.documents.part_kinds import PartKind
from autobench.views.wording import chance_words

# In the order of a round; the stages that share a line on page one share its words.
OWNER_STAGES: Mapping[str, str] = {
    "ohms": "Short circuits, looked for before power",
    "power": "Current the board draws",
    "rails": "Supply voltages on the board",
    "clocks": "Clock (the board's pulse)",
    "reset": "Start signal after switching on",
    "video": "Picture signal",
    "cpu": "Processor",
    "bus": "Program, memory and data lines",
    "memory": "Program, memory and data lines",
}
STAGES: Mapping[str, str] = {
    "ohms": "Resistance before power",
    "power": "Power-on and current",
    "rails": "Supply rails",
    "clocks": "Clocks",
    "reset": "Reset",
    "video": "Video",
    "cpu": "CPU",
    "bus": "Bus",
    "memory": "Memory",
}
PARTS: Mapping[PartKind, str] = {
    "connector": "a connector",
    "switch": "the switch",
    "bulk capacitor": "a large capacitor",
    "decoupler": "a small capacitor",
    "crystal": "the crystal",
    "oscillator": "the oscillator chip",
    "divider": "the clock divider chip",
    "gate array": "a custom chip",
    "reset timer": "the start-up timer",
    "reset supervisor": "the start-up chip",
    "cpu": "the processor",
    "rom": "the program memory chip",
    "ram": "a memory chip",
    "decoder": "the address decoder chip",
    "data buffer": "a data buffer chip",
    "address multiplexer": "an address chip",
    "gates": "a logic chip",
    "video": "the video chip",
    "video controller": "the video chip",
    "video output": "the video output stage",
    "shifter": "the picture shift register",
    "port": "a port chip",
    "bridge": "the rectifier",
    "regulator": "the voltage regulator",
    "converter": "the voltage converter",
    "reservoir": "a large capacitor",
    "sound stage": "the sound output stage",
    "colour crystal": "the colour crystal",
    "colour encoder": "the colour chip",
}
HEADLINES: Mapping[str, str] = {
    "good": "No fault was found.",
    "faulty": "The board has a fault.",
    "undecided": "It cannot be said yet whether the board is good.",
    "stopped": "The check was stopped before it was finished.",
}
EXPLAINED: Mapping[str, str] = {
    "good": "Everything that had to be measured was measured, and all of it is as it should be.",
    "faulty": "At least one measurement shows something that a healthy board of this type does not do.",
    "undecided": "Nothing was found to be wrong, but something that matters could not be measured well enough.",
    "stopped": "What was measured until then is listed below; the board as a whole has not been judged.",
}
STOPPED = "The bench or the person at it ended the check, not the board. The reason is on the technician's page."
ADVICE: Mapping[str, tuple[str, ...]] = {
    "good": (
        "Use the board only with a power supply that has been checked itself: a supply that gives too much voltage "
        "destroys chips at once, and is a common cause of faults like these.",
        "Parts of this age go on ageing. What was in order at the time of the check may fail later; bring this report "
        "along if it does.",
    ),
    "faulty": (
        "Do not switch the board on until it has been repaired: some faults damage good parts.",
        "After the repair the same check is done again. The next report sets its results beside these.",
    ),
    "undecided": ("What is not certain is looked at again before the board is used or handed back.",),
    "stopped": (
        "The check has to be done again from its beginning. That it was stopped says nothing against the board.",
    ),
}
# What the owner reads of a fault that is named by its connection; {net} is the connection's own name.
OWNER_FAULTS: Mapping[str, str] = {
    "decoupler-short": "a capacitor that short-circuits the {net} supply",
    "chip-supply-short": "a chip that short-circuits the {net} supply",
    "wait-held": "whatever holds the connection called {net}",
    "bus-request-held": "whatever holds the connection called {net}",
    "interrupt-stuck": "whatever holds the connection called {net}",
    "data-line-short": "a short circuit at the connection called {net}",
    "lines-bridged": "two connections that touch, at the one called {net}",
    "track-open": "a break in the connection called {net}",
}
LIMITS_OF_THE_REPORT = (
    "It covers what is listed here, at the time of the check, and nothing else. Keyboard, sound, sockets for other "
    "equipment and long running were not tried unless they are listed.",
    "It names causes by how well they explain the measurements. That is a probability, not a certainty, until the "
    "repair has been proved by the same check.",
    "It is not a certificate of electrical safety. Mains parts, power supply units and displays were not examined.",
)
CAUTIONS = (
    "Low-voltage work only. Everything at mains voltage and every picture tube stays closed and unplugged.",
    "Switch off and wait until every rail is below 0.5 V before a chip is lifted, swapped or seated.",
    "Use an earthed wrist strap on a board without power, and take it off near mains voltage or a picture tube.",
    "After any soldering, look for shorts again before power is put on.",
)
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip


def day_in_words(day: date) -> str:
    """`2 March 2026`."""
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def moment_in_words(written: str) -> str:
    """An ISO 8601 moment as people write it; the text itself where it is none."""
    try:
        moment = datetime.fromisoformat(written)
    except ValueError:
        return written
    zone = f" {moment.tzname()}" if moment.tzinfo is not None else ""
    return f"{day_in_words(moment.date())}, {moment:%H:%M}{zone}"


def part_in_words(part: str, board: Board | None) -> str:
    """`the processor (U1)`, or the part's own name where nobody says what it is."""
    known = board.parts.get(part) if board is not None else None
    return f"part {part}" if known is None else f"{PARTS[known.kind]} ({part})"


def suspect_in_words(suspect: Suspect, board: Board | None) -> str:
    """A suspect as the owner reads it: the part, or what is wrong at the connection."""
    if suspect.part is not None:
        return part_in_words(suspect.part, board)
    if suspect.net is not None:
        return OWNER_FAULTS.get(suspect.fault, "the connection called {net}").replace("{net}", suspect.net)
    return "something that the measurements do not explain"


def likely_cause(suspect: Suspect, board: Board | None) -> str:
    """The sentence that names the likeliest cause to the owner."""
    chance = chance_words(suspect.probability)
    return f"The most likely cause is {suspect_in_words(suspect, board)}: {chance} by the measurements."


def member_in_words(member: str, board: Board | None) -> str:
    """A place of a group that is not told apart: a part, a net, or a part with its net."""
    first, _, net = member.partition(" ")
    if board is not None and first in board.parts:
        return part_in_words(first, board) + (f" at its connection {net}" if net else "")
    return f"the connection called {member}"


def fault_in_words(fault: str) -> str:
    """What is broken, in a sentence without a full stop; the fault's own name with spaces where nobody knows it."""
    known = catalogue().get(fault)
    return known.broken if known is not None else fault.replace("-", " ")


def short_name(path: str) -> str:
    """A file by its own name and its folder's: the rest is the bench's own business."""
    return "/".join([part for part in re.split(r"[/\\]", path) if part][-2:])
