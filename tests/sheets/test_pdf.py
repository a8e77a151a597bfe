"""The files: same input, same bytes; nothing from outside; readable text of a fair size that overlaps nowhere."""

from __future__ import annotations

import datetime
import re
import shutil
import socket
import subprocess
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest

from frogfeed.demo.railway import demo_file
from frogfeed.layout.reading import read_layout
from frogfeed.sheets.make import make_book
from frogfeed.sheets.paper import LETTER

from .make import NO_METER, SHIPPED, made, one, shipped

DAY = datetime.date(2031, 5, 17)
poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler's tools")


@pytest.fixture(scope="module")
def out(tmp_path_factory) -> Path:
    m = shipped("saltmarsh-quay.toml")
    folder = tmp_path_factory.mktemp("sheets")
    make_book(m.layout, m.network, m.plan, folder, date=DAY)
    return folder


def test_the_same_input_gives_the_same_bytes(tmp_path: Path, monkeypatch) -> None:
    def refuse(*args: object, **kwargs: object) -> None:
        raise AssertionError("sheets need no network")

    monkeypatch.setattr(socket, "socket", refuse)
    m = shipped("lone-turnout.toml")
    done: list[float] = []
    first = make_book(m.layout, m.network, m.plan, tmp_path / "one", progress=lambda what, part: done.append(part))
    again = read_layout(demo_file("lone-turnout.toml"))
    second = make_book(again, m.network, m.plan, tmp_path / "other" / "deeper")
    assert [p.relative_to(tmp_path / "one") for p in first] == [
        p.relative_to(tmp_path / "other/deeper") for p in second
    ]
    for a, b in zip(first, second, strict=True):
        assert a.read_bytes() == b.read_bytes(), a.name
    assert done == sorted(done) and done[-1] == 1.0


def test_the_date_is_the_one_passed_in(out: Path) -> None:
    data = (out / "book.pdf").read_bytes()
    assert b"D:20310517" in data
    assert not re.search(rb"D:20[0-2]\d", data)


def test_every_card_and_drawing_is_there_by_itself(out: Path) -> None:
    m = shipped("saltmarsh-quay.toml")
    pieces = [c.name for c in m.book.cards if c.piece]
    assert sorted(p.stem for p in (out / "cards").glob("*.pdf")) == sorted(pieces)
    svgs = {p.stem for p in (out / "drawings").glob("*.svg")}
    assert {f"{p}-{view}" for p in pieces for view in ("above", "below")} <= svgs
    assert {"signs", "board-B1", "layout-1"} <= svgs
    for p in (out / "drawings").glob("*.svg"):
        root = ElementTree.fromstring(p.read_text(encoding="utf-8"))
        for text in root.iter("{http://www.w3.org/2000/svg}text"):
            # One unit is one millimetre, so 8 pt are 2.82 units.
            assert float(text.attrib["font-size"]) >= 8 * 25.4 / 72 - 1e-3


def _pages(pdf: Path) -> list[tuple[float, float, list[tuple[float, float, float, float, str]]]]:
    text = subprocess.run(["pdftotext", "-bbox", str(pdf), "-"], capture_output=True, text=True, check=True).stdout
    root = ElementTree.fromstring(
        re.sub(r"<!DOCTYPE[^>]*>", "", text).replace('xmlns="http://www.w3.org/1999/xhtml"', "")
    )
    found = []
    for page in root.iter("page"):
        words = [
            (*(float(w.attrib[k]) for k in ("xMin", "yMin", "xMax", "yMax")), w.text or "") for w in page.iter("word")
        ]
        found.append((float(page.attrib["width"]), float(page.attrib["height"]), words))
    return found


@poppler
def test_no_word_of_the_book_lies_on_another_or_leaves_its_page(out: Path) -> None:
    pages = _pages(out / "book.pdf")
    assert sum(len(words) for _, _, words in pages) > 1500
    for n, (width, height, words) in enumerate(pages, 1):
        for x0, y0, x1, y1, word in words:
            assert x0 >= 0 and y0 >= 0 and x1 <= width and y1 <= height, (n, word)
        for a, b in combinations(words, 2):
            wide, high = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
            # Boxes here are the faces' whole ascent and descent; lines of text lie closer than that.
            assert wide <= 1.0 or high <= 0.45 * min(a[3] - a[1], b[3] - b[1]), (n, a, b)


@poppler
def test_only_the_typesetters_own_faces_and_no_small_print(out: Path) -> None:
    fonts = subprocess.run(["pdffonts", str(out / "book.pdf")], capture_output=True, text=True, check=True).stdout
    names = {line.split()[0].partition("+")[2] for line in fonts.splitlines()[2:]}
    assert names and all(n.startswith(("LibertinusSerif", "DejaVuSansMono", "NewCM")) for n in names)
    for line in fonts.splitlines()[2:]:
        assert " yes yes " in line, "embedded and subset"
    for _, _, words in _pages(out / "book.pdf"):
        for _, y0, _, y1, word in words:
            # The faces' boxes are 0.9 to 1.2 of their size high.
            assert y1 - y0 >= 8 * 0.86, word


@poppler
def test_letter_paper_and_the_smallest_layout(tmp_path: Path) -> None:
    m = shipped("lone-turnout.toml")
    book = make_book(m.layout, m.network, m.plan, tmp_path, LETTER)[0]
    sizes = {tuple(sorted((round(w), round(h)))) for w, h, _ in _pages(book)}
    assert sizes == {(612, 792)}


@poppler
@pytest.mark.parametrize("name", SHIPPED[:1])
def test_cautions_hash_and_every_mark_can_be_found_in_the_text(name: str, out: Path) -> None:
    text = subprocess.run(["pdftotext", str(out / "book.pdf"), "-"], capture_output=True, text=True, check=True).stdout
    flat = " ".join(text.split())
    for phrase in ("Mains voltage", "set fire to wires", "no safety system for people", "2031-05-17"):
        assert phrase in flat
    m = shipped(name)
    assert m.book.layout_hash in flat
    for mark in [j.mark for j in m.book.joints] + [w.mark for w in m.book.wires]:
        assert re.search(rf"\b{mark}\b", flat), mark


def test_long_names_stay_inside_their_page(tmp_path: Path) -> None:
    layout = one(
        "turnout",
        'make = "live-frog"\nstate = "isolated-frog"',
        "toe left right",
        name="T" + "iiiiiiiW" * 3 + "_x-9876",
    )
    m = made(layout)
    book = make_book(layout, m.network, m.plan, tmp_path, meter=NO_METER)[0]
    if shutil.which("pdftotext") is None:
        assert book.read_bytes().startswith(b"%PDF")
        return
    for width, height, words in _pages(book):
        for x0, y0, x1, y1, word in words:
            assert x0 >= 0 and x1 <= width and y0 >= 0 and y1 <= height, word
