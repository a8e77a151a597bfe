"""What the board keeps in flash: settings, layout text, positions, trims, the maintenance mark.

All below one folder that is passed in:
- `settings.0`, `settings.1`: two slots; `settings.at` says which is in force. A push fills the other slot, reads it
  back, and only then replaces `settings.at`. Where the slot in force is damaged the other one serves.
- `layout`: the layout file's text. `trims`: pulse ends trimmed since. `maintenance`: its presence is the mark.
- `crash`: how often the program ended by an exception since it last ran well, and the last one's words.
- `positions`: one line a drive: key, setting (2: unknown), pulse in 4 digits. Small on purpose: littlefs keeps
  such a file inside its folder's metadata, so writing it erases a block only now and then.

Every file that matters carries its own CRC-32, so a torn one is never believed. No hardware.
"""

import binascii

from frogboard import files, settings
from frogboard.table import UNKNOWN

if False:
    from typing import Any

STRAY_US = 100
"""A remembered pulse further than this from the end in the settings: the position is not known."""


def crc_text(data: "bytes | bytearray | memoryview") -> str:
    """CRC-32 as 8 lower hex digits."""
    return "%08x" % (binascii.crc32(data) & 0xFFFFFFFF)


def drive_key(spec: "dict[str, Any]") -> str:
    """What makes a drive the same one over new settings: its name, settings and output."""
    out = spec["out"]
    words = [spec["name"], spec["settings"][0], spec["settings"][1]]
    words += [out["kind"], str(out["pin"]), str(out["chip"]), str(out["channel"])]
    return crc_text("\n".join(words).encode())


class Store:
    """Files below `root`. Methods that write raise OSError; what was there before is then still in force."""

    def __init__(self, root: str) -> None:
        self.root = root
        self.reason: "str | None" = None
        self.writes = 0
        self._found = 0
        """The slot whose document was found whole."""

    def _path(self, name: str) -> str:
        return files.join(self.root, name)

    def _put(self, name: str, data: "bytes | bytearray | memoryview") -> None:
        self.writes += 1
        files.replace(self._path(name), data)

    def slot(self) -> int:
        """The slot in force, by the pointer; 0 where there is none."""
        return 1 if files.read(self._path("settings.at")) == b"1" else 0

    def settings_text(self) -> "bytes | None":
        """The bytes of the settings in force, or None; `reason` says why."""
        first = self.slot()
        for slot in (first, 1 - first):
            text = files.read(self._path("settings.%d" % slot))
            if text is not None and settings.crc_of(text) is not None:
                self._found = slot
                return text
        self.reason = "none stored"
        return None

    def load_settings(self) -> "tuple[dict[str, Any], str] | None":
        """(document, its CRC), or None; `reason` then says why there are none in force."""
        text = self.settings_text()
        if text is None:
            return None
        doc, self.reason = settings.load(text)
        if doc is None:
            return None
        return doc, settings.crc_of(text) or ""

    def commit_settings(self, text: "bytes | bytearray | memoryview") -> str:
        """Put a document in force. The CRC it states. Raises OSError (also where it reads back otherwise)."""
        crc = settings.crc_of(text)
        if crc is None:
            raise OSError("the settings' CRC does not fit")
        slot = 1 - self.slot()
        self._put_checked("settings.%d" % slot, text)
        self._put("settings.at", b"%d" % slot)
        files.remove(self._path("trims"))
        files.remove(self._path("crash"))
        return crc

    def commit_layout(self, text: "bytes | bytearray | memoryview") -> str:
        """Keep the layout file's text. Its CRC-32 as read back. Raises OSError."""
        return self._put_checked("layout", text)

    def _put_checked(self, name: str, data: "bytes | bytearray | memoryview") -> str:
        """Put a file and read it back. Its CRC-32. Raises OSError."""
        self._put(name, data)
        crc = binascii.crc32(data) & 0xFFFFFFFF
        if files.measure(self._path(name)) != (len(data), crc):
            raise OSError("%s reads back otherwise" % name)
        return "%08x" % crc

    def held(self, what: str) -> "tuple[str, int, str] | None":
        """(path, size, CRC-32) of the "settings" or the "layout" as pushed; None: there are none."""
        path = self._path("layout")
        if what == "settings":
            if self.settings_text() is None:
                return None
            path = self._path("settings.%d" % self._found)
        measured = files.measure(path)
        return None if measured is None else (path, measured[0], "%08x" % measured[1])

    def save_positions(self, keys: "list[str]", positions: "list[tuple[int, int]]") -> None:
        """Write (setting, pulse) of the drives with these keys."""
        body = "\n".join("%s%d%04d" % (k, p[0], p[1]) for k, p in zip(keys, positions)).encode()
        self._put("positions", crc_text(body).encode() + b"\n" + body)

    def load_positions(self) -> "dict[str, tuple[int, int]]":
        """Positions by key; empty where there are none or they are damaged."""
        data = files.read(self._path("positions"))
        body = _checked(data)
        found: "dict[str, tuple[int, int]]" = {}
        for line in [] if body is None else body.split("\n"):
            if len(line) == 13:
                found[line[:8]] = (int(line[8]), int(line[9:]))
        return found

    def save_trims(self, settings_crc: str, trims: "list[tuple[int, int, int]]") -> None:
        """Keep trims (drive, setting, pulse) that belong to the settings with this CRC."""
        body = "\n".join([settings_crc] + ["%d %d %d" % t for t in trims]).encode()
        self._put("trims", crc_text(body).encode() + b"\n" + body)

    def load_trims(self, settings_crc: str) -> "list[tuple[int, int, int]]":
        """The trims that belong to these settings; empty where there are none."""
        data = files.read(self._path("trims"))
        body = _checked(data)
        lines = [] if body is None else body.split("\n")
        if not lines or lines[0] != settings_crc:
            return []
        found: "list[tuple[int, int, int]]" = []
        for line in lines[1:]:
            words = line.split(" ")
            found.append((int(words[0]), int(words[1]), int(words[2])))
        return found

    def crashes(self) -> "tuple[int, str]":
        """(how many in a row, the last one's words); main.py writes them."""
        data = files.read(self._path("crash"))
        if not data:
            return 0, ""
        return data[0] - 48, data[1:].decode()

    def forgive(self) -> None:
        """Forget crashes."""
        files.remove(self._path("crash"))

    def set_maintenance(self) -> None:
        """Leave the mark that main.py looks for."""
        self._put("maintenance", b"1")

    def prepare(self) -> None:
        """Make the folder. Raises OSError."""
        if self.root:
            files.make_dir(self.root)


def _checked(data: "bytes | None") -> "str | None":
    """The text after a first line that is its CRC-32, or None where that does not fit."""
    if data is None or data[8:9] != b"\n" or crc_text(data[9:]).encode() != data[:8]:
        return None
    return data[9:].decode()


def remembered(ends: "list[int]", found: "tuple[int, int] | None") -> "tuple[int, int]":
    """(setting, pulse) that a drive may rely on; (UNKNOWN, 0) where nothing is certain."""
    if found is None or found[0] not in (0, 1):
        return UNKNOWN, 0
    setting, pulse_us = found
    if not 300 <= pulse_us <= 2700 or abs(pulse_us - ends[setting]) > STRAY_US:
        return UNKNOWN, 0
    return setting, pulse_us
