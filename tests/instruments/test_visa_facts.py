"""Facts of the VISA libraries that our sessions lean on; when one of these fails, a version has changed under us."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import version

import pytest
from pyvisa import rname
from pyvisa.constants import InterfaceType, StatusCode
from pyvisa.highlevel import VisaLibraryBase

from autobench.instruments import back_end, foreign_errors, socket_session


@pytest.mark.parametrize(("package", "pinned"), [("pyvisa", "1.16.2"), ("pyvisa-py", "0.8.1")])
def test_versions_are_the_measured_ones(package: str, pinned: str) -> None:
    """The behaviour was measured with exactly these versions."""
    assert version(package) == pinned  # pyproject.toml pins them


def test_registry_has_our_session() -> None:
    """The back end's registry takes our raw-socket session under its own key, and keeps it when we register again."""
    from pyvisa_py.sessions import Session

    socket_session.register()
    socket_session.register()
    assert Session.get_session_class(InterfaceType.tcpip, "SOCKET") is socket_session.DeadlineSocketSession


def test_stock_session_is_imported_first() -> None:
    """The stock session is registered at import, so a later import of it cannot push ours out."""
    program = (
        "from autobench.instruments import back_end\n"
        "back_end.pure_python()\n"
        "import pyvisa_py.tcpip, pyvisa_py.highlevel\n"
        "from pyvisa_py.sessions import Session\n"
        "from pyvisa.constants import InterfaceType\n"
        "print(Session.get_session_class(InterfaceType.tcpip, 'SOCKET').__name__)\n"
    )
    done = subprocess.run([sys.executable, "-W", "error", "-c", program], capture_output=True, text=True, check=True)
    assert (done.stdout.strip(), done.stderr) == ("DeadlineSocketSession", "")


def test_our_modules_load_without_the_library() -> None:
    """Importing the link and the session module does not load pyvisa, which takes longer than all the rest."""
    program = "import sys, autobench.instruments.visa, autobench.instruments.link; print('pyvisa' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_codes_of_lost_connections_exist() -> None:
    """Every VISA code that we take for a lost connection is one that the library knows, and is an error."""
    assert all(StatusCode[name] < 0 for name in foreign_errors.LOST)  # VPP-4.3, annex B: errors are negative


def test_one_library_object_a_path() -> None:
    """The library keeps one object a path and initialises it once, so every bench needs a path of its own."""

    class Counting(VisaLibraryBase):
        made = 0

        def _init(self) -> None:
            Counting.made += 1

    first, again, other = Counting("one"), Counting("one"), Counting("two")
    assert first is again
    assert first is not other
    assert Counting.made == 2


def test_names_of_raw_sockets() -> None:
    """A raw-socket address is written with its board number; an IPv6 number cannot be written at all."""
    assert str(rname.ResourceName.from_string("TCPIP::127.0.0.1::5025::SOCKET")) == "TCPIP0::127.0.0.1::5025::SOCKET"
    with pytest.raises(rname.InvalidResourceName):
        rname.ResourceName.from_string("TCPIP::::1::5025::SOCKET")


def test_our_serial_session_takes_the_place_of_the_stock_one() -> None:
    """The back end opens serial lines with the session that has one deadline a message."""
    from pyvisa_py.sessions import Session

    from autobench.instruments.serial_session import DeadlineSerialSession

    back_end.pure_python()
    assert Session.get_session_class(InterfaceType.asrl, "INSTR") is DeadlineSerialSession
