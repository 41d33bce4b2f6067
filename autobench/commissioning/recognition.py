"""Which driver speaks to what answered: each driver's harmless questions, asked one driver after another.

Only what stands under `recognised by` in a driver file is ever sent here, and the grammar lets only questions stand
there. Nothing is set, and no output is touched.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from autobench.clock import Clock
from autobench.commissioning.introduction import Introduction
from autobench.commissioning.port import Port
from autobench.documents.address import RAW_SOCKET
from autobench.documents.driver import Driver
from autobench.documents.driver_recognition import Recognition
from autobench.documents.driver_sections import LineEnds
from autobench.documents.serial_line import SerialLine
from autobench.errors import LayerError, LinkError, ProtocolError
from autobench.instruments.connection import session_for
from autobench.instruments.dialect import Dialect
from autobench.instruments.link import Link

if TYPE_CHECKING:
    from autobench.instruments.visa import VisaLibraryBase

LEAST, MOST = 0.2, 3.0  # s that a question may stay unanswered before it counts so
PATIENCE = 4.0  # times as long as the identity took
HOW = (
    "no driver here speaks its dialect: copy the driver file that looks most like its manual beside the bench file, "
    "and put its own lines in ('A driver in ten minutes' in drivers/README.md)"
)


@dataclass(frozen=True)
class Way:
    """How an instrument is reached by one driver: `ends` where they are not the driver's own."""

    line: SerialLine | None = None
    ends: LineEnds | None = None


def recognise(
    port: Port, heard: Introduction, drivers: Iterable[Driver], clock: Clock, library: VisaLibraryBase | None = None
) -> list[tuple[Driver, Way]]:
    """The drivers that fit, the likeliest first; raises `LayerError` for the layer `dialect` where none does."""
    fitting = []
    within = min(MOST, max(LEAST, PATIENCE * heard.seconds))
    for driver in drivers:
        rule, way = driver.recognised_by, way_of(driver, heard)
        if rule is None or way is None or not rule.knows(heard.identity):
            continue
        if fits(driver, rule, port, way, clock, library, within):
            fitting.append((driver, way))
    if not fitting:
        raise LayerError(port.name, "dialect", f"'{heard.identity}' answers there, but {HOW}")
    return sorted(fitting, key=lambda pair: strength(pair[0]), reverse=True)


def strength(driver: Driver) -> tuple[int, int]:
    """How much it takes to be recognised: a pattern of the identity counts most, then the number of questions."""
    rule = driver.recognised_by or Recognition(answers=())
    return len(rule.identity), len(rule.answers) + len(rule.leaves_unanswered)


def way_of(driver: Driver, heard: Introduction) -> Way | None:
    """How the driver would hold the conversation, None where its manners cannot be those of what answered."""
    if heard.ends is None:
        return Way(heard.line)
    if (driver.link.prompts is not None) != heard.echoes:
        return None
    own = driver.link.ends
    if not heard.ends.receive:
        return Way(heard.line) if not own.receive and own.send == heard.ends.send else None
    same = own.send == heard.ends.send and own.receive in (
        heard.ends.receive,
        "\n" if heard.ends.receive == "\r\n" else "",
    )
    return Way(heard.line) if same or heard.echoes else Way(heard.line, heard.ends)


def fits(
    driver: Driver,
    rule: Recognition,
    port: Port,
    way: Way,
    clock: Clock,
    library: VisaLibraryBase | None,
    within: float,
) -> bool:
    """Whether it answers all that one of the driver's dialect answers, and nothing that it does not."""
    with conversation(driver, port, way, clock, library, within) as dialect:
        for action in rule.answers:
            try:
                answer = dialect.question(action, action.ask or "", "", within)
            except (LinkError, ProtocolError):
                return False
            if action.answer == "word" and not answer.truth:
                return False
        return not any(answers(dialect, line, within) for line in rule.leaves_unanswered)


def answers(dialect: Dialect, line: str, within: float) -> bool:
    """Whether anything comes back for `line`."""
    try:
        dialect.link.ask(line, within)
    except LinkError:
        return False
    return True


@contextlib.contextmanager
def conversation(
    driver: Driver, port: Port, way: Way, clock: Clock, library: VisaLibraryBase | None, within: float
) -> Iterator[Dialect]:
    """A link in the driver's manners that asks nothing of its own: no token, no error queue.

    After a question that stayed unanswered the answer may be late; it is waited out and dropped before the next.
    """
    try:
        session = session_for(driver, port.address, port.name, library, line=way.line, own_ends=way.ends)
    except LinkError as error:
        raise LayerError(port.name, "port", error.text) from error
    link = Link(session, port.name, clock, within=within, pace=driver.link.pace.value, scpi=False)
    try:
        yield Dialect(driver, link, clock)
        if link.dirty and not RAW_SOCKET.fullmatch(port.address):  # there the connection's end drops what is late
            with contextlib.suppress(LinkError):
                link.recover()
    finally:
        link.close()
