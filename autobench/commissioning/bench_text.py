"""The text of a bench file for what was found: right as it stands, with places to fill in for the wiring.

Text in and out; it writes no file. What cannot be found by asking – which lead goes where, and what is the most an
output may do – stands there as remarks, since a guess would be believed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from autobench.commissioning.search import Found
from autobench.documents.bench import LOOPBACK

PLURAL = {"relays": "relays"}
LINE_ENDS = {"\n": r"\n", "\r\n": r"\r\n", "\r": r"\r", "": ""}


def bench_text(found: Sequence[Found], name: str, hertz: int) -> str:
    """A bench file called `name` with these instruments, on mains of `hertz`."""
    named = list(zip(names_of(found), found, strict=True))
    served = all(LOOPBACK.fullmatch(each.port.address) for each in found)
    remark = "  # on this machine; write 'no' if these ports lead to real instruments" if served else ""
    parts = [
        "# Made by `autobench find`. It can be proved as it stands: `autobench prove FILE`. What stands behind a # at",
        "# the beginning of a line waits to be filled in; sequences/README.md says what each key means.",
        f"bench: {name}",
        "words: instruments found by asking",
        f"simulated: {'served' if served else 'no'}{remark}",
        f"line frequency: {hertz} Hz",
        "",
        "instruments:",
        *(line for pair in named for line in instrument_lines(*pair)),
        "",
        *feed_lines(named),
        *touch_lines(named),
    ]
    return "\n".join(parts) + "\n"


def names_of(found: Sequence[Found]) -> list[str]:
    """Names by kind: `supply`, `meter`, and `supply-2` for the second of a kind."""
    seen: Counter[str] = Counter()
    names = []
    for each in found:
        seen[each.driver.kind] += 1
        number = seen[each.driver.kind]
        names.append(each.driver.kind if number == 1 else f"{each.driver.kind}-{number}")
    return names


def instrument_lines(name: str, found: Found) -> list[str]:
    """One instrument."""
    lines = [f"  {name}:", f"    # {plain(found.heard.identity)}", f"    driver: {found.driver.driver}"]
    if found.others:
        lines.append(f"    # it answers as {' and '.join(found.others)} too: compare with its manual")
    lines.append(f"    address: {found.port.address}")
    if found.way.line is not None:
        lines.append(f"    serial line: {found.way.line}")
    if found.way.ends is not None:
        send, receive = LINE_ENDS[found.way.ends.send], LINE_ENDS[found.way.ends.receive]
        lines.append(f'    ends: {{send: "{send}", receive: "{receive}"}}')
    if found.heard.serial is not None:
        lines.append(f"    serial: '{found.heard.serial.replace(chr(39), chr(39) * 2)}'")
    lines.append("    # calibrated: 2026-01-31       # date of its last calibration")
    if found.driver.kind == "scope":
        lines.append("    probe: 10                      # what its probes divide by; `autobench prove` measures it")
    if found.driver.kind == "counter":
        lines.append("    probe: 10                      # what the dividers at the pins that lead to it divide by")
    return lines


def plain(identity: str) -> str:
    """An identity fit for a remark: one line of visible characters."""
    return "".join(character if character.isprintable() else "?" for character in identity)


def feed_lines(named: Sequence[tuple[str, Found]]) -> list[str]:
    """Places for the feeds."""
    supplies = [(name, found) for name, found in named if found.driver.kind == "supply"]
    if not supplies:
        return ["# No supply was found: one with knobs is `supply: by hand` under `feeds`.", ""]
    name, found = supplies[0]
    lacks = [
        word
        for word, there in (("no trip", "set trip"), ("no read-back", "set volts?"))
        if there not in found.driver.actions
    ]
    return [
        "# Which output feeds which rail, and the most it may ever do:",
        "# feeds:",
        "#   +5V:",
        f"#     supply: {name}",
        f"#     output: {found.driver.places[0]}",
        "#     volts: at most 5.5 V",
        "#     amps: at most 2 A",
        "#     leads: 60 mohm               # both leads with their contacts; `autobench prove` measures them",
        "#     when off: isolated           # or connected: the output stays across the rail",
        *([f"#     accept: {', '.join(lacks)}          # what this supply lacks"] if lacks else []),
        "",
    ]


def touch_lines(named: Sequence[tuple[str, Found]]) -> list[str]:
    """How the inputs come to the points of a board: by hand where no relays were found."""
    kinds: dict[str, tuple[str, Found]] = {found.driver.kind: (name, found) for name, found in reversed(named)}
    if "relays" in kinds:
        return [
            "# What the relays lead to; channel = 100 x slot + position:",
            "# routes:",
            f"#   relays: {kinds['relays'][0]}",
            f"#   slots: {{{', '.join(f'{name}: {slot}' for slot, name in enumerate(inputs_of(kinds), 1))}}}",
            "#   path: 0.3 ohm                # one closed relay with its cable and pin; `autobench prove` measures it",
            "#   settle: 20 ms",
            "# fixtures:",
            "#   my-board: {J1.1: 1, J1.2: 2}",
        ]
    tips = [kinds["meter"][0]] if "meter" in kinds else []
    if "scope" in kinds:
        name, found = kinds["scope"]
        tips += [f"{name} {number}" for number in found.driver.places]
    return ["hand probe:", f"  tips: {', '.join(tips)}"] if tips else []


def inputs_of(kinds: Mapping[str, tuple[str, Found]]) -> list[str]:
    """The inputs that relays may lead to."""
    inputs = [f"{kinds['meter'][0]} {end}" for end in ("high", "low")] if "meter" in kinds else []
    if "scope" in kinds:
        name, found = kinds["scope"]
        inputs += [f"{name} {number}" for number in found.driver.places]
    if "counter" in kinds:  # one input is enough: it counts one point at a time
        name, found = kinds["counter"]
        inputs.append(f"{name} {found.driver.places[0]}")
    return inputs or ["meter high", "meter low"]
