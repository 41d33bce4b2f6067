"""Replies that repeat the header of their question, as oscilloscopes of older dialects send them until told otherwise.

Also the commands that such instruments share with all others: those of IEEE 488.2 and none of SCPI. It knows no
setting of any instrument.
"""

from __future__ import annotations

import re

from autobench.protocols.parameters import boolean
from autobench.protocols.scpi import Unit
from simulated_instruments.devices.command_tree import Answer, CommandTree, Later
from simulated_instruments.devices.instrument import Device

# IEEE 488.2 alone: no error queue to ask, no status registers beyond the standard ones.
COMMON = CommandTree(*(command for command in Device.tree.commands if command.pattern.text.startswith("*")))
BRACKETS = re.compile(r"[\[\]]")


def whole_header(pattern: str, suffixes: tuple[int, ...]) -> str:
    """The long form of a question's header with its numbers, every part of it given: `:CH1:SCALE`."""
    name = BRACKETS.sub("", pattern).rstrip("?").upper()
    for suffix in suffixes:
        name = name.replace("#", str(suffix), 1)
    return f":{name}"


class HeadedReplies(Device):
    """While `headed`, each reply to a question that is no common command begins with its header."""

    headed = True
    verbose = True

    def set_headed(self, text: str) -> Answer:
        self.headed = boolean(text)
        return None

    def set_verbose(self, text: str) -> Answer:
        self.verbose = boolean(text)
        return None

    def _perform(self, unit: Unit) -> Answer:
        answer = super()._perform(unit)
        if answer is None or unit.common or not unit.query or not self.headed:
            return answer
        command, suffixes = self.tree.find(unit)
        head = whole_header(command.pattern.text, suffixes)
        if isinstance(answer, Later):
            return Later(answer.seconds, lambda: f"{head} {answer.finish()}")
        return f"{head} {answer}"
