"""Which serial ports there are, and which one a board hangs on.

Boards are told apart by their USB serial number, never by a device name: names move from one plugging to
the next. Where more than one port fits, none is opened.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from serial.tools import list_ports as _list_ports

from frogfeed.board.errors import AmbiguousPort, NoPort
from frogfeed.board.transport import Opener, Transport, open_serial

__all__ = ["Port", "find_port", "list_ports", "opener_for", "same_serial"]


@dataclass(frozen=True, slots=True)
class Port:
    """One serial port of this computer. `serial_number`, `vid`, `pid` are None for ports not on USB."""

    device: str
    serial_number: str | None = None
    vid: int | None = None
    pid: int | None = None
    description: str = ""

    @property
    def is_usb(self) -> bool:
        """Whether it is a USB device."""
        return self.vid is not None

    def __str__(self) -> str:
        return f"{self.device} (serial number {self.serial_number or 'none'})"


def list_ports() -> tuple[Port, ...]:
    """All serial ports of this computer, USB ones first, in a stable order."""
    found = (
        Port(
            device=str(entry.device),
            serial_number=entry.serial_number or None,
            vid=entry.vid,
            pid=entry.pid,
            description=str(entry.description or ""),
        )
        for entry in _list_ports.comports()
    )
    return tuple(sorted(found, key=lambda port: (not port.is_usb, port.device)))


def same_serial(one: str, other: str) -> bool:
    """Whether two USB serial numbers are the same: systems differ in their use of capitals."""
    return one.strip().lower() == other.strip().lower()


def find_port(
    *,
    device: str | None = None,
    serial_number: str | None = None,
    ports: Iterable[Port] | None = None,
) -> str:
    """The one device to open.

    `device` (from `--port`) is taken as it is. Otherwise the port whose USB serial number is
    `serial_number`; with neither, the only USB port there is. Raises NoPort, or AmbiguousPort where more
    than one fits. `ports` replaces the ports of this computer.
    """
    if device is not None:
        return device
    usb = [port for port in (list_ports() if ports is None else ports) if port.is_usb]
    if serial_number is not None:
        fitting = [port for port in usb if same_serial(port.serial_number or "", serial_number)]
    else:
        fitting = usb
    if len(fitting) == 1:
        return fitting[0].device
    if not fitting:
        raise _none_fits(usb, serial_number)
    wanted = f"with the serial number {serial_number}" if serial_number is not None else "on USB"
    names = ", ".join(str(port) for port in fitting)
    raise AmbiguousPort(f"{len(fitting)} ports {wanted}: {names}", candidates=[port.device for port in fitting])


def _none_fits(usb: Sequence[Port], serial_number: str | None) -> NoPort:
    if serial_number is None:
        return NoPort(
            "no serial port on USB was found",
            why="no board is plugged in, or it has no MicroPython yet (then it shows as a drive)",
            cure="plug the board in with a cable that carries data; `frogfeed bench` gives a simulated one, "
            "to be named with --port",
        )
    seen = ", ".join(str(port) for port in usb) or "none"
    return NoPort(
        f"no board with the serial number {serial_number} is plugged in",
        why=f"USB ports seen: {seen}",
        cure="plug that board in, or name a port with --port; for a new board in its place, "
        "`frogfeed replace` moves the settings",
    )


def opener_for(
    *,
    device: str | None = None,
    serial_number: str | None = None,
    ports: Callable[[], Iterable[Port]] = list_ports,
) -> Opener:
    """An opener that finds the port anew each time: after re-plugging, its name may be another."""

    def open_it() -> Transport:
        return open_serial(find_port(device=device, serial_number=serial_number, ports=ports()))

    return open_it
