# ruff: noqa: ARG002  # the parameters are those of the VISA operations, used here or not
"""A VISA library in this process: `pyvisa.ResourceManager(InProcessLibrary(devices, clock))` reaches simulated devices.

It stands for a bus with an END flag (the addresses are those of such a bus). It keeps the device's time: waiting for a
reply, and timing out, moves the clock it was given and never real time. It must not know any command, and it lists no
addresses but its own.
"""

from __future__ import annotations

import itertools
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from pyvisa import constants, rname
from pyvisa.attributes import AttributesByID
from pyvisa.constants import ResourceAttribute, StatusCode
from pyvisa.highlevel import VisaLibraryBase
from pyvisa.typing import VISAEventContext, VISARMSession, VISASession
from pyvisa.util import LibraryPath

from autobench.clock import Clock
from simulated_instruments.connections.misbehaviour import Misbehaviour
from simulated_instruments.devices.instrument import Device, Pending

# pyvisa keeps one library object a path, so each bench gets a path of its own.
NUMBERS = itertools.count(1)


@dataclass
class OpenDevice:
    """One open session: its device, how much of the reply was read, and its VISA attributes."""

    device: Device
    attributes: dict[int, Any]
    reply: Pending | None = None
    read: int = 0
    wire: Misbehaviour = field(default_factory=Misbehaviour)  # how the reply that is read is treated

    def attribute(self, name: int) -> Any:
        return self.attributes.get(name, AttributesByID[name].default)


class InProcessLibrary(VisaLibraryBase):
    """Serves the given devices, by address, over the clock they all share; each may misbehave by itself."""

    clock: Clock
    devices: dict[str, Device]
    sessions: dict[int, OpenDevice]
    misbehaviours: dict[str, Misbehaviour]
    device_lock: threading.Lock  # held while a device works: devices share one circuit, but not one thread

    def __new__(cls, devices: Mapping[str, Device], clock: Clock) -> InProcessLibrary:
        library = cast(InProcessLibrary, super().__new__(cls, LibraryPath(f"simulated-bench-{next(NUMBERS)}")))
        library.clock = clock
        library.devices = {canonical(address): device for address, device in devices.items()}
        library.misbehaviours = {address: Misbehaviour() for address in library.devices}
        return library

    def misbehave(self, address: str, misbehaviour: Misbehaviour) -> None:
        """From now on the bus does this to what the device at `address` says."""
        self.misbehaviours[canonical(address)] = misbehaviour

    @staticmethod
    def get_library_paths() -> Iterable[LibraryPath]:
        """None: such a library is made for a bench and cannot be found."""
        return ()

    def _init(self) -> None:
        # pyvisa calls this once an object; a constructor would run again at every look-up.
        self.sessions = {}
        self.device_lock = threading.Lock()
        self.handles = itertools.count(1)

    def open_default_resource_manager(self) -> tuple[VISARMSession, StatusCode]:
        return VISARMSession(next(self.handles)), self.handle_return_value(None, StatusCode.success)

    def list_resources(self, session: VISARMSession, query: str = "?*::INSTR") -> tuple[str, ...]:
        return rname.filter(self.devices, query)

    def open(
        self,
        session: VISARMSession,
        resource_name: str,
        access_mode: constants.AccessModes = constants.AccessModes.no_lock,
        open_timeout: int = constants.VI_TMO_IMMEDIATE,
    ) -> tuple[VISASession, StatusCode]:
        try:
            name = canonical(resource_name)
        except rname.InvalidResourceName:
            return VISASession(0), self.handle_return_value(None, StatusCode.error_invalid_resource_name)
        device = self.devices.get(name)
        if device is None:
            return VISASession(0), self.handle_return_value(None, StatusCode.error_resource_not_found)
        handle = VISASession(next(self.handles))
        parsed = rname.parse_resource_name(name)
        self.sessions[handle] = OpenDevice(
            device,
            {
                ResourceAttribute.resource_manager_session: session,
                ResourceAttribute.resource_name: name,
                ResourceAttribute.resource_class: parsed.resource_class,
                ResourceAttribute.interface_type: parsed.interface_type_const,
                ResourceAttribute.interface_number: 0,
            },
        )
        return handle, self.handle_return_value(handle, StatusCode.success)

    def close(self, session: VISASession | VISAEventContext | VISARMSession) -> StatusCode:
        self.sessions.pop(session, None)  # a resource manager has no entry
        return self.handle_return_value(None, StatusCode.success)

    def write(self, session: VISASession, data: bytes) -> tuple[int, StatusCode]:
        opened = self._opened(session)
        with self.device_lock:
            if self._wire(opened).frozen:
                return len(data), self.handle_return_value(session, StatusCode.success)
            opened.device.receive(bytes(data), bool(opened.attribute(ResourceAttribute.send_end_enabled)))
        return len(data), self.handle_return_value(session, StatusCode.success)

    def read(self, session: VISASession, count: int) -> tuple[bytes, StatusCode]:
        opened = self._opened(session)
        if not self._wait_for_reply(opened):
            return b"", self.handle_return_value(session, StatusCode.error_timeout)
        if self._cut(opened, count):
            return b"", self.handle_return_value(session, self._broken_off(opened))
        with self.device_lock:
            data, status = self._take(opened, count)
        return data, self.handle_return_value(session, status)

    def _take(self, opened: OpenDevice, count: int) -> tuple[bytes, StatusCode]:
        """The next bytes of the reply, and why they end where they do."""
        whole = opened.wire.garbage or cast(Pending, opened.reply).data
        stop, status = opened.read + count, StatusCode.success_max_count_read
        if opened.attribute(ResourceAttribute.termchar_enabled):
            found = whole.find(opened.attribute(ResourceAttribute.termchar), opened.read, stop)
            if found >= 0:
                stop, status = found + 1, StatusCode.success_termination_character_read
        data = whole[opened.read : stop]
        opened.read += len(data)
        if opened.read >= len(whole):
            opened.device.take()
            opened.reply, opened.read = None, 0
            status = StatusCode.success  # END goes before every other reason to stop (VPP-4.3, rule 6.1.1)
        return data, status

    def _cut(self, opened: OpenDevice, count: int) -> bool:
        """Whether the bus breaks off within the next `count` bytes of the reply."""
        cut, whole = opened.wire.cut, cast(Pending, opened.reply).data
        return cut is not None and cut < min(opened.read + count, len(whole))

    def _broken_off(self, opened: OpenDevice) -> StatusCode:
        """What a read says that the bus broke off: nothing until the time-out, or that the other side is gone."""
        if opened.wire.then == "silence":
            self.clock.sleep(opened.attribute(ResourceAttribute.timeout_value) / 1000.0)
            return StatusCode.error_timeout
        return StatusCode.error_connection_lost

    def _wait_for_reply(self, opened: OpenDevice) -> bool:
        """Let the clock go on until a reply is ready, or by the time-out; whether there is one."""
        milliseconds = opened.attribute(ResourceAttribute.timeout_value)
        with self.device_lock:
            reply = opened.device.talk() if not self._wire(opened).frozen else None
        if reply is not opened.reply:
            opened.reply, opened.read = reply, 0  # a device clear or a new message dropped the old one
            if reply is not None:
                opened.wire = self._wire(opened).next()  # what is measured is not measured yet
        wait = None
        if reply is not None:  # this bus hands over whole messages only
            late = opened.wire.held + opened.wire.drip * (len(reply.data) if opened.wire.drip else 0)
            wait = reply.ready_at + late - self.clock.now()
        if milliseconds == constants.VI_TMO_INFINITE:
            self.clock.sleep(wait or 0.0)
            return wait is not None  # simulated time cannot wait for ever: without a reply this is a time-out
        if wait is None or wait > milliseconds / 1000.0:
            self.clock.sleep(milliseconds / 1000.0)
            return False
        self.clock.sleep(wait)
        return True

    def _wire(self, opened: OpenDevice) -> Misbehaviour:
        """What the bus does to what this device says."""
        return self.misbehaviours[opened.attributes[ResourceAttribute.resource_name]]

    def clear(self, session: VISASession) -> StatusCode:
        opened = self._opened(session)
        with self.device_lock:
            if not self._wire(opened).frozen:
                opened.device.device_clear()
        opened.reply, opened.read = None, 0
        return self.handle_return_value(session, StatusCode.success)

    def flush(self, session: VISASession, mask: constants.BufferOperation) -> StatusCode:
        self._opened(session)  # nothing is buffered between the two sides, so there is nothing to flush
        return self.handle_return_value(session, StatusCode.success)

    def read_stb(self, session: VISASession) -> tuple[int, StatusCode]:
        opened = self._opened(session)
        with self.device_lock:
            status = opened.device.status_byte()
        return status, self.handle_return_value(session, StatusCode.success)

    def assert_trigger(self, session: VISASession, protocol: constants.TriggerProtocol) -> StatusCode:
        opened = self._opened(session)
        with self.device_lock:
            opened.device.receive(b"*TRG", True)  # IEEE 488.2, 10.37: the same as the bus message
        return self.handle_return_value(session, StatusCode.success)

    def get_attribute(
        self,
        session: VISASession | VISAEventContext | VISARMSession,
        attribute: ResourceAttribute | constants.EventAttribute,
    ) -> tuple[Any, StatusCode]:
        opened = self._opened(session)
        if attribute not in AttributesByID:
            return 0, self.handle_return_value(session, StatusCode.error_nonsupported_attribute)
        return opened.attribute(attribute), self.handle_return_value(session, StatusCode.success)

    def set_attribute(self, session: VISASession, attribute: ResourceAttribute, attribute_state: Any) -> StatusCode:
        opened = self._opened(session)
        if attribute not in AttributesByID:
            return self.handle_return_value(session, StatusCode.error_nonsupported_attribute)
        opened.attributes[attribute] = attribute_state
        return self.handle_return_value(session, StatusCode.success)

    # Closing a resource calls these two; there are no events to switch off.
    def disable_event(
        self, session: VISASession, event_type: constants.EventType, mechanism: constants.EventMechanism
    ) -> StatusCode:
        return StatusCode.success

    def discard_events(
        self, session: VISASession, event_type: constants.EventType, mechanism: constants.EventMechanism
    ) -> StatusCode:
        return StatusCode.success

    def _opened(self, session: int) -> OpenDevice:
        """The open session of a handle; raises pyvisa's own error for a handle that is not open."""
        opened = self.sessions.get(session)
        if opened is None:
            self.handle_return_value(None, StatusCode.error_invalid_object)
            raise AssertionError("unreachable: an error status raises")
        return opened


def canonical(address: str) -> str:
    """The one spelling of an address, as pyvisa writes it; raises `InvalidResourceName`."""
    return str(rname.ResourceName.from_string(address))
