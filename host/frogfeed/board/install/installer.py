"""The installation itself: compare, copy, send, prove, and only then turn the pointer."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from frogfeed.board.errors import InstallFailed
from frogfeed.board.install.payload import Payload
from frogfeed.board.install.pointer import BESIDE, POINTER, Pointer
from frogfeed.board.install.repl import Prompt, value, write_file

__all__ = ["Installed", "Step", "put_firmware"]

SPARE_BYTES = 16 * 1024
"""Room that must be left for settings, positions and the file system's own needs."""

_COPIES_AT_ONCE = 12

_HASH = f"""
import os, json, hashlib, binascii
_pointer = {POINTER!r}
_b = bytearray(512)
_m = memoryview(_b)
def _hash(p):
    h = hashlib.sha256()
    with open(p, 'rb') as f:
        while True:
            n = f.readinto(_b)
            if not n:
                break
            h.update(_m[:n])
    return binascii.hexlify(h.digest()).decode()
"""
_HELD = (
    _HASH
    + """
def _walk(d, out):
    for e in os.listdir(d or '.'):
        p = d + '/' + e if d else e
        if os.stat(p)[0] & 0x4000:
            if d or e == 'frogboard' or e.startswith('fw-'):
                _walk(p, out)
        elif d or e in ('main.py', _pointer):
            out[p] = _hash(p)
_o = {}
_walk('', _o)
try:
    with open(_pointer) as _p:
        _t = _p.read()
except OSError:
    _t = ''
print(json.dumps({'files': _o, 'pointer': _t}))
"""
)

_COPY = """
def _copy(a, z):
    b = bytearray(512)
    m = memoryview(b)
    with open(a, 'rb') as f, open(z, 'wb') as g:
        while True:
            n = f.readinto(b)
            if not n:
                break
            g.write(m[:n])
"""


@dataclass(frozen=True, slots=True)
class Step:
    """Progress: what is being done, with bytes sent and bytes to send."""

    words: str
    sent: int
    to_send: int


@dataclass(frozen=True, slots=True)
class Installed:
    """What an installation did. `sent` and `copied` count files; `before` is the folder to fall back to."""

    folder: str
    before: str
    form: str
    sent: int
    sent_bytes: int
    copied: int
    unchanged: bool


@dataclass(frozen=True, slots=True)
class _Board:
    files: Mapping[str, str]
    pointer: Pointer | None

    @property
    def in_force(self) -> str:
        """The folder that main.py runs now; BESIDE, or "" where there is no firmware."""
        if self.pointer is not None and any(path.startswith(self.pointer.folder + "/") for path in self.files):
            return self.pointer.folder
        return BESIDE if any(path.startswith("frogboard/") for path in self.files) else ""


def put_firmware(
    prompt: Prompt, payload: Payload, *, free: int = -1, progress: Callable[[Step], None] = lambda step: None
) -> Installed:
    """Bring a board at its prompt up to `payload`; the pointer turns last, by one rename.

    `free` is the room on the board in bytes (-1: not known). Whatever stops it before the rename, the
    board runs what it ran before; started again, it sends only what is still missing. Raises
    InstallFailed and PortVanished.
    """
    board = _look(prompt)
    hashes = {path: _sha(content) for path, content in payload.files.items()}
    folder = _choose_folder(board, payload.folder, hashes)
    here = {path: digest for path, digest in board.files.items() if path.startswith(folder + "/")}
    wanted = {f"{folder}/{path}": digest for path, digest in hashes.items()}
    missing = [path for path, digest in wanted.items() if here.get(path) != digest]
    new_main = board.files.get("main.py") != _sha(payload.main)
    if board.in_force == folder and not missing and not new_main:
        return Installed(folder, board.pointer.before if board.pointer else "", payload.form, 0, 0, 0, True)
    _make_folders(prompt, wanted)
    known = {digest: path for path, digest in board.files.items()}
    copies = [(known[wanted[path]], path) for path in missing if wanted[path] in known]
    to_send = {path: payload.files[path[len(folder) + 1 :]] for path in missing if wanted[path] not in known}
    if new_main:
        to_send["main.py.new"] = payload.main
    _check_room(to_send, free)
    _copy_on_board(prompt, copies)
    total = _send(prompt, to_send, progress)
    for stray in sorted(set(here) - set(wanted)):
        prompt.run(f"import os\nos.remove({stray!r})")
    progress(Step("proving what arrived", total, total))
    _prove(prompt, {**wanted, **({"main.py.new": _sha(payload.main)} if new_main else {})})
    before = board.in_force if board.in_force != folder else (board.pointer.before if board.pointer else "")
    _turn(prompt, Pointer(folder, before, is_new=bool(before)), new_main, bool(board.in_force))
    _clean(prompt, board, {folder, before})
    return Installed(folder, before, payload.form, len(to_send), total, len(copies), False)


def _look(prompt: Prompt) -> _Board:
    found = value(prompt, _HELD)
    return _Board({str(k): str(v) for k, v in found["files"].items()}, Pointer.of(str(found["pointer"])))


def _choose_folder(board: _Board, name: str, hashes: Mapping[str, str]) -> str:
    """A folder that is not in force, unless the one in force is whole and the very same."""
    if board.in_force != name:
        return name
    whole = all(board.files.get(f"{name}/{path}") == digest for path, digest in hashes.items())
    return name if whole else f"{name}-b"


def _make_folders(prompt: Prompt, paths: Mapping[str, str]) -> None:
    folders = {str(parent) for path in paths for parent in PurePosixPath(path).parents if str(parent) != "."}
    names = sorted(folders, key=len)
    prompt.run(f"import os\nfor _n in {names!r}:\n    try:\n        os.mkdir(_n)\n    except OSError:\n        pass\n")


def _check_room(to_send: Mapping[str, bytes], free: int) -> None:
    needed = sum((len(data) + 4095) // 4096 * 4096 for data in to_send.values()) + SPARE_BYTES
    if 0 <= free < needed:
        raise InstallFailed(
            f"the board has {free} bytes free; {needed} are needed",
            why="the new firmware is put beside the old one, so that the old one can go on running",
            cure="remove other files from the board, then install again",
        )


def _copy_on_board(prompt: Prompt, copies: Sequence[tuple[str, str]]) -> None:
    """Files that the board has elsewhere already need not come over the cable again."""
    for at in range(0, len(copies), _COPIES_AT_ONCE):
        pairs = list(copies[at : at + _COPIES_AT_ONCE])
        prompt.run(f"{_COPY}\nfor _a, _z in {pairs!r}:\n    _copy(_a, _z)\n")


def _send(prompt: Prompt, files: Mapping[str, bytes], progress: Callable[[Step], None]) -> int:
    total = sum(len(data) for data in files.values())
    sent = 0
    for path, data in files.items():
        before = sent
        progress(Step(f"sending {path}", sent, total))

        def done(count: int, path: str = path, before: int = before) -> None:
            progress(Step(f"sending {path}", before + count, total))

        write_file(prompt, path, data, done)
        sent += len(data)
    return total


def _prove(prompt: Prompt, wanted: Mapping[str, str]) -> None:
    """Compare the hashes of what the board reads back from its flash."""
    code = _HASH + (
        "_o = {}\n"
        f"for _p in {sorted(wanted)!r}:\n"
        "    try:\n        _o[_p] = _hash(_p)\n    except OSError:\n        _o[_p] = ''\n"
        "print(json.dumps(_o))\n"
    )
    found = value(prompt, code)
    wrong = sorted(path for path, digest in wanted.items() if found.get(path) != digest)
    if wrong:
        raise InstallFailed(
            f"{len(wrong)} of {len(wanted)} files did not arrive as they were sent: {wrong[0]}",
            why="the line or the board's flash changed them; the old firmware is still in force",
            cure="install again; try another cable if it goes on",
        )


def _turn(prompt: Prompt, pointer: Pointer, new_main: bool, had_firmware: bool) -> None:
    """Put main.py and the pointer in force, each by one rename.

    A board without firmware gets the pointer first, so that main.py never finds nothing to run; one with
    firmware gets it last, so that the old firmware is in force until then.
    """
    rename_main = "_r('main.py.new', 'main.py')\n" if new_main else ""
    rename_pointer = f"_r({POINTER + '.new'!r}, {POINTER!r})\n"
    text = pointer.text()
    prompt.run(
        "import os\n"
        "_r = getattr(os, 'replace', os.rename)\n"
        f"with open({POINTER + '.new'!r}, 'w') as _f:\n    _f.write({text!r})\n"
        f"with open({POINTER + '.new'!r}) as _f:\n    assert _f.read() == {text!r}\n"
    )
    first, second = (rename_main, rename_pointer) if had_firmware else (rename_pointer, rename_main)
    for rename in (first, second):
        if rename:
            prompt.run(rename)


def _clean(prompt: Prompt, board: _Board, keep: set[str]) -> None:
    """Remove folders of firmware that neither is in force nor will be fallen back to."""
    folders = {path.split("/")[0] for path in board.files if path.startswith("fw-")} - keep
    for folder in sorted(folders):
        prompt.run(
            "import os\n"
            "def _rm(p):\n"
            "    if os.stat(p)[0] & 0x4000:\n"
            "        for e in os.listdir(p):\n            _rm(p + '/' + e)\n"
            "        os.rmdir(p)\n"
            "    else:\n        os.remove(p)\n"
            f"_rm({folder!r})\n"
        )


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
