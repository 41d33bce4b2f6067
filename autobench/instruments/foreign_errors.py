"""Every error of the VISA stack as one of ours, in plain words. It opens nothing and decides nothing.

The library is imported inside functions, since it takes longer to load than all the rest.
"""

from __future__ import annotations

from autobench.errors import AutobenchError, LinkError, LinkLostError, NoReplyError

# VISA codes that mean the other side is gone or was never there (VPP-4.3, annex B).
LOST = (
    "error_connection_lost",
    "error_resource_not_found",
    "error_no_listeners",
    "error_io",
    "error_system_error",
    "error_invalid_object",
    "error_machine_not_available",
)


class ForeignErrors:
    """Turns every error of the VISA stack into one of ours. Only calls into that stack belong inside.

    No generator with a decorator, since it is entered twice in every query.
    """

    __slots__ = ("_instrument",)

    def __init__(self, instrument: str) -> None:
        self._instrument = instrument

    def __enter__(self) -> None:
        pass

    def __exit__(self, _kind: object, error: BaseException | None, _trace: object) -> None:
        if isinstance(error, Exception) and not isinstance(error, AutobenchError):
            raise in_words(self._instrument, error) from error  # the back end raises even plain `Exception`


def in_words(instrument: str, error: Exception) -> LinkError:
    """The one table of foreign errors: who must act, and in plain words why."""
    from pyvisa import errors, rname

    if isinstance(error, errors.VisaIOError):
        code = error.abbreviation
        name = getattr(error.error_code, "name", str(error.error_code))
        if name == "error_timeout":
            return NoReplyError(instrument, "nothing more came in time")
        if name == "error_resource_not_found":
            return LinkLostError(instrument, "nothing answers at this address")
        if name in LOST:
            return LinkLostError(instrument, f"the connection is lost ({code})")
        return LinkError(instrument, f"the connection reports {code}: {error.description}")
    if isinstance(error, errors.InvalidSession):
        return LinkLostError(instrument, "the connection is closed")
    if isinstance(error, rname.InvalidResourceName):
        return LinkError(instrument, f"the address cannot be understood: {error}")
    if isinstance(error, ConnectionRefusedError):
        return LinkLostError(instrument, "the connection is refused: no instrument listens there")
    if isinstance(error, TimeoutError):
        return NoReplyError(instrument, "nothing more came in time")
    if isinstance(error, OSError):
        return LinkLostError(instrument, f"the connection is lost ({error.strerror or error})")
    if isinstance(error, UnicodeDecodeError):
        return LinkError(instrument, "what came is no text")
    # RuntimeError, TypeError, ValueError and plain Exception: its class says nothing to a person
    return LinkError(instrument, f"the connection failed: {str(error) or 'what came makes no sense'}")
