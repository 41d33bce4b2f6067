"""Finding what there is: who answers, in which dialect, how it is reached, and which layer fails where nothing does."""

from __future__ import annotations

import fcntl
import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from autobench.clock import Clock, RealClock
from autobench.commissioning import introduction
from autobench.commissioning.bench_text import bench_text
from autobench.commissioning.port import Port, port_named, require_serial, require_usb
from autobench.commissioning.search import Found, known_drivers, ports_named, search
from autobench.documents.driver_recognition import is_question
from autobench.documents.driver_sections import LineEnds
from autobench.documents.gathered import read_bench_file
from autobench.documents.places import folder
from autobench.documents.serial_line import SerialLine
from autobench.errors import LayerError, UsageError
from autobench.instruments.plugged_in import UsbInstrument
from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.hislip import HislipServer
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.connections.pseudo_terminal import PseudoTerminalServer
from simulated_instruments.connections.raw_socket import SocketServer
from simulated_instruments.devices.instrument import Device
from tests.commissioning.line_ends import listening
from tests.drivers.meetings import ADDRESS, DEVICES, Contacts, Loads, Source
from tests.drivers.square import Square

# Dialects without an identity, and the question each has instead; they are asked where nothing answers `*IDN?`.
NAMELESS = {"ps-6": "GETD", "w-4": "relay readall"}
NOWHERE = Path("/nowhere")
STRANGER = "FAR AWAY WORKS,Q-77,0,9.9"


def made(name: str, clock: Clock) -> Device:
    """The simulated instrument of a dialect, with something at its terminals."""
    kind = re.sub(r"[^a-z]", "", name.split("-")[0])
    terminals = {"ps": Loads({1: 10.0, 2: 10.0, 3: 10.0}), "m": Source(5.0, 50.0), "w": Contacts()}
    terminals |= {"o": Square(), "k": Square()}
    device: Device = DEVICES[name](name, clock, terminals[kind], seed=3)
    return device


def quiet(words: str) -> None:
    """Takes what is said while it is looked for."""


def in_process(device: Device) -> tuple[list[Found], list[LayerError], list[bytes]]:
    """What is found behind an address of the in-process library, and every message the instrument got."""
    heard: list[bytes] = []
    receive: Callable[[bytes, bool], None] = device.receive

    def listen(data: bytes, end: bool) -> None:
        heard.append(data)
        receive(data, end)

    device.receive = listen  # type: ignore[method-assign]
    library = InProcessLibrary({ADDRESS: device}, device.clock)
    found, failed = search([Port("it", ADDRESS)], known_drivers(NOWHERE), quiet, clock=device.clock, library=library)
    return found, failed, heard


@pytest.mark.parametrize("name", DEVICES)
def test_every_dialect_is_told_from_every_other_by_questions_alone(name: str) -> None:
    """Whoever made it: exactly one shipped driver fits, and nothing that could change anything was sent."""
    device = made(name, SimulatedClock())
    device.identity = STRANGER
    found, failed, heard = in_process(device)
    known = STRANGER if name not in NAMELESS else found[0].heard.identity
    assert [(each.driver.driver, each.others, each.heard.identity) for each in found] == [(name, (), known)]
    assert failed == []
    # IEEE 488.2, 7.3.3: a header that ends in a question mark is a query
    lines = [message.decode("ascii").strip() for message in heard]
    assert all(is_question(line) for line in lines if line and line not in NAMELESS.values())


@pytest.mark.parametrize("name", DEVICES)
def test_looking_leaves_the_outputs_as_they_are(name: str) -> None:
    """An output that is on stays on at its volts, and one that is off stays off."""
    device = made(name, SimulatedClock())
    before = repr(vars(device).get("outputs") or vars(device).get("output"))
    in_process(device)
    assert repr(vars(device).get("outputs") or vars(device).get("output")) == before


def test_an_own_driver_that_names_its_instruments_comes_first(tmp_path: Path) -> None:
    """Where two drivers fit, the one that knows the identity is proposed, and the other is said."""
    text = (folder("drivers") / "supplies" / "ps-3.yaml").read_text(encoding="utf-8")
    text = text.replace("driver: ps-3", "driver: mine").replace(
        "recognised by:\n", 'recognised by:\n  identity: ["far away*,q-7*"]\n'
    )
    (tmp_path / "mine.yaml").write_text(text, encoding="utf-8")
    device = made("ps-3", SimulatedClock())
    device.identity = STRANGER
    library = InProcessLibrary({ADDRESS: device}, device.clock)
    found, _ = search([Port("it", ADDRESS)], known_drivers(tmp_path), quiet, clock=device.clock, library=library)
    assert (found[0].driver.driver, found[0].others) == ("mine", ("ps-3",))
    device.identity = "NEAR BY WORKS,Q-77,0,1"
    found, _ = search([Port("it", ADDRESS)], known_drivers(tmp_path), quiet, clock=device.clock, library=library)
    assert (found[0].driver.driver, found[0].others) == ("ps-3", ())


class Mute(Device):
    """An instrument that knows its name and nothing else."""

    model = "Z-0"


def test_an_unknown_dialect_gets_the_way_to_write_a_driver() -> None:
    """What answered is quoted, and the page that helps is named."""
    _, failed, _ = in_process(Mute("it", SimulatedClock()))
    assert failed[0].layer == "dialect"
    assert "ALDER STREET,Z-0," in failed[0].text
    assert "'A driver in ten minutes' in drivers/README.md" in failed[0].text
    assert "\n## A driver in ten minutes\n" in (folder("drivers") / "README.md").read_text(encoding="utf-8")


def test_a_serial_line_is_found_at_its_speed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Speed and dialect stand in the bench file, and a bench opened by it gets an answer."""
    monkeypatch.setattr(introduction, "FIRST", 0.25)
    with PseudoTerminalServer(made("ps-5", RealClock())) as server:
        server.baud = 19200
        found, failed = search([port_named(server.path)], known_drivers(NOWHERE), quiet)
        assert failed == []
        assert (found[0].driver.driver, found[0].way.line) == ("ps-5", SerialLine(19200))
        file = tmp_path / "bench.yaml"
        file.write_text(bench_text(found, "corner", 50), encoding="utf-8")
        bench, _ = read_bench_file(str(file))
        assert bench.instruments["supply"].serial_line == SerialLine(19200)


def test_a_dialect_without_an_identity_is_found_by_its_own_questions(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing answers `*IDN?`, the drivers that ask nobody who they are get their turn."""
    monkeypatch.setattr(introduction, "FIRST", 0.05)
    monkeypatch.setattr(introduction, "BAUDS", (9600,))
    device = made("ps-5", RealClock())
    device.identity = ""
    drivers = [each.model_copy(update={"identity": None}) for each in known_drivers(NOWHERE) if each.driver == "ps-5"]
    with PseudoTerminalServer(device) as server:
        found, _ = search([port_named(server.path)], drivers, quiet)
        assert (found[0].driver.driver, found[0].heard.serial) == ("ps-5", None)
        device.silent = True
        _, failed = search([port_named(server.path)], drivers, quiet)
        assert failed[0].layer == "reply"


def test_an_instrument_that_prompts_is_found_on_a_serial_line() -> None:
    """The echo of the question and the prompt are not taken for its identity."""
    with PseudoTerminalServer(made("m-2", RealClock())) as server:
        found, failed = search([port_named(server.path)], known_drivers(NOWHERE), quiet)
    assert failed == []
    assert (found[0].driver.driver, found[0].heard.echoes) == ("m-2", True)
    assert "M-2" in found[0].heard.identity


@pytest.mark.parametrize(
    ("end", "wanted"),
    [
        (b"\n", None),
        (b"\r\n", LineEnds(send="\r\n", receive="\r\n")),
        (b"\r", LineEnds(send="\r\n", receive="\r")),  # a line feed before the next line is nothing to it
    ],
)
def test_line_ends_are_found(end: bytes, wanted: LineEnds | None, tmp_path: Path) -> None:
    """A bare port number is one of this machine; ends that are not the driver's own stand in the bench file."""
    device = made("m-1", RealClock())
    drivers = [each for each in known_drivers(NOWHERE) if each.driver in ("m-1", "m-2", "ps-3")]
    with listening(device, end) as port:
        found, failed = search([port_named(str(port))], drivers, quiet)
    assert failed == []
    assert (found[0].driver.driver, found[0].way.ends) == ("m-1", wanted)
    file = tmp_path / "bench.yaml"
    file.write_text(bench_text(found, "corner", 60), encoding="utf-8")
    bench, drivers = read_bench_file(str(file))
    assert (bench.instruments["meter"].ends, bench.line_frequency.value) == (wanted, 60.0)
    assert drivers["meter"].driver == "m-1"
    assert bench.instruments["meter"].serial == found[0].heard.serial


def test_hislip_and_sockets_of_one_bench_become_one_file(tmp_path: Path) -> None:
    """Addresses, drivers, serial numbers and the tips of a bench without relays stand there, and it reads whole."""
    clock = RealClock()
    with SocketServer(made("ps-3", clock)) as supply, HislipServer(made("o-1b", clock)) as scope:
        ports = ports_named([supply.address, scope.address], network=False)
        drivers = [each for each in known_drivers(NOWHERE) if each.driver in ("ps-3", "ps-1", "o-1a", "o-1b")]
        found, failed = search(ports, drivers, quiet)
        assert failed == []
    file = tmp_path / "bench.yaml"
    file.write_text(bench_text(found, "corner", 50), encoding="utf-8")
    bench, _ = read_bench_file(str(file))
    assert {name: each.driver for name, each in bench.instruments.items()} == {"supply": "ps-3", "scope": "o-1b"}
    assert [each.address for each in bench.instruments.values()] == [supply.address, scope.address]
    assert bench.hand_probe is not None
    assert bench.hand_probe.tips == ("scope 1", "scope 2", "scope 3", "scope 4")
    assert bench.simulated == "served"


def test_the_places_to_fill_in_read_without_a_mistake(tmp_path: Path) -> None:
    """With the marks taken off, what waits to be filled in is a bench file too."""
    clock = SimulatedClock()
    found = [in_process(made(name, clock))[0][0] for name in ("ps-5", "m-1", "w-1", "k-1")]
    addressed = [
        Found(Port(name, f"GPIB0::{number}::INSTR"), each.heard, each.driver, each.way)
        for number, (name, each) in enumerate(zip("abcd", found, strict=True), 1)
    ]
    text = re.sub(r"(?m)^# ( *[\w+-]+( \w+)?:( |$))", r"\1", bench_text(addressed, "corner", 50))
    file = tmp_path / "bench.yaml"
    file.write_text(text, encoding="utf-8")
    bench, _ = read_bench_file(str(file))
    assert bench.feeds["+5V"].accept == ("no trip",)
    assert bench.routes is not None
    assert bench.position("my-board", "J1.2") == 2
    assert bench.instruments["counter"].probe == 10
    assert bench.routes.slots == {"meter high": 1, "meter low": 2, "counter 1": 3}


def test_the_same_instrument_at_two_ports_is_one() -> None:
    """Its serial number gives it away, whichever way it is reached."""
    device = made("m-1", SimulatedClock())
    one, two = "GPIB0::1::INSTR", "GPIB1::1::INSTR"
    library = InProcessLibrary({one: device, two: device}, device.clock)
    ports = ports_named([one, two], network=False)
    found, failed = search(ports, known_drivers(NOWHERE), quiet, clock=device.clock, library=library)
    assert (len(found), failed[0].layer) == (1, "identity")
    assert f"this is the instrument that answers at {one} too" in failed[0].text


# The layers from the ground up.


def test_a_port_that_is_not_there() -> None:
    """The lowest layer: nothing of that name, or nobody listening."""
    _, failed = search([port_named("/dev/ttyNOWHERE9")], known_drivers(NOWHERE), quiet)
    assert (failed[0].layer, failed[0].text[:26]) == ("port", "there is no such port; the")
    with listening(None, b"\n") as port:
        pass
    _, failed = search([port_named(str(port))], known_drivers(NOWHERE), quiet)
    assert failed[0].layer == "port"
    assert "refused" in failed[0].text


def test_a_port_one_may_not_open(tmp_path: Path) -> None:
    """The rule or the group that helps is said word for word."""
    path = tmp_path / "ttyUSB0"
    path.touch()
    path.chmod(0o600)
    with pytest.raises(LayerError) as caught:
        require_serial(Port("p", f"ASRL{path}::INSTR"), str(path), lambda name, mode: False)
    assert caught.value.layer == "permission"
    assert 'KERNEL=="ttyUSB0", SUBSYSTEM=="tty", GROUP="dialout", MODE="0660"' in caught.value.text
    usb = UsbInstrument(0x1234, 0x0A0B, "/dev/bus/usb/001/007")
    with pytest.raises(LayerError) as caught:
        require_usb(Port("u", "USB0::0x1234::0x0A0B::INSTR"), 0x1234, 0x0A0B, lambda name, mode: False, [usb])
    assert caught.value.layer == "permission"
    assert 'ATTR{idVendor}=="1234", ATTR{idProduct}=="0a0b"' in caught.value.text
    with pytest.raises(LayerError) as caught:
        require_usb(Port("u", "USB0::1::2::INSTR"), 1, 2, os.access, [usb])
    assert (caught.value.layer, "USB0::0x1234::0x0A0B" in caught.value.text) == ("port", True)


def test_a_port_that_somebody_uses() -> None:
    """A lock that another program holds is seen before anything is sent."""
    with PseudoTerminalServer(made("ps-5", RealClock())) as server:
        held = os.open(server.path, os.O_RDWR | os.O_NOCTTY)
        try:
            fcntl.flock(held, fcntl.LOCK_EX)
            _, failed = search([port_named(server.path)], known_drivers(NOWHERE), quiet)
        finally:
            os.close(held)
    assert failed[0].layer == "busy"
    assert "in use by" in failed[0].text


def test_a_port_where_nothing_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """The question went out with every line end, then those of the dialects without an identity, and nothing else."""
    monkeypatch.setattr(introduction, "FIRST", 0.05)
    asked = {b"", b"*IDN?", b"*IDN?*IDN?", b"GETD", b"relay readall"}
    heard: list[bytes] = []
    with listening(None, b"\n", heard) as port:
        _, failed = search([port_named(str(port))], known_drivers(NOWHERE), quiet)
    assert failed[0].layer == "reply"
    assert "is it switched on" in failed[0].text
    assert set(b"".join(heard).replace(b"\r", b"\n").split(b"\n")) <= asked


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("5025", "TCPIP::127.0.0.1::5025::SOCKET"),
        ("bench-meter:5025", "TCPIP::bench-meter::5025::SOCKET"),
        ("/dev/ttyUSB0", "ASRL/dev/ttyUSB0::INSTR"),
        ("GPIB0::5::INSTR", "GPIB0::5::INSTR"),
    ],
)
def test_ports_as_a_person_writes_them(text: str, address: str) -> None:
    """A path, an address, a host with a port, or a port of this machine."""
    assert port_named(text).address == address


@pytest.mark.parametrize("text", ["", "meter", "/dev/tty USB0", "a::b;*RST", "/dev/x::y\n"])
def test_what_is_no_port_is_refused(text: str) -> None:
    """Nothing that could be two messages or two words becomes an address."""
    with pytest.raises(UsageError, match="is no port"):
        port_named(text)


def test_other_machines_are_asked_only_when_told_so() -> None:
    """Without --network nothing leaves this machine."""
    with pytest.raises(UsageError, match="without --network"):
        ports_named(["bench-meter:5025"], network=False)
    assert ports_named(["bench-meter:5025"], network=True)[0].local is False
    assert ports_named(["TCPIP::localhost::hislip0,4880::INSTR"], network=False)[0].local


def test_a_driver_with_a_mistake_beside_the_file_is_told(tmp_path: Path) -> None:
    """It is not passed over in silence."""
    shutil.copy(folder("drivers") / "relays" / "w-1.yaml", tmp_path / "w-1.yaml")
    (tmp_path / "note.yaml").write_text("bench: no driver\n", encoding="utf-8")
    assert [each.driver for each in known_drivers(tmp_path)].count("w-1") == 1
    (tmp_path / "w-1.yaml").write_text("driver: w-1\nkind: relay\n", encoding="utf-8")
    with pytest.raises(UsageError, match="relay"):
        known_drivers(tmp_path)
