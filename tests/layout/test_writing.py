"""Values written back: comments and order stay, all or nothing, and a crash leaves a whole file."""

from __future__ import annotations

import os
import stat
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frogfeed.layout import writing
from frogfeed.layout.atomic import create_file, replace_file
from frogfeed.layout.reading import BadLayout, read_layout
from frogfeed.layout.starter import STARTER
from frogfeed.layout.writing import CannotWrite, set_values, with_values

TRIMMED = STARTER + (
    "\n# the stiff one\n[drive.T1]   # under the bridge\n"
    "pulse_us = { left = 1300, right = 1700 }  # trimmed in May\nlag_ms = 90\n"
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "ferry.toml"
    path.write_text(TRIMMED, encoding="utf-8")
    return path


def test_one_value_changes_and_nothing_else(path: Path) -> None:
    layout = set_values(path, {("drive", "T1", "pulse_us", "left"): 1311})
    assert path.read_text(encoding="utf-8") == TRIMMED.replace("left = 1300,", "left = 1311,")
    assert layout.file.drive["T1"].pulse_us == {"left": 1311, "right": 1700}
    assert read_layout(path).hash == layout.hash


def test_missing_tables_are_added_at_the_end(path: Path) -> None:
    set_values(path, {("drive", "T2", "pulse_us", "left"): 1400, ("drive", "T2", "pulse_us", "right"): 1600})
    text = path.read_text(encoding="utf-8")
    assert text.startswith(TRIMMED)
    assert text.removeprefix(TRIMMED).strip() == "[drive.T2]\npulse_us = {left = 1400, right = 1600}"


def test_windows_line_ends_stay(path: Path) -> None:
    path.write_bytes(TRIMMED.replace("\n", "\r\n").encode())
    set_values(path, {("drive", "T1", "lag_ms"): 95})
    assert path.read_bytes() == TRIMMED.replace("lag_ms = 90", "lag_ms = 95").replace("\n", "\r\n").encode()


@pytest.mark.parametrize(
    "values",
    [
        {("drive", "T1", "pulse_us", "left"): 9000},
        {("drive", "T1", "lag_ms"): 95, ("turnout", "T1", "make"): "wood"},
        {("drive", "T9", "lag_ms"): 95},
        {("drive", "T1", "pulse_us", "midway"): 1500},
    ],
)
def test_what_would_be_a_mistake_is_refused_whole(path: Path, values: dict[tuple[str, ...], object]) -> None:
    with pytest.raises(BadLayout):
        set_values(path, values)  # type: ignore[arg-type]
    assert path.read_text(encoding="utf-8") == TRIMMED
    assert list(path.parent.iterdir()) == [path]


def test_a_file_with_mistakes_is_not_written_to(path: Path) -> None:
    path.write_text(TRIMMED + "nonsense", encoding="utf-8")
    with pytest.raises(BadLayout):
        set_values(path, {("drive", "T1", "lag_ms"): 95})
    assert path.read_text(encoding="utf-8") == TRIMMED + "nonsense"


@pytest.mark.parametrize("path_in", [("layout", "name", "x"), ("drive", "T1", "lag_ms", "x"), ("layout", "name", 3)])
def test_a_path_through_something_that_is_no_table(path: Path, path_in: tuple[str | int, ...]) -> None:
    with pytest.raises(CannotWrite):
        set_values(path, {path_in: 1})
    assert path.read_text(encoding="utf-8") == TRIMMED


def test_a_file_changed_meanwhile_is_left_alone(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    changed = TRIMMED + "# typed in an editor just now\n"
    original = writing.with_values

    def slow(text: str, values: object) -> str:
        path.write_text(changed, encoding="utf-8")
        return original(text, values)  # type: ignore[arg-type]

    monkeypatch.setattr(writing, "with_values", slow)
    with pytest.raises(CannotWrite, match="meanwhile"):
        set_values(path, {("drive", "T1", "lag_ms"): 95})
    assert path.read_text(encoding="utf-8") == changed


def test_permissions_and_links_stay(path: Path) -> None:
    path.chmod(0o640)
    link = path.parent / "link.toml"
    link.symlink_to(path)
    set_values(link, {("drive", "T1", "lag_ms"): 95})
    assert link.is_symlink()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert "lag_ms = 95" in path.read_text(encoding="utf-8")


def test_a_crash_before_the_rename_leaves_the_old_file(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def crash(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", crash)
    with pytest.raises(OSError, match="space"):
        replace_file(path, b"half")
    assert path.read_text(encoding="utf-8") == TRIMMED
    assert list(path.parent.iterdir()) == [path]


def test_a_crash_while_writing_leaves_the_old_file(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def crash(handle: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(os, "fsync", crash)
    with pytest.raises(OSError, match="Input"):
        replace_file(path, b"half")
    assert path.read_text(encoding="utf-8") == TRIMMED
    assert list(path.parent.iterdir()) == [path]


def test_the_data_is_on_the_disk_before_the_rename(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    order: list[str] = []
    sync, replace = os.fsync, Path.replace

    def fsync(handle: int) -> None:
        order.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        sync(handle)

    def rename(self: Path, target: Path) -> Path:
        order.append("rename")
        return replace(self, target)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(Path, "replace", rename)
    replace_file(path, b"new")
    assert order == ["file", "rename", "folder"]


def test_a_new_file_never_takes_a_name_that_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    create_file(path, b"one")
    with pytest.raises(FileExistsError):
        create_file(path, b"two")
    assert path.read_bytes() == b"one"
    assert list(tmp_path.iterdir()) == [path]


def test_a_new_file_where_hard_links_are_not_to_be_had(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", no_links)
    path = tmp_path / "a.toml"
    create_file(path, b"one")
    with pytest.raises(FileExistsError):
        create_file(path, b"two")
    assert path.read_bytes() == b"one"
    assert list(tmp_path.iterdir()) == [path]


NUMBERS = st.integers(800, 2200)


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(st.sampled_from(["T1", "T2"]), st.tuples(NUMBERS, NUMBERS), min_size=1), st.text(max_size=20))
def test_values_round_trip_and_every_comment_stays(pulses: dict[str, tuple[int, int]], name: str) -> None:
    values = {("drive", d, "pulse_us"): {"left": a, "right": b} for d, (a, b) in pulses.items()}
    text = with_values(TRIMMED, {**values, ("layout", "name"): name})
    found = tomllib.loads(text)
    assert found["layout"]["name"] == name
    assert {d: tuple(found["drive"][d]["pulse_us"].values()) for d in pulses} == pulses
    comments = [row.partition("#")[2] for row in TRIMMED.split("\n") if "#" in row]
    position = 0
    for comment in comments:
        position = text.index(comment, position)
