"""Files that are hardly layouts: missing, huge, noise, other encodings, endless nesting."""

from __future__ import annotations

import random
import time
from pathlib import Path

import pytest

from frogfeed.findings.finding import Finding
from frogfeed.findings.show import show_text
from frogfeed.layout.mistakes import MOST_SHOWN
from frogfeed.layout.reading import MOST_BYTES, BadLayout, read_layout, read_layout_text

QUICK_S = 20.0
"""Of processor time, so that a busy machine does not matter; a reader that hangs takes minutes."""


def refused(path: Path) -> tuple[Finding, ...]:
    started = time.process_time()
    with pytest.raises(BadLayout) as caught:
        read_layout(path)
    assert time.process_time() - started < QUICK_S
    assert len(show_text(caught.value.findings)) < 1500
    return caught.value.findings


def text_refused(text: str) -> tuple[Finding, ...]:
    started = time.process_time()
    with pytest.raises(BadLayout) as caught:
        read_layout_text(text, "x.toml")
    assert time.process_time() - started < QUICK_S
    return caught.value.findings


def test_no_file(tmp_path: Path) -> None:
    (found,) = refused(tmp_path / "none.toml")
    assert found.code == "file-unreadable"
    assert "no such file" in found.what
    assert "frogfeed new" in found.cure


def test_a_folder(tmp_path: Path) -> None:
    (found,) = refused(tmp_path)
    assert found.code == "file-unreadable"


def test_ten_megabytes_of_noise(tmp_path: Path) -> None:
    path = tmp_path / "noise.toml"
    path.write_bytes(random.Random(1).randbytes(10_000_000))
    (found,) = refused(path)
    assert found.code == "file-too-big"
    assert "10.0 MB" in found.what


@pytest.mark.parametrize("seed", range(3))
def test_noise_of_a_size_that_is_read(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "noise.toml"
    path.write_bytes(random.Random(seed).randbytes(MOST_BYTES - 1))
    (found,) = refused(path)
    assert found.code == "file-not-utf8"


@pytest.mark.parametrize("seed", range(3))
def test_printable_noise(tmp_path: Path, seed: int) -> None:
    source = random.Random(seed)
    path = tmp_path / "noise.toml"
    path.write_bytes(bytes(source.choices(range(32, 127), k=MOST_BYTES - 1)))
    assert refused(path)[0].code in ("file-not-toml", "file-too-deep")


def test_eight_megabytes_of_one_word(tmp_path: Path) -> None:
    path = tmp_path / "noise.toml"
    path.write_bytes(b"a" * (MOST_BYTES - 1))
    assert refused(path)[0].code == "file-not-toml"


def test_eight_megabytes_of_blank_lines(tmp_path: Path) -> None:
    path = tmp_path / "noise.toml"
    path.write_bytes(b" \n" * (MOST_BYTES // 2 - 1))
    assert refused(path)[0].code == "file-empty"


def test_utf16(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text('[layout]\nname = "x"\n', encoding="utf-16")
    (found,) = refused(path)
    assert found.code == "file-not-utf8"
    assert "UTF-16" in found.what


def test_latin1_is_located(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes("[layout]\nname = 'ü".encode() + b" \xe4'\n")
    (found,) = refused(path)
    assert found.code == "file-not-utf8"
    assert found.where is not None
    assert (found.where.line, found.where.column) == (2, 11)
    assert "0xe4" in found.what


def test_a_picture(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    assert "not text" in refused(path)[0].what


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[" * 100_000,
        "x = " + "[" * 400 + "]" * 400,
        "x = " + "{a=" * 2000 + "1" + "}" * 2000,
        ".".join("a" * 50_000) + " = 1",
        "[" + ".".join("a" * 50_000) + "]",
        "x = " + "9" * 5000,
        'x = "' + "\\u" * 1000 + '"',
        "\x00",
    ],
    ids=["open", "lists", "tables", "dotted", "header", "digits", "escapes", "nul"],
)
def test_endless_things(text: str) -> None:
    found = text_refused(text)
    assert len(found) <= 3
    assert found[0].code in ("file-not-toml", "file-too-deep", "file-missing-key", "file-unknown-key")


def test_a_hundred_thousand_mistakes_are_counted_and_not_listed() -> None:
    found = text_refused("\n".join(f"k{i} = 1" for i in range(100_000)))
    assert len(found) == MOST_SHOWN + 1
    assert found[-1].code == "file-more"
    assert "99902 more" in found[-1].what


def test_lone_surrogates_are_refused() -> None:
    assert text_refused('[layout]\nname = "\ud800"')[0].code == "file-not-utf8"
