"""A driver file: how one command dialect says what an instrument of its kind must be able to do.

Driver files are data: a closed grammar of lines to send, questions, named decoders and waits, without expressions and
conditions. What every kind must be able to do is the table in `autobench.documents.driver_roles`. This module reads
nothing and talks to no instrument.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from autobench.documents.driver_contacts import Contacts
from autobench.documents.driver_counts import Counts
from autobench.documents.driver_recognition import Recognition
from autobench.documents.driver_record_rules import record_complaints
from autobench.documents.driver_roles import ROLES, SECTIONS, SESSION, Signature
from autobench.documents.driver_rules import Route, action_complaints, name_complaints, range_complaints
from autobench.documents.driver_samples import Samples
from autobench.documents.driver_sections import Action, Conversation, Lines, Measures, Outputs
from autobench.documents.fields import Name, Words
from autobench.documents.section import Complaint, Section

Kind = Literal["supply", "meter", "relays", "scope", "counter"]


class Driver(Section):
    """One whole driver file."""

    driver: Name  # name of the dialect; the same as the file's
    kind: Kind  # what it drives
    words: Words  # one line for people
    link: Conversation = Conversation()  # how to hold the conversation
    identity: Action | None = None  # asks who the instrument is
    clear: Action | None = None  # empties its status and errors
    refuses: Lines = ()  # lines that tell it from a cousin: it must refuse each with an error
    recognised_by: Recognition | None = None  # how it is known among others
    outputs: Outputs | None = None  # ratings of a supply
    measures: Measures | None = None  # ranges and accuracy of a meter
    channels: Contacts | None = None  # channels of a relay multiplexer
    samples: Samples | None = None  # how a scope samples and hands over its records
    counts: Counts | None = None  # what a counter counts and how well
    actions: dict[str, Action]  # what it can do, by the names of its kind

    @property
    def role(self) -> Mapping[str, Signature]:
        """The table of actions of its kind."""
        return ROLES[self.kind]

    @property
    def places(self) -> tuple[int, ...]:
        """The numbers `{channel}` and `{channels}` may take: outputs of a supply, channels of any other instrument."""
        if self.outputs is not None:
            return self.outputs.channels
        if self.samples is not None:
            return self.samples.channels
        if self.counts is not None:
            return self.counts.channels
        return self.channels.numbers if self.channels is not None else ()

    def missing(self) -> tuple[str, ...]:
        """What this dialect lacks, by the names a bench file accepts it with, such as `trip` or `limiting flag`."""
        return tuple(
            signature.lack
            for name, signature in self.role.items()
            if signature.lack
            and name not in self.actions
            and (not signature.only_with or signature.only_with in self.actions)
        )

    def check(self) -> Iterator[Complaint]:
        yield from self.section_complaints()
        yield from name_complaints(self.kind, self.actions, self.role)
        for name, action in self.actions.items():
            if name in self.role:
                yield from action_complaints(("actions", name), action, self.role[name], self.places)
        session: tuple[tuple[Route, Action | None], ...] = (
            (("link", "errors"), self.link.errors),
            (("identity",), self.identity),
            (("clear",), self.clear),
        )
        for route, question in session:
            if question is not None:
                yield from action_complaints(route, question, SESSION[str(route[-1])], ())
        if self.refuses and self.link.errors is None:
            yield Complaint(("refuses",), "a refusal is seen in the errors; 'link' has no 'errors' to ask", at_key=True)
        if self.recognised_by is not None:
            read = {action.ask for name, action in self.actions.items() if name.endswith("?") and action.ask}
            for complaint in self.recognised_by.harmful(read):
                yield Complaint(("recognised by", *complaint.route), complaint.text, complaint.at_key)
        if self.samples is not None:
            yield from record_complaints(self.samples, self.actions)
        if self.measures is not None:
            yield from range_complaints(("measures", "volts"), self.measures.volts, "V")
            if self.measures.ohms is not None:
                yield from range_complaints(("measures", "ohms"), self.measures.ohms, "ohm")

    def section_complaints(self) -> Iterator[Complaint]:
        """Each kind has its own section of ratings and no other's."""
        for kind, section in SECTIONS.items():
            given = getattr(self, section) is not None
            if kind == self.kind and not given:
                yield Complaint(("kind",), f"a {kind} driver needs the section '{section}'")
            if kind != self.kind and given:
                yield Complaint((section,), f"belongs to a {kind} driver; this is a {self.kind} driver", at_key=True)
        if self.measures is not None and (self.measures.ohms is None) != ("ohms" not in self.actions):
            text = "'ohms' stands both here and under 'actions', or in neither"
            yield Complaint(("measures",), text, at_key=True)
