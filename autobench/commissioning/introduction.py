"""Who answers at a port: `*IDN?` asked by one line setting after another, until something sensible comes back.

Nothing else is ever sent while it is not known what listens there: IEEE 488.2 (10.14) asks every instrument to answer
it, and it changes nothing. What the answer means for the dialect is not decided here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from autobench.clock import Clock
from autobench.commissioning.port import Port
from autobench.documents.driver_sections import LineEnds
from autobench.documents.serial_line import SerialLine
from autobench.errors import LayerError, LinkError, LinkLostError, NoReplyError
from autobench.instruments.visa import VisaSession, open_session

if TYPE_CHECKING:
    from autobench.instruments.visa import VisaLibraryBase

QUESTION = b"*IDN?"
BAUDS = (9600, 19200, 38400, 57600, 115200)  # common practice, the most usual first
ENDS = ("\n", "\r\n", "", "\r")
FIRST = 1.0  # s until the first byte of a reply must have come
FLAGGED = 5.0  # s for a reply with an END flag: nothing has to be tried out there, and some are slow to wake
GAP = 0.15  # s of silence that end a reply
OPENING = 12.0  # s; some spin up a session first (common practice)
LONGEST = 200  # characters of an identity
ERRORS = re.compile(r"^\W*(err|unknown|invalid|syntax|\?)", re.IGNORECASE)


@dataclass(frozen=True)
class Introduction:
    """What answered: its identity, how it was reached, and how long it took (s).

    `line` is None but for serial lines, `ends` where the transport marks the end of a message itself; `echoes` says
    that the question came back before the answer.
    """

    identity: str
    line: SerialLine | None
    ends: LineEnds | None
    echoes: bool
    seconds: float

    @property
    def serial(self) -> str | None:
        """The serial number in the identity, None where there is none (IEEE 488.2, 10.14.3: third field, 0 if none)."""
        fields = [field.strip() for field in self.identity.split(",")]
        return fields[2] if len(fields) == 4 and fields[2] not in ("", "0") else None


def introduce(port: Port, clock: Clock, library: VisaLibraryBase | None, say: Callable[[str], None]) -> Introduction:
    """Ask who is there; raises `LayerError` for the layer `port`, `busy` or `reply`."""
    nonsense = False
    for line, ends in settings_to_try(port):
        session = opened(port, library, line)
        try:
            if session.has_end:
                return flagged(port, session, clock)
            if line is not None:
                say(f"{port.name}: asking at {line}")
            for end in ends:
                raw, seconds = asked(session, end, clock)
                found = identity_in(raw)
                if found is not None:
                    return Introduction(found, line, LineEnds(send=end, receive=end_of(raw)), echoed(raw), seconds)
                nonsense = nonsense or bool(raw)
        except LinkLostError as error:
            raise LayerError(port.name, "reply", f"it breaks off when it is asked: {error.text}") from error
        finally:
            session.close()
    raise LayerError(port.name, "reply", silent(port, nonsense))


def settings_to_try(port: Port) -> Iterator[tuple[SerialLine | None, tuple[str, ...]]]:
    """Speeds with the line ends to try at each, in order."""
    if port.device is None:
        yield None, ENDS
        return
    for baud in BAUDS:
        yield SerialLine(baud), ENDS


def opened(port: Port, library: VisaLibraryBase | None, line: SerialLine | None) -> VisaSession:
    """The port opened with nothing added to messages and nothing taken off; raises `LayerError`."""
    try:
        return open_session(
            port.address,
            instrument=port.name,
            library=library,
            send_end="",
            receive_end="",
            silence=GAP,
            timeout=OPENING,
            line=line,
        )
    except LinkError as error:
        busy = "busy" in str(error).lower() or "exclusively" in str(error).lower()
        raise LayerError(port.name, "busy" if busy else "port", error.text) from error


def flagged(port: Port, session: VisaSession, clock: Clock) -> Introduction:
    """The answer where the transport marks its end."""
    began = clock.now()
    try:
        session.write(QUESTION, FLAGGED)
        raw = session.read_message(FLAGGED)
    except NoReplyError as error:
        raise LayerError(port.name, "reply", f"nothing answers '*IDN?' within {FLAGGED:.0f} s") from error
    found = identity_in(raw)
    if found is None:
        raise LayerError(port.name, "reply", "what answers '*IDN?' is no identity")
    return Introduction(found, None, None, False, clock.now() - began)


def asked(session: VisaSession, end: str, clock: Clock) -> tuple[bytes, float]:
    """The question with one line end: what came, nothing where nothing did, and the seconds until it
    was there.

    The line end goes first by itself: what an earlier try has left half-said is ended by it.
    """
    if end:
        session.write(end.encode("ascii"), FIRST)
        clock.sleep(GAP)
    began = clock.now()
    session.write(QUESTION + end.encode("ascii"), FIRST)
    try:
        raw = session.read_message(FIRST)
    except NoReplyError:
        raw = session.partial
    return raw, max(0.0, clock.now() - began - GAP)


def lines_of(raw: bytes) -> list[str]:
    """The lines of a reply without the echo of the question."""
    lines = [line.strip() for line in re.split(r"[\r\n]+", raw.decode("latin-1"))]
    return [line for line in lines if line and line != QUESTION.decode("ascii")]


def identity_in(raw: bytes) -> str | None:
    """The identity in a reply, None where there is none: garbage of a wrong speed, an error, an echo."""
    lines = lines_of(raw)
    if not lines or len(lines[0]) > LONGEST:
        return None
    first = lines[0]
    names = first.isascii() and first.isprintable() and bool(re.search(r"[A-Za-z]", first)) and len(first) >= 4
    return first if names and not ERRORS.match(first) else None


def echoed(raw: bytes) -> bool:
    """Whether the question itself came back."""
    return raw.lstrip().startswith(QUESTION)


def end_of(raw: bytes) -> str:
    """The line end a reply has, empty for none."""
    for end in ("\r\n", "\n", "\r"):
        if raw.endswith(end.encode("ascii")):
            return end
    return ""


def silent(port: Port, nonsense: bool) -> str:
    """What a port without an answer may be."""
    tried = f"'*IDN?' with four line ends{f' at {BAUDS[0]} to {BAUDS[-1]} baud' if port.device else ''}"
    if nonsense:
        return f"something answers {tried}, but no identity: another speed or frame, or no instrument"
    cause = "is it switched on, set to this interface, the cable whole and not a crossed one?"
    return f"nothing answers {tried}: {cause}"
