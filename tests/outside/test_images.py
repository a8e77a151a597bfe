"""Image files read back by programs that are not ours.

UF2 by the adafruit-uf2 package, Intel HEX by binutils' objcopy and by srecord, the file system by
littlefs-python's own reader and by the real MicroPython, which mounts it and imports from it.
"""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from adafruit_uf2 import uf2conv
from littlefs import LittleFS, UserContext

from frogboard import frame, settings
from frogfeed.board.errors import ImageError
from frogfeed.board.image.build import BoardImage, build_image, hex_bytes, uf2_bytes
from frogfeed.board.image.content import board_files, check_runtime_file, payload_for
from frogfeed.board.image.geometry import GEOMETRIES
from frogfeed.board.image.memory import cut
from frogfeed.board.image.runtime import read_runtime
from frogfeed.board.image.uf2 import read_uf2
from frogfeed.board.lines import MessageReader
from frogfeed.board.messages import LinkCounters

sys.path.insert(0, str(Path(__file__).parents[1] / "board"))
import railway
import runtime_maker

FILES = {
    "main.py": b"import sys\nsys.path.insert(0, '/fw')\nimport held\nANSWER = held.VALUE * 2\n",
    "fw/held.py": b"VALUE = 21\n" + b"# filler\n" * 3000,
    "settings/a": bytes(range(256)) * 20,
}
MICROPYTHON = shutil.which("micropython") or str(Path(sys.executable).parent / "micropython")


@pytest.fixture(params=sorted(runtime_maker.STORAGE))
def image(request: pytest.FixtureRequest) -> BoardImage:
    return build_image(runtime_maker.runtime(request.param), FILES)


def flash_of(image: BoardImage) -> bytes:
    start = runtime_maker.FLASH
    return cut(image.runs, start, start + image.geometry.flash_size)


def storage_of(image: BoardImage) -> bytes:
    start = image.geometry.storage_address
    return cut(image.runs, start, start + image.geometry.storage_size)


def test_uf2_as_another_package_reads_it(image: BoardImage, capsys: pytest.CaptureFixture[str]) -> None:
    data = uf2_bytes(image)
    assert uf2conv.is_uf2(data)
    wanted = runtime_maker.FAMILY[image.geometry.chip]
    uf2conv.familyid = wanted
    try:
        read = uf2conv.convert_from_uf2(data)
        assert uf2conv.appstartaddr == runtime_maker.FLASH
    finally:
        uf2conv.familyid, uf2conv.appstartaddr = 0, 0x2000
    if image.geometry.chip == "RP2040":  # that package fills gaps between other families' blocks too
        flash = flash_of(image)
        holes = [(i, byte) for i, byte in enumerate(read) if byte != flash[i]]
        assert all(byte == 0 and flash[i] == 0xFF for i, byte in holes)
        assert len(read) == image.runs[-1].end - runtime_maker.FLASH
    assert f"0x{wanted:08x}" in capsys.readouterr().out


@pytest.mark.skipif(not shutil.which("objcopy"), reason="binutils is not installed")
def test_hex_as_objcopy_reads_it(image: BoardImage, tmp_path: Path) -> None:
    (tmp_path / "image.hex").write_bytes(hex_bytes(image))
    subprocess.run(
        ["objcopy", "-I", "ihex", "-O", "binary", "--gap-fill", "0xff", "image.hex", "image.bin"],
        cwd=tmp_path,
        check=True,
        timeout=60,
    )
    read = (tmp_path / "image.bin").read_bytes()
    assert read == flash_of(image)[: len(read)]
    assert len(read) == image.runs[-1].end - runtime_maker.FLASH


@pytest.mark.skipif(not shutil.which("srec_cat"), reason="srecord is not installed")
def test_hex_as_srecord_reads_it(image: BoardImage, tmp_path: Path) -> None:
    (tmp_path / "image.hex").write_bytes(hex_bytes(image))
    subprocess.run(
        f"srec_cat image.hex -intel -offset -{runtime_maker.FLASH} "
        f"-fill 0xff 0 {image.geometry.flash_size} -o image.bin -binary".split(),
        cwd=tmp_path,
        check=True,
        timeout=60,
    )
    assert (tmp_path / "image.bin").read_bytes() == flash_of(image)


def test_the_file_system_as_littlefs_itself_reads_it(image: BoardImage) -> None:
    fs = LittleFS(
        context=UserContext(buffer=bytearray(storage_of(image))),
        block_size=4096,
        block_count=image.geometry.blocks,
        mount=False,
    )
    fs.mount()
    assert fs.fs_stat().block_count == image.geometry.blocks
    for path, body in FILES.items():
        with fs.open("/" + path, "rb") as file:
            assert file.read() == body


MOUNT = """
import os, sys, vfs
class Flash:
    # 4096-byte blocks, programmed in pages of 256, as the rp2 port's flash device gives them
    def __init__(self, path, blocks):
        self.file = open(path, "r+b")
        self.blocks = blocks
    def readblocks(self, block, buf, off=0):
        self.file.seek(block * 4096 + off)
        self.file.readinto(buf)
    def writeblocks(self, block, buf, off=None):
        self.file.seek(block * 4096 + (off or 0))
        self.file.write(buf)
    def ioctl(self, op, arg):
        if op == 4:
            return self.blocks
        if op == 5:
            return 4096
        if op == 6:
            self.file.seek(arg * 4096)
            self.file.write(b"\\xff" * 4096)
            return 0
        return 0
vfs.mount(vfs.VfsLfs2(Flash(sys.argv[1], int(sys.argv[2])), progsize=256, readsize=32, lookahead=32), "/flash")
os.chdir("/flash")
sys.path[:] = ["/flash", "/flash/fw"]
import main
print(main.ANSWER, len(open("/flash/settings/a", "rb").read()))
with open("/flash/more", "w") as f:
    f.write("the runtime can write here")
print(open("/flash/more").read())
"""


@pytest.mark.skipif(not Path(MICROPYTHON).exists(), reason="no MicroPython for this platform")
def test_the_real_micropython_mounts_the_file_system_and_imports_main(image: BoardImage, tmp_path: Path) -> None:
    (tmp_path / "flash.img").write_bytes(storage_of(image))
    (tmp_path / "mount.py").write_text(MOUNT)
    done = subprocess.run(
        [MICROPYTHON, "mount.py", "flash.img", str(image.geometry.blocks)],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.stdout.split("\n") == ["42 5120", "the runtime can write here", ""], done.stderr


MACHINE = """
import sys
PWRON_RESET, WDT_RESET, SOFT_RESET = 1, 3, 5
class Pin:
    IN, OUT, PULL_UP, PULL_DOWN, IRQ_RISING, IRQ_FALLING = 0, 1, 1, 2, 8, 4
    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.level = 1 if value is None else value
    def value(self, level=None):
        if level is None:
            return self.level
        self.level = level
    def irq(self, handler=None, trigger=0, hard=False):
        pass
class PWM:
    def __init__(self, pin, freq=0, duty_ns=0):
        pass
    def duty_ns(self, ns):
        pass
    def deinit(self):
        pass
class ADC:
    def __init__(self, pin):
        pass
    def read_u16(self):
        return 0
class I2C:
    def __init__(self, *how, **more):
        pass
class WDT:
    def __init__(self, id=0, timeout=5000):
        pass
    def feed(self):
        pass
def reset():
    sys.exit(75)
def reset_cause():
    return 1
def unique_id():
    return b"12345678"
"""

BOOT = (
    MOUNT[: MOUNT.index("sys.path[:]")]
    + """
sys.path[:] = [sys.argv[3], "", ".frozen"]
exec(compile(open("main.py").read(), "main.py", "exec"), {"__name__": "__main__"})
"""
)


@pytest.mark.skipif(not Path(MICROPYTHON).exists(), reason="no MicroPython for this platform")
@pytest.mark.parametrize("with_settings", [True, False])
def test_the_firmware_boots_from_the_image_and_answers(with_settings: bool, tmp_path: Path) -> None:
    """The whole image of a board: mounted by the real MicroPython, main.py run, and greeted over its serial side."""
    text, documents, _ = railway.built()
    (document,) = documents.values()
    runtime = runtime_maker.runtime("rp2040-2m")
    info = read_runtime(read_uf2(runtime), name="runtime")
    files = board_files(payload_for(info), document if with_settings else None, text.encode())
    image = build_image(runtime, files)
    (tmp_path / "flash.img").write_bytes(storage_of(image))
    (tmp_path / "boot.py").write_text(BOOT)
    asked = [("hello", {}), ("pull", {"what": "layout", "at": 0})]
    lines = [
        frame.pack({"jsonrpc": "2.0", "id": i, "method": method, "params": params})
        for i, (method, params) in enumerate(asked)
    ]
    (tmp_path / "fakes").mkdir()
    (tmp_path / "fakes" / "machine.py").write_text(MACHINE)
    done = subprocess.run(
        [MICROPYTHON, "boot.py", "flash.img", str(image.geometry.blocks), str(tmp_path / "fakes")],
        cwd=tmp_path,
        input=b"".join(lines),
        capture_output=True,
        timeout=60,
    )
    messages = MessageReader(LinkCounters()).feed(done.stdout)
    answers = {m["id"]: m["result"] for m in messages if "id" in m}
    assert answers, (done.returncode, done.stdout, done.stderr)
    hello = answers[0]
    assert hello["firmware"] == "0.1.0"
    assert hello["settings"] == (settings.crc_of(document) if with_settings else None), hello["reason"]
    assert answers[1]["size"] == len(text.encode())


def test_a_runtime_file_that_is_no_fitting_micropython_is_refused() -> None:
    for changes, words in (
        ({"program": "blink"}, "blink, not MicroPython"),
        ({"version": "v1.21.0"}, "too old"),
    ):
        body = runtime_maker.code(storage=(0x100A0000, 1408 * 1024), **changes)  # type: ignore[arg-type]
        info = read_runtime(read_uf2(runtime_maker.uf2(body, runtime_maker.FAMILY["RP2040"])), name="runtime")
        with pytest.raises(ImageError, match=words):
            check_runtime_file(info, name="runtime")
    good = read_runtime(read_uf2(runtime_maker.runtime("rp2350-4m")), name="runtime")
    check_runtime_file(good, name="runtime")


def test_settings_that_the_board_would_refuse_go_into_no_image() -> None:
    info = read_runtime(read_uf2(runtime_maker.runtime("rp2350-4m")), name="runtime")
    with pytest.raises(ImageError, match="not valid"):
        board_files(payload_for(info), b'{"crc32":"00000000","schema":1}', None)


def test_the_table_of_boards_is_the_flash_less_the_storage() -> None:
    for board in GEOMETRIES.values():
        assert board.storage_offset + board.storage_size == board.flash_size
        assert board.storage_offset % 4096 == 0
