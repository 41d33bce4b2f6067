"""What each kind of instrument must and may be able to do: the tables a driver file is held to. Data and nothing else.

An action is named as a technician would say it; a name that ends in `?` reads something. This module knows no command
of any instrument.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Signature:
    """What one action is for, and what its lines may and must contain.

    `answers` is the shape of the answer of an action that reads (`number`, `numbers`, `truth`, `truths`, `text`,
    `error`), empty for one that sets. `value` is the unit of `{value}`, empty where there is none. `place` is the
    placeholder that says where it acts. `fields` are further placeholders. `lack` is the name a bench file accepts the
    absence by; where `only_with` names another action, its absence is no lack of its own while that one is absent too.
    """

    words: str
    required: bool = False
    answers: str = ""
    unit: str = ""
    trust: bool = False
    value: str = ""
    place: str = ""
    fields: tuple[str, ...] = ()
    lack: str = ""
    only_with: str = ""


# Decoder -> the shape of what it makes of a reply. The decoders themselves are Python, in the instruments' layer.
DECODERS: Mapping[str, str] = {
    "number": "number",
    "numbers": "numbers",
    "text": "text",
    "truth": "truth",
    "truths": "truths",
    "error": "error",
    "bit": "truth",
    "bit clear": "truth",
    "any bit": "truth",
    "word": "truth",
}
# Decoder -> the key it cannot do without.
DECODER_KEYS: Mapping[str, str] = {"bit": "bit", "bit clear": "bit", "any bit": "bits", "word": "word"}

SESSION: Mapping[str, Signature] = {
    "errors": Signature("takes the oldest error out of the instrument's error queue", answers="error"),
    "identity": Signature("asks who the instrument is", answers="text"),
    "clear": Signature("empties its error queue and status"),
}

SUPPLY: Mapping[str, Signature] = {
    "remote": Signature("lets the program command it"),
    "local": Signature("gives the front panel back"),
    "set volts": Signature("sets an output's voltage", required=True, value="V", place="channel"),
    "set amps": Signature("sets an output's current limit", required=True, value="A", place="channel"),
    "set trip": Signature("sets and arms an output's over-voltage trip", value="V", place="channel", lack="trip"),
    "set volts?": Signature(
        "reads the voltage setting back", answers="number", unit="V", place="channel", lack="volts read-back"
    ),
    "set amps?": Signature(
        "reads the current limit back", answers="number", unit="A", place="channel", lack="amps read-back"
    ),
    "set trip?": Signature(
        "reads the over-voltage trip back",
        answers="number",
        unit="V",
        place="channel",
        lack="trip read-back",
        only_with="set trip",
    ),
    "on": Signature("switches an output on", required=True, place="channel"),
    "off": Signature("switches an output off", required=True, place="channel"),
    "on?": Signature("whether an output is on", answers="truth", place="channel", lack="on read-back"),
    "volts?": Signature(
        "measures an output's voltage", required=True, answers="number", unit="V", trust=True, place="channel"
    ),
    "amps?": Signature(
        "measures an output's current", required=True, answers="number", unit="A", trust=True, place="channel"
    ),
    "limiting?": Signature(
        "whether an output is in current limit", answers="truth", place="channel", lack="limiting flag"
    ),
    "tripped?": Signature("whether an output has tripped", answers="truth", place="channel", lack="tripped flag"),
    "clear trip": Signature("releases a trip", place="channel", lack="trip release", only_with="set trip"),
}

METER: Mapping[str, Signature] = {
    "remote": Signature("lets the program command it"),
    "local": Signature("gives the front panel back"),
    "prepare": Signature("sets up triggering, once a session"),
    "fix input": Signature("keeps the input at its fixed resistance on every range", lack="fixed input"),
    "zero": Signature("measures the meter's own zero, once"),
    "volts": Signature("selects direct volts on a fixed range", required=True, fields=("range", "cycles")),
    "ohms": Signature("selects ohms on a fixed range", fields=("range", "cycles"), lack="ohms"),
    "count": Signature("how many readings one trigger takes", fields=("count",)),
    "read?": Signature("triggers and reads", required=True, answers="numbers"),
}

RELAYS: Mapping[str, Signature] = {
    "remote": Signature("lets the program command it"),
    "local": Signature("gives the front panel back"),
    "open all": Signature("opens every channel", required=True),
    "close": Signature("closes the channels of one route", required=True, place="channels"),
    "closed?": Signature(
        "whether each channel was told to be closed", answers="truths", place="channels", lack="route read-back"
    ),
}

ROLES: Mapping[str, Mapping[str, Signature]] = {"supply": SUPPLY, "meter": METER, "relays": RELAYS}
# Kind -> the section of a driver file that holds its ratings.
SECTIONS: Mapping[str, str] = {"supply": "outputs", "meter": "measures", "relays": "channels"}
