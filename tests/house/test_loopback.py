"""Nothing leaves this machine: neither in a test, nor by what the program's own way to VISA does unasked."""

from __future__ import annotations

import socket
import subprocess
import sys
from pathlib import Path

import pytest

from autobench.instruments.back_end import pure_python
from tests import loopback_only

ROOT = Path(__file__).parents[2]
ELSEWHERE = "192.0.2.1"  # RFC 5737: an address for documentation, which is nobody's


def test_what_would_leave_this_machine_is_refused() -> None:
    """A connection, a datagram, a broadcast and the look-up of a name, each before anything is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        for address in (ELSEWHERE, "255.255.255.255"):
            with pytest.raises(loopback_only.OutsideError):
                sender.sendto(b"?", (address, 111))
        with pytest.raises(loopback_only.OutsideError):
            sender.connect((ELSEWHERE, 5025))
    with pytest.raises(loopback_only.OutsideError):
        socket.create_connection(("instrument.example", 5025), timeout=1.0)  # RFC 2606: nobody's name
    assert len(loopback_only.taken()) == 4


def test_connections_on_this_machine_are_let_through() -> None:
    """The rule is about other machines only."""
    with (
        socket.create_server(("127.0.0.1", 0)) as listener,
        socket.create_connection(("localhost", listener.getsockname()[1]), timeout=5.0),
    ):
        assert loopback_only.taken() == []


def test_asking_for_all_resources_asks_nobody() -> None:
    """The stock back end broadcasts for this, once a second; ours finds nothing without being told where."""
    assert not [name for name in pure_python().list_resources("?*") if name.startswith("TCPIP")]
    assert loopback_only.taken() == []


def test_the_program_lists_no_resources() -> None:
    """No line of it asks VISA what there is: only its sessions answer that there is nothing."""
    asking = [
        f"{path.relative_to(ROOT)}: {line.strip()}"
        for path in sorted((ROOT / "autobench").rglob("*.py"))
        for line in path.read_text(encoding="utf-8").splitlines()
        if "list_resources(" in line and not line.strip().startswith("def ")
    ]
    assert asking == []


def test_a_program_of_its_own_sends_nothing_outside_either() -> None:
    """A whole round in another process, under the same rule."""
    script = (
        "from tests import loopback_only; loopback_only.begin()\n"
        "from autobench.cli.entry import run\n"
        "code = run(['check', 'tarnbeck-8', '--unattended', '--only', 'rail +5V cpu', '--records', 'sqlite://'])\n"
        "assert loopback_only.taken() == [], 'sent'\n"
        "raise SystemExit(code)\n"
    )
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
