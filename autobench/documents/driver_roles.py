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
    `error`, `preamble`, `block`), empty for one that sets. `value` is the unit of `{value}`, empty where there is none.
    `place` is the placeholder that says where it acts. `fields` are further placeholders. `lack` is the name a bench
    file accepts the absence by; where `only_with` names another action, its absence is no lack of its own while that
    one is absent too. With `anywhere` the lines need not say where it acts, since in some dialects it acts on whatever
    was chosen before; with `everywhere`, since it may as well act on all places at once.
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
    anywhere: bool = False
    everywhere: bool = False


# Decoder -> the shape of what it makes of a reply. The decoders themselves are Python, in the instruments' layer.
DECODERS: Mapping[str, str] = {
    "number": "number",
    "numbers": "numbers",
    "text": "text",
    "truth": "truth",
    "truths": "truths",
    "error": "error",
    "event error": "error",
    "bit": "truth",
    "bit clear": "truth",
    "any bit": "truth",
    "raw bit": "truth",
    "raw bit clear": "truth",
    "word": "truth",
    "digits": "number",
    "digit": "truth",
    "channel list": "truths",
    "channel mask": "truths",
    "preamble": "preamble",
    "scaling": "preamble",
    "descriptor": "preamble",
    "block": "block",
}
# Decoder -> the key it cannot do without.
DECODER_KEYS: Mapping[str, str] = {
    "bit": "bit",
    "bit clear": "bit",
    "any bit": "bits",
    "raw bit": "bit",
    "raw bit clear": "bit",
    "word": "word",
    "digits": "layout",
    "digit": "layout",
}
# Decoders that tell which channels are closed, of all there are: nothing is filled into their question.
TELL_CLOSED = ("channel list", "channel mask")

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
    "clear trip": Signature(
        "releases a trip", place="channel", lack="trip release", only_with="set trip", everywhere=True
    ),
}

METER: Mapping[str, Signature] = {
    "remote": Signature("lets the program command it"),
    "local": Signature("gives the front panel back"),
    "prepare": Signature("sets up triggering, once a session"),
    "fix input": Signature("keeps the input at its fixed resistance on every range", lack="fixed input"),
    "zero": Signature("measures the meter's own zero, once"),
    "volts": Signature("selects direct volts on a fixed range", required=True, fields=("range", "cycles")),
    "ohms": Signature("selects ohms on a fixed range", fields=("range", "cycles"), lack="ohms"),
    "cycles?": Signature("how many power-line cycles a reading of volts takes", answers="number"),
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

SCOPE: Mapping[str, Signature] = {
    "remote": Signature("lets the program command it"),
    "local": Signature("gives the front panel back"),
    "prepare": Signature("sets up what never changes, once a session"),
    "channel on": Signature("switches a channel on", required=True, place="channel"),
    "channel off": Signature("switches a channel off", required=True, place="channel"),
    "couple dc": Signature("couples a channel directly", required=True, place="channel"),
    "couple dc?": Signature(
        "whether a channel is coupled directly", answers="truth", place="channel", lack="coupling read-back"
    ),
    "probe": Signature("tells it the probe on a channel", required=True, place="channel", fields=("factor",)),
    "probe?": Signature("reads the probe back", answers="number", place="channel", lack="probe read-back"),
    "limit bandwidth": Signature("limits a channel's bandwidth", place="channel", lack="bandwidth limit"),
    "full bandwidth": Signature(
        "lifts that limit", place="channel", lack="bandwidth release", only_with="limit bandwidth"
    ),
    "set scale": Signature("sets a channel's volts per division at the tip", required=True, value="V", place="channel"),
    "set scale?": Signature("reads it back", required=True, answers="number", unit="V", place="channel"),
    "set offset": Signature("moves a channel's trace by volts", value="V", place="channel"),
    "set offset?": Signature("reads it back", answers="number", unit="V", place="channel"),
    "set position": Signature("moves a channel's trace by divisions", value="div", place="channel"),
    "set position?": Signature("reads it back", answers="number", unit="div", place="channel"),
    "set time scale": Signature("sets the time per division", required=True, value="s"),
    "set time scale?": Signature("reads it back", required=True, answers="number", unit="s"),
    "set time offset": Signature("sets the time from trigger to the screen's middle", required=True, value="s"),
    "set memory": Signature("sets how many points a record has", required=True, fields=("points",)),
    "sample rate?": Signature("reads the sample rate", required=True, answers="number", unit="Sa/s"),
    "acquire normal": Signature("takes samples as they come", required=True),
    "acquire peak": Signature("takes the extremes of each interval", lack="peak detection"),
    "trigger source": Signature("triggers on a channel", required=True, place="channel"),
    "trigger level": Signature("sets the trigger level", required=True, value="V", place="channel", anywhere=True),
    "trigger rising": Signature("triggers on rising edges", required=True, place="channel", anywhere=True),
    "trigger falling": Signature("triggers on falling edges", required=True, place="channel", anywhere=True),
    "sweep normal": Signature("waits for the trigger", required=True),
    "sweep auto": Signature("triggers by itself where no trigger comes", required=True),
    "run": Signature("acquires again and again", required=True),
    "single": Signature("acquires once", required=True),
    "stop": Signature("stops acquiring", required=True),
    "force": Signature("triggers now", lack="forced trigger"),
    "done?": Signature("whether it has stopped, its record complete", required=True, answers="truth"),
    "waiting?": Signature("whether it waits for a trigger", required=True, answers="truth"),
    "waveform source": Signature("selects the channel to read out", place="channel"),
    "waveform raw": Signature("reads out the whole memory, one byte a point", required=True),
    "first point": Signature("sets the first point to read out, from 1", fields=("point",)),
    "last point": Signature("sets the last point to read out", required=True, fields=("point",)),
    "preamble?": Signature("reads what the codes mean", answers="preamble", place="channel", anywhere=True),
    "data?": Signature("reads out the points", required=True, answers="block", place="channel", anywhere=True),
}

COUNTER: Mapping[str, Signature] = {
    "remote": Signature("lets the program command it"),
    "local": Signature("gives the front panel back"),
    "prepare": Signature("sets up what never changes, once a session"),
    "rate": Signature("selects the rate of an input; may reset all of that input", required=True, place="channel"),
    "couple dc": Signature("couples an input directly", required=True, place="channel"),
    "fix input": Signature("keeps an input at its fixed resistance", place="channel", lack="fixed input"),
    "probe": Signature("tells it the probe on an input", place="channel", fields=("factor",)),
    "set level": Signature("sets the level that counts, rising", required=True, value="V", place="channel"),
    "set level?": Signature("reads it back", answers="number", unit="V", place="channel", lack="level read-back"),
    "set gate": Signature("sets for how long it counts", required=True, value="s"),
    "set gate?": Signature("reads it back", answers="number", unit="s", lack="gate read-back"),
    "read?": Signature("counts and reads", required=True, answers="number", unit="Hz"),
}

ROLES: Mapping[str, Mapping[str, Signature]] = {
    "supply": SUPPLY,
    "meter": METER,
    "relays": RELAYS,
    "scope": SCOPE,
    "counter": COUNTER,
}
# Kind -> the section of a driver file that holds its ratings.
SECTIONS: Mapping[str, str] = {
    "supply": "outputs",
    "meter": "measures",
    "relays": "channels",
    "scope": "samples",
    "counter": "counts",
}
