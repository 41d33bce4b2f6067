"""What is plugged into this machine, by the operating system's own lists: serial ports and USB instruments.

It opens nothing and asks nothing of any of them: an unknown device may move. The network is never searched.
"""

from __future__ import annotations

from dataclasses import dataclass

USB_CLASS, USB_SUBCLASS = 0xFE, 0x03  # test and measurement (USBTMC 1.0, table 43)


@dataclass(frozen=True)
class SerialPort:
    """A serial port: its path, and what the system knows of what is behind it."""

    path: str
    words: str


@dataclass(frozen=True)
class UsbInstrument:
    """A USB instrument: numbers of vendor and product, and the file it is reached through."""

    vendor: int
    product: int
    node: str

    @property
    def address(self) -> str:
        """The beginning of its VISA address; the serial number is read when it is opened."""
        return f"USB0::0x{self.vendor:04X}::0x{self.product:04X}"


def serial_ports() -> list[SerialPort]:
    """Serial ports, by path."""
    from serial.tools.list_ports import comports

    return sorted((SerialPort(port.device, port.description or "") for port in comports()), key=lambda port: port.path)


def usb_instruments() -> list[UsbInstrument]:
    """USB devices that say they are instruments; none where the system has no USB library."""
    import usb.core

    try:
        found = usb.core.find(find_all=True)
        devices = [device for device in found if is_instrument(device)]
    except (usb.core.NoBackendError, usb.core.USBError, OSError):
        return []
    return [
        UsbInstrument(device.idVendor, device.idProduct, f"/dev/bus/usb/{device.bus:03d}/{device.address:03d}")
        for device in devices
    ]


def is_instrument(device: object) -> bool:
    """Whether one of a USB device's interfaces is of the class of instruments."""
    return any(
        (interface.bInterfaceClass, interface.bInterfaceSubClass) == (USB_CLASS, USB_SUBCLASS)
        for configuration in device  # type: ignore[attr-defined]  # the library publishes no types
        for interface in configuration
    )
