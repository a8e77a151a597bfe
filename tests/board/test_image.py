import struct
from pathlib import Path

import pytest
import runtime_maker
from hypothesis import given
from hypothesis import strategies as st

from frogfeed.board.errors import AmbiguousPort, ImageError, NoPort, PortVanished
from frogfeed.board.image.build import build_image, hex_bytes, image_bytes, uf2_bytes
from frogfeed.board.image.drive import BootDrive, choose_drive, drop, find_drives
from frogfeed.board.image.filesystem import build_file_system, read_file_system
from frogfeed.board.image.geometry import GEOMETRIES
from frogfeed.board.image.inspect import inspect_image
from frogfeed.board.image.memory import Run, cut, join_runs
from frogfeed.board.image.uf2 import Family, read_uf2, runs_of, write_uf2

FILES = {"main.py": b"print('hello')\n", "fw-12345678/frogboard/a.py": b"x = 1\n" * 2000, "empty": b""}
KINDS = sorted(runtime_maker.STORAGE)


@pytest.mark.parametrize("kind", KINDS)
def test_an_image_holds_runtime_and_files_at_the_offset_that_the_runtime_states(kind: str) -> None:
    runtime = runtime_maker.runtime(kind)
    image = build_image(runtime, FILES)
    assert image.geometry == GEOMETRIES[kind]
    found = inspect_image(uf2_bytes(image), name="out.uf2")
    assert found.chip == runtime_maker.STORAGE[kind][0]
    assert (found.program, found.version) == ("MicroPython", "v1.29.0")
    assert {f.path: f.size for f in found.files or ()} == {path: len(body) for path, body in FILES.items()}
    blocks = read_uf2(uf2_bytes(image))
    before = read_uf2(runtime)
    assert set(before[:1]) <= set(blocks) or blocks[0].family == before[0].family
    start = runtime_maker.FLASH
    assert cut(runs_of(b for b in blocks if b.family != Family.ABSOLUTE), start, start + 40_000)[
        :40_000
    ] == runtime_maker.code(storage=runtime_maker.STORAGE[kind][1:])


def test_an_image_is_the_same_byte_for_byte_every_time() -> None:
    runtime = runtime_maker.runtime("rp2040-2m")
    assert uf2_bytes(build_image(runtime, FILES)) == uf2_bytes(build_image(runtime, dict(reversed(FILES.items()))))


def test_both_superblocks_are_written_so_that_no_older_one_wins() -> None:
    image = build_image(runtime_maker.runtime("rp2040-2m"), {})
    start = image.geometry.storage_address
    held = [run for run in image.runs if run.address <= start < run.end]
    assert held and held[0].end >= start + 2 * 4096


def test_an_older_file_system_below_the_image_does_not_show_through() -> None:
    board = GEOMETRIES["rp2040-2m"]
    old = bytearray(build_file_system({"old.py": b"o" * 30_000, "main.py": b"old"}, board).data)
    new = build_file_system(FILES, board)
    for run in new.runs():
        at = run.address - board.storage_address
        old[at : at + len(run.data)] = run.data
    assert read_file_system(bytes(old), board) == FILES


def test_a_runtime_that_says_nothing_needs_the_board_kind() -> None:
    runtime = runtime_maker.runtime("rp2040-2m-radio", states_storage=False)
    with pytest.raises(ImageError, match="does not say where"):
        build_image(runtime, FILES)
    image = build_image(runtime, FILES, geometry="rp2040-2m-radio")
    assert image.geometry.storage_address == 0x1012C000


@pytest.mark.parametrize(
    ("geometry", "message"),
    [
        ("rp2350-4m", "RP2350"),
        ("rp2040-2m-radio", "0x1012c000"),
        ("nonsense", "the kinds are"),
    ],
)
def test_a_board_kind_that_contradicts_the_runtime_is_refused(geometry: str, message: str) -> None:
    with pytest.raises(ImageError) as caught:
        build_image(runtime_maker.runtime("rp2040-2m"), FILES, geometry=geometry)
    assert message in str(caught.value)


def test_a_runtime_that_reaches_into_its_file_system_is_refused() -> None:
    body = runtime_maker.code(storage=(0x10002000, 1024 * 1024))
    with pytest.raises(ImageError, match="the runtime reaches to"):
        build_image(runtime_maker.uf2(body, Family.RP2040), FILES)


@pytest.mark.parametrize(
    ("address", "size"), [(0x10002001, 4096), (0x0FF00000, 4096), (0x10F00000, 0x200000), (0x10100000, 0)]
)
def test_a_runtime_whose_file_system_cannot_be_is_refused(address: int, size: int) -> None:
    body = runtime_maker.code(storage=(address, size))
    with pytest.raises(ImageError, match="cannot be"):
        build_image(runtime_maker.uf2(body, Family.RP2040), FILES)


def test_runtimes_for_other_chips_and_for_ram_are_refused() -> None:
    with pytest.raises(ImageError, match="unknown family 0x12345678"):
        build_image(runtime_maker.uf2(b"x" * 512, 0x12345678), FILES)
    with pytest.raises(ImageError, match="no family"):
        build_image(runtime_maker.uf2(b"x" * 512, 0), FILES)
    with pytest.raises(ImageError, match="outside the flash"):
        build_image(runtime_maker.uf2(b"x" * 512, Family.RP2040, 0x20000000), FILES)
    both = runtime_maker.uf2(b"x" * 512, Family.RP2040) + runtime_maker.uf2(b"x" * 512, Family.RP2350_ARM_S)
    with pytest.raises(ImageError, match="more than one chip"):
        build_image(both, FILES)


def test_files_that_do_not_fit_are_refused() -> None:
    with pytest.raises(ImageError, match="cannot be put"):
        build_image(runtime_maker.runtime("rp2040-2m-radio"), {"big": b"x" * 900_000})


@pytest.mark.parametrize("at", [0, 4, 508, 16, 20, 24])
def test_a_damaged_block_is_named(at: int) -> None:
    data = bytearray(runtime_maker.runtime("rp2040-2m"))
    struct.pack_into("<I", data, 3 * 512 + at, 0xFFFFFFF0)
    with pytest.raises(ImageError, match="block 3"):
        read_uf2(bytes(data))


def test_a_file_cut_short_is_refused() -> None:
    data = runtime_maker.runtime("rp2040-2m")
    with pytest.raises(ImageError, match="whole number"):
        read_uf2(data[:-1])
    with pytest.raises(ImageError, match="missing"):
        read_uf2(data[:-512])
    with pytest.raises(ImageError, match="empty"):
        read_uf2(b"")


@given(st.binary(max_size=2048))
def test_noise_is_never_taken_for_an_image(noise: bytes) -> None:
    with pytest.raises(ImageError):
        inspect_image(noise, name="noise")


@given(
    st.lists(st.tuples(st.integers(0, 4000), st.binary(min_size=1, max_size=700)), min_size=1, max_size=6),
    st.sampled_from(list(Family)),
)
def test_memory_survives_the_way_through_uf2(parts: list[tuple[int, bytes]], family: Family) -> None:
    memory: dict[int, int] = {}
    for at, data in parts:
        memory.update({at + i: byte for i, byte in enumerate(data)})
    runs = join_runs((Run(0x10000000 + at, bytes([byte])) for at, byte in memory.items()), name="test")
    back = runs_of(read_uf2(write_uf2(runs, family)))
    assert cut(back, 0x10000000, 0x10002000) == cut(runs, 0x10000000, 0x10002000)
    assert all(block.family == family and len(block.payload) == 256 for block in read_uf2(write_uf2(runs, family)))


def test_overlapping_parts_are_refused() -> None:
    with pytest.raises(ImageError, match="0x00000102"):
        join_runs([Run(0x100, b"abc"), Run(0x102, b"d")], name="test")


def test_hex_and_uf2_hold_the_same() -> None:
    image = build_image(runtime_maker.runtime("rp2350-4m"), FILES)
    by_uf2 = inspect_image(uf2_bytes(image), name="uf2")
    by_hex = inspect_image(hex_bytes(image), name="hex")
    assert by_uf2.files == by_hex.files
    assert by_hex.geometry == GEOMETRIES["rp2350-4m"]
    assert image_bytes(image, ".HEX") == hex_bytes(image)
    with pytest.raises(ImageError, match=r"\.uf2"):
        image_bytes(image, "bin")


def test_a_damaged_hex_file_is_refused() -> None:
    data = bytearray(hex_bytes(build_image(runtime_maker.runtime("rp2040-2m"), {})))
    data[60] ^= 1
    with pytest.raises(ImageError, match="damaged"):
        inspect_image(bytes(data), name="hex")


def a_drive(folder: Path, board_id: str) -> BootDrive:
    folder.mkdir()
    (folder / "INFO_UF2.TXT").write_text(f"UF2 Bootloader v3.0\nModel: Test\nBoard-ID: {board_id}\n")
    (found,) = find_drives([folder])
    return found


def test_dropping_an_image_on_a_drive(tmp_path: Path) -> None:
    drive = a_drive(tmp_path / "one", "RPI-RP2")
    data = uf2_bytes(build_image(runtime_maker.runtime("rp2040-2m"), FILES))
    steps: list[tuple[int, int]] = []
    drop(data, drive, progress=lambda done, total: steps.append((done, total)))
    (written,) = drive.path.glob("*.uf2")
    assert written.read_bytes() == data
    assert steps[-1] == (len(data), len(data))


def test_an_image_for_the_other_chip_is_refused_before_a_byte_is_written(tmp_path: Path) -> None:
    drive = a_drive(tmp_path / "one", "RP2350")
    data = uf2_bytes(build_image(runtime_maker.runtime("rp2040-2m"), FILES))
    with pytest.raises(ImageError, match="RP2350"):
        drop(data, drive)
    assert [path.name for path in drive.path.iterdir()] == ["INFO_UF2.TXT"]


def test_a_drive_that_is_gone_is_told(tmp_path: Path) -> None:
    drive = BootDrive(tmp_path / "gone", "RPI-RP2", "RP2040")
    with pytest.raises(PortVanished, match="0 of"):
        drop(uf2_bytes(build_image(runtime_maker.runtime("rp2040-2m"), {})), drive)


def test_which_drive_is_chosen(tmp_path: Path) -> None:
    one, other = a_drive(tmp_path / "one", "RPI-RP2"), a_drive(tmp_path / "other", "RP2350")
    third = a_drive(tmp_path / "third", "SOMETHING")
    assert find_drives([tmp_path]) == ()
    assert choose_drive([one, other, third], "RP2350") == other
    with pytest.raises(AmbiguousPort):
        choose_drive([one, one], "RP2040")
    with pytest.raises(ImageError, match="RP2350"):
        choose_drive([other], "RP2040")
    with pytest.raises(NoPort):
        choose_drive([], "RP2040")
