"""The section of a driver file that says what an instrument of its dialect is recognised by. Data and nothing else.

Whoever looks for an instrument's dialect does not know what it is: only questions may stand here, which change nothing
whatever they are asked of. This module asks nothing.
"""

from __future__ import annotations

import fnmatch
from collections.abc import Collection, Iterator

from autobench.documents.driver_sections import Action, Line, Lines
from autobench.documents.section import Complaint, Section
from autobench.documents.words import quoted


class Recognition(Section):
    """What tells an instrument of this dialect from every other.

    `answers` are questions it answers, each in the form of its `answer`; `leaves unanswered` are questions that a
    cousin answers and it does not. `identity` are patterns (`*` for any characters) one of which its identity has.
    """

    identity: Lines = ()  # patterns, `*` for any characters, one of which its identity has
    answers: tuple[Action, ...] = ()  # questions it answers
    leaves_unanswered: tuple[Line, ...] = ()  # questions that a cousin answers and it does not

    def knows(self, identity: str) -> bool:
        """Whether `identity` has one of the patterns; yes where there are none."""
        lower = identity.lower()
        return not self.identity or any(fnmatch.fnmatchcase(lower, pattern.lower()) for pattern in self.identity)

    def check(self) -> Iterator[Complaint]:
        if not self.answers:
            yield Complaint((), "needs 'answers': the questions that an instrument of this dialect answers")
        for number, action in enumerate(self.answers):
            if action.ask is None:
                yield Complaint(("answers", number), "needs 'ask' and 'answer'")
            if action.answer in ("block", "descriptor"):
                yield Complaint(("answers", number, "answer"), "a block says nothing about the dialect")
            for key in ("say", "wait", "trust", "span", "digits", "width", "point", "unit"):
                if key in action.model_fields_set:
                    yield Complaint(("answers", number, key), "a question is asked here and nothing else", at_key=True)

    def harmful(self, asked_anyway: Collection[str]) -> Iterator[Complaint]:
        """Lines that could change something; `asked_anyway` are what the file's own actions that read ask."""
        lines: list[tuple[tuple[str | int, ...], str | None]] = [
            (("answers", number, "ask"), action.ask) for number, action in enumerate(self.answers)
        ]
        lines += [(("leaves unanswered", number), line) for number, line in enumerate(self.leaves_unanswered)]
        for route, line in lines:
            if line is not None and "{" in line:
                yield Complaint(route, "nothing is filled in here; write a number in place of the braces")
            elif line is not None and line not in asked_anyway and not is_question(line):
                text = f"{quoted(line)} may be a command; write a question, or what one of the actions that read asks"
                yield Complaint(route, text)


def is_question(line: str) -> bool:
    """Whether every message unit's header ends in a question mark (IEEE 488.2, 7.3.3): then nothing is changed."""
    headers = [unit.split()[0] if unit.split() else "" for unit in line.split(";")]
    return all(header.endswith("?") for header in headers)
