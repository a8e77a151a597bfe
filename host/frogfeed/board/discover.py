"""What is plugged in, and in which state: a board of ours, a bare runtime, a bootloader drive, or unknown."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

from frogfeed.board.client import Client, Limits
from frogfeed.board.errors import BoardError, LinkNoise, OtherFirmware, PortBusy
from frogfeed.board.image.drive import BootDrive, find_drives
from frogfeed.board.messages import Hello
from frogfeed.board.ports import Port, list_ports
from frogfeed.board.transport import Opener, open_serial

__all__ = ["MAKER_VID", "Seen", "State", "look_around", "probe"]

MAKER_VID = 0x2E8A
"""USB vendor number of the chips' maker, which MicroPython uses on them too."""

QUICK = Limits(answer_s=0.5, hello_s=1.0, reconnect_s=0.0, tries=1)


class State(StrEnum):
    """What a port or drive turned out to be."""

    OURS = "ours"
    OTHER_VERSION = "ours, another version"
    RUNTIME = "runtime"
    BOOTLOADER = "bootloader drive"
    BUSY = "busy"
    UNKNOWN = "unknown"
    NOT_ASKED = "not asked"


_NEXT = {
    State.OURS: "",
    State.OTHER_VERSION: "`frogfeed install` brings its firmware up to date",
    State.RUNTIME: "MicroPython without our firmware: `frogfeed install` puts it there",
    State.BOOTLOADER: "no MicroPython running: `frogfeed image` makes a file for it and can drop it there",
    State.BUSY: "another program has this port open",
    State.UNKNOWN: "nothing answers; press the board's reset, or hold its boot button while plugging it in",
    State.NOT_ASKED: "not a board's port by its USB number; name it with --port if it is one",
}


@dataclass(frozen=True, slots=True)
class Seen:
    """One thing that is plugged in. `where` is a port or a drive's folder; `id` a USB serial number or None."""

    where: str
    state: State
    id: str | None = None
    chip: str | None = None
    hello: Hello | None = None

    @property
    def next_step(self) -> str:
        """What to do with it, for a person."""
        if self.state is State.OURS and self.hello is not None and self.hello.settings is None:
            return "no settings yet: `frogfeed push` sends them"
        return _NEXT[self.state]

    def as_dict(self) -> dict[str, object]:
        """For `--json`."""
        hello = self.hello
        return {
            "where": self.where,
            "state": self.state.value,
            "id": self.id,
            "chip": self.chip,
            "board": hello.board if hello else None,
            "layout": hello.layout if hello else None,
            "firmware": hello.firmware if hello else None,
            "settings": hello.settings if hello else None,
            "next": self.next_step,
        }


def look_around(
    *,
    also: Iterable[str] = (),
    ports: Iterable[Port] | None = None,
    drives: Iterable[BootDrive] | None = None,
    open_port: Callable[[str], Opener] = lambda device: lambda: open_serial(device),
) -> tuple[Seen, ...]:
    """Everything plugged in. Only ports with the chips' own USB number are written to, and those in `also`.

    `ports` and `drives` replace those of this computer.
    """
    seen = []
    all_ports = tuple(list_ports() if ports is None else ports)
    named = tuple(also)
    for port in (*all_ports, *(Port(name) for name in named if name not in {p.device for p in all_ports})):
        if port.vid == MAKER_VID or port.device in named:
            seen.append(probe(port, open_port(port.device)))
        elif port.is_usb:
            seen.append(Seen(port.device, State.NOT_ASKED, port.serial_number))
    for drive in find_drives() if drives is None else drives:
        seen.append(Seen(str(drive.path), State.BOOTLOADER, None, drive.chip))
    return tuple(seen)


def probe(port: Port, opener: Opener) -> Seen:
    """Greet what is on a port, for a second at most, and say what it is."""
    client = Client(opener, limits=QUICK)
    try:
        hello = client.connect()
        return Seen(port.device, State.OURS, hello.id, hello=hello)
    except OtherFirmware:
        told = client.hello
        return Seen(port.device, State.OTHER_VERSION, told.id if told else port.serial_number, hello=told)
    except LinkNoise as noise:
        state = State.RUNTIME if noise.is_prompt else State.UNKNOWN
        return Seen(port.device, state, port.serial_number)
    except PortBusy:
        return Seen(port.device, State.BUSY, port.serial_number)
    except BoardError:
        return Seen(port.device, State.UNKNOWN, port.serial_number)
    finally:
        client.close()
