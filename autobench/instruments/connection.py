"""One instrument of a bench connected: its address and driver to a link, with the manners the driver file asks for.

It sends nothing. `renew` is called while a reply is waited for.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from autobench.clock import Clock, RealClock
from autobench.documents.driver import Driver
from autobench.documents.driver_sections import LineEnds
from autobench.documents.serial_line import SerialLine
from autobench.instruments.console_session import ConsoleSession, PromptWords
from autobench.instruments.exchange import Exchange
from autobench.instruments.link import Link, nothing, unheard
from autobench.instruments.session import Session
from autobench.instruments.visa import open_session, unwatched
from autobench.protocols.replies import parse_error, parse_events

if TYPE_CHECKING:
    from autobench.instruments.visa import VisaLibraryBase


def connect(
    driver: Driver,
    address: str,
    name: str,
    clock: Clock,
    library: VisaLibraryBase | None = None,
    *,
    on_exchange: Callable[[Exchange], None] = unheard,
    check: Callable[[], None] = nothing,
    renew: Callable[[float], None] = unwatched,
    line: SerialLine | None = None,
    own_ends: LineEnds | None = None,
) -> Link:
    """Open `address` for the instrument `name` and link to it as its driver says; raises as `open_session` does.

    `line` is how its serial line is set, `own_ends` its line ends where they are not those of its driver.
    """
    session = session_for(driver, address, name, library, renew=renew, line=line, own_ends=own_ends)
    return link_over(session, driver, name, clock, on_exchange=on_exchange, check=check)


def session_for(
    driver: Driver,
    address: str,
    name: str,
    library: VisaLibraryBase | None = None,
    *,
    renew: Callable[[float], None] = unwatched,
    line: SerialLine | None = None,
    own_ends: LineEnds | None = None,
) -> Session:
    """The session below such a link."""
    ends, prompts = own_ends or driver.link.ends, driver.link.prompts
    session: Session = open_session(
        address,
        instrument=name,
        library=library,
        send_end=ends.send,
        receive_end=ends.receive if prompts is None or prompts.line_end else prompts.done,
        silence=driver.link.silence.value,
        renew=renew,
        line=line,
    )
    if prompts is not None and not (session.has_end and prompts.echo):
        own_clock = getattr(library, "clock", None) or RealClock()
        words = PromptWords(prompts.done, prompts.errors, prompts.echo, prompts.line_end)
        session = ConsoleSession(session, words, own_clock)
    return session


def link_over(
    session: Session,
    driver: Driver,
    name: str,
    clock: Clock,
    *,
    on_exchange: Callable[[Exchange], None] = unheard,
    check: Callable[[], None] = nothing,
) -> Link:
    """The link over an open session, with the deadlines, pace and error query of the driver."""
    manners = driver.link
    events = manners.errors is not None and manners.errors.answer == "event error"
    return Link(
        session,
        name,
        clock,
        within=manners.reply_within.value,
        pace=manners.pace.value,
        scpi=manners.common_commands,
        errors=manners.errors.ask if manners.errors is not None else None,
        read_error=parse_events if events else parse_error,
        block_ends=manners.block_ends,
        on_exchange=on_exchange,
        check=check,
    )
