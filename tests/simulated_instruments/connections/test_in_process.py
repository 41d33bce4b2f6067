"""The in-process VISA library, used through the real pyvisa as any program would."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from typing import Any

import pytest
import pyvisa
from pyvisa.constants import VI_TMO_INFINITE, BufferOperation, ResourceAttribute, StatusCode
from pyvisa.errors import VisaIOError

from simulated_instruments.clock import SimulatedClock
from simulated_instruments.connections.in_process import InProcessLibrary
from simulated_instruments.devices.command_tree import Command, CommandTree, Later
from simulated_instruments.devices.instrument import Device


class Slow(Device):
    """An instrument with one query that takes its time."""

    model = "TEST SLOW"
    latency = 0.01
    tree = CommandTree(Command("SLOW?", lambda device: Later(1.0, lambda: "+1.5")), beneath=Device.tree)


@pytest.fixture
def clock() -> SimulatedClock:
    return SimulatedClock()


@pytest.fixture
def device(clock: SimulatedClock) -> Slow:
    return Slow("slow", clock)


@pytest.fixture
def library(clock: SimulatedClock, device: Slow) -> InProcessLibrary:
    return InProcessLibrary({"GPIB::5": device, "GPIB0::9::INSTR": Slow("other", clock)}, clock)


@pytest.fixture
def resource(library: InProcessLibrary) -> Iterator[Any]:
    manager = pyvisa.ResourceManager(library)
    opened = manager.open_resource("GPIB0::5::INSTR", read_termination="\n", write_termination="")
    yield opened
    manager.close()


def test_query(resource: Any, device: Slow) -> None:
    """A query through the real library is answered by the device."""
    assert resource.query("*IDN?") == device.identity
    resource.write("*ESE 36")
    assert resource.query("*ESE?") == "36"


def test_lists_its_own_addresses_only(library: InProcessLibrary) -> None:
    """Listing tells the addresses of this bench, in the library's own spelling, and looks nowhere else."""
    manager = pyvisa.ResourceManager(library)
    assert manager.list_resources() == ("GPIB0::5::INSTR", "GPIB0::9::INSTR")
    assert manager.list_resources("GPIB?*9?*") == ("GPIB0::9::INSTR",)
    manager.close()


def test_unknown_address(library: InProcessLibrary) -> None:
    """An address without a device is not found."""
    manager = pyvisa.ResourceManager(library)
    with pytest.raises(VisaIOError) as caught:
        manager.open_resource("GPIB0::6::INSTR")
    assert caught.value.error_code == StatusCode.error_resource_not_found  # VPP-4.3, viOpen
    manager.close()


def test_waiting_moves_the_clock(resource: Any, clock: SimulatedClock) -> None:
    """Waiting for a reply takes simulated time, as long as the device needs and no longer."""
    resource.timeout = 5000
    assert resource.query("SLOW?") == "+1.5"
    assert clock.now() == pytest.approx(1.01)  # one second and the latency of this device


def test_time_out_moves_the_clock(resource: Any, clock: SimulatedClock) -> None:
    """A reply that is not ready in time is a time-out that lasted exactly as long as allowed; later it is there."""
    resource.timeout = 300
    resource.write("SLOW?")
    with pytest.raises(VisaIOError) as caught:
        resource.read()
    assert caught.value.error_code == StatusCode.error_timeout
    assert clock.now() == pytest.approx(0.3)
    resource.timeout = 1000
    assert resource.read() == "+1.5"
    assert clock.now() == pytest.approx(1.01)


def test_unplugged(resource: Any, device: Slow, clock: SimulatedClock) -> None:
    """A device that is unplugged swallows what is sent and every read times out."""
    device.silent = True
    resource.timeout = 2000
    resource.write("*ESE 36")
    with pytest.raises(VisaIOError):
        resource.query("*IDN?")
    assert clock.now() == pytest.approx(2.0)
    device.silent = False
    assert resource.query("*ESE?") == "0"


def test_reading_for_ever(resource: Any, device: Slow) -> None:
    """An infinite time-out waits for a reply that is coming, and ends where none ever will."""
    resource.set_visa_attribute(ResourceAttribute.timeout_value, VI_TMO_INFINITE)
    assert resource.query("SLOW?") == "+1.5"
    with pytest.raises(VisaIOError):
        resource.read()


def test_reading_in_pieces(resource: Any, device: Slow) -> None:
    """Statuses steer reading: more to come, and END with the last byte."""
    library, handle = resource.visalib, resource.session
    resource.write("*IDN?")
    whole = device.identity.encode("ascii") + b"\n"
    with resource.ignore_warning(StatusCode.success_max_count_read):
        assert library.read(handle, 5) == (whole[:5], StatusCode.success_max_count_read)
        assert library.read(handle, len(whole) - 5) == (whole[5:], StatusCode.success)  # VPP-4.3, rule 6.1.1: END first


def test_termination_character(resource: Any) -> None:
    """With the termination character on, a read ends behind it."""
    library, handle = resource.visalib, resource.session
    resource.set_visa_attribute(ResourceAttribute.termchar, ord(","))
    resource.set_visa_attribute(ResourceAttribute.termchar_enabled, True)
    resource.write("*IDN?")
    assert library.read(handle, 100) == (b"ALDER STREET,", StatusCode.success_termination_character_read)


def test_message_in_two_writes(resource: Any) -> None:
    """Without END at the end of a write the next one goes on with the same message."""
    resource.set_visa_attribute(ResourceAttribute.send_end_enabled, False)
    resource.write_raw(b"*ES")
    resource.set_visa_attribute(ResourceAttribute.send_end_enabled, True)
    resource.write_raw(b"E?")
    assert resource.read() == "0"


def test_new_message_before_the_reply_was_read(resource: Any) -> None:
    """A reply that was read in part and then interrupted is gone, and the device reports it."""
    library, handle = resource.visalib, resource.session
    resource.write("*IDN?")
    with resource.ignore_warning(StatusCode.success_max_count_read):
        library.read(handle, 5)
    resource.write("*ESE?")
    assert resource.read() == "0"
    assert resource.query("SYST:ERR?").startswith("-410")  # IEEE 488.2, 6.3.1: INTERRUPTED


def test_reading_without_asking(resource: Any) -> None:
    """Reading where nothing was asked times out, and the device reports it."""
    with pytest.raises(VisaIOError):
        resource.read()
    assert resource.query("SYST:ERR?").startswith("-420")  # IEEE 488.2, 6.3.1: UNTERMINATED


def test_device_clear(resource: Any) -> None:
    """A device clear drops the reply that waits and leaves the settings."""
    resource.write("*ESE 36;*IDN?")
    resource.clear()
    assert resource.query("*ESE?") == "36"


def test_serial_poll(resource: Any, clock: SimulatedClock) -> None:
    """The status byte says when a message is available."""
    assert resource.read_stb() == 0
    resource.write("SLOW?")
    assert resource.read_stb() == 0
    clock.sleep(2.0)
    assert resource.read_stb() == 16  # IEEE 488.2, 11.2.1.2: MAV is bit 4


def test_flush_and_trigger_are_there(resource: Any) -> None:
    """Flushing has nothing to do; a trigger reaches the device as the common command, which this one does not know."""
    resource.flush(BufferOperation.discard_read_buffer)
    resource.assert_trigger()
    assert resource.query("SYST:ERR?").startswith("-113")  # SCPI-1999 vol. 2, 21.8: undefined header


def test_closed_handle(resource: Any) -> None:
    """A handle that was closed is no longer valid."""
    library, handle = resource.visalib, resource.session
    resource.close()
    with pytest.raises(VisaIOError) as caught:
        library.write(handle, b"*CLS")
    assert caught.value.error_code == StatusCode.error_invalid_object


def test_two_benches_are_apart(clock: SimulatedClock, device: Slow, library: InProcessLibrary) -> None:
    """Each bench has a library of its own, and a dropped one takes nothing with it."""
    other = InProcessLibrary({"GPIB0::5::INSTR": Slow("another", clock)}, clock)
    managers = [pyvisa.ResourceManager(each) for each in (library, other)]
    first, second = (manager.open_resource("GPIB0::5::INSTR", read_termination="\n") for manager in managers)
    assert first.query("*IDN?") == device.identity  # type: ignore[attr-defined]
    assert second.query("*IDN?") != device.identity  # type: ignore[attr-defined]
    managers[1].close()
    del other, second, managers[1]
    gc.collect()
    assert first.query("*ESE?") == "0"  # type: ignore[attr-defined]
    managers[0].close()
