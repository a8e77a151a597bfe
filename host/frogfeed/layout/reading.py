"""From the file a person wrote to a `Layout`, or to all its mistakes at once, each at its place."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from frogfeed.findings.codes import info
from frogfeed.findings.finding import Finding, Location
from frogfeed.layout import toml_errors
from frogfeed.layout.checks import (
    check_accepts,
    check_boards,
    check_districts,
    check_kinds,
    check_names,
    check_parts,
)
from frogfeed.layout.drive_checks import DriveChecker
from frogfeed.layout.ends import KindReader, KindShape, read_shapes
from frogfeed.layout.known import Known, known_parts
from frogfeed.layout.line_checks import LineChecker
from frogfeed.layout.line_items import Broken, ItemReader, Names
from frogfeed.layout.lines import LineItem
from frogfeed.layout.mistakes import BadLayout, Mistakes
from frogfeed.layout.model import Layout
from frogfeed.layout.panel_checks import check_panel, check_trips, panel_things
from frogfeed.layout.positions import positions
from frogfeed.layout.repair import validate
from frogfeed.layout.schema import LayoutFile
from frogfeed.layout.section_checks import check_sections

__all__ = ["MOST_BYTES", "BadLayout", "read_layout", "read_layout_text"]

MOST_BYTES = 8_000_000
"""Larger files are refused unread: a railway of 10,000 turnouts takes about 2 MB."""

_DEEP_KEY = re.compile(r"(?<![\w\-])(?:[\w\-]++[ \t]*+\.[ \t]*+){20}")
_BOM = "\ufeff"


def read_layout(path: Path, *, known: Known | None = None, read_kinds: KindReader = read_shapes) -> Layout:
    """The layout in a file. `known` are the names of parts and kinds it may use (those frogfeed ships, if None).

    `read_kinds` reads the catalogue files that the layout names, relative to its own folder.
    Raises BadLayout with every mistake, sorted by place.
    """
    name = str(path)
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise BadLayout((_too_big(name, size),))
        data = path.read_bytes()
    except OSError as e:
        reason = (e.strerror or str(e)).lower()
        raise BadLayout(
            (_whole("file-unreadable", name, f"{name} cannot be read: {reason}", "", _unreadable_cure(e)),)
        ) from e
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as e:
        raise BadLayout((_not_utf8(name, data, e.start),)) from e
    return read_layout_text(text, name, known=known, read_kinds=read_kinds)


def read_layout_text(
    text: str, name: str, *, known: Known | None = None, read_kinds: KindReader = read_shapes
) -> Layout:
    """The layout in a text; `name` is the file's name in locations, and its folder is where catalogue files are.

    Raises BadLayout with every mistake, sorted by place.
    """
    try:
        digest = hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]
    except UnicodeEncodeError as e:
        at = _location(text, name, e.start)
        raise BadLayout((_finding("file-not-utf8", at, "half a character", "A layout file is UTF-8 text.", ""),)) from e
    body = text.removeprefix(_BOM)
    data = _parse(body, name)
    where = positions(body, name)
    mistakes = Mistakes(where)
    checked = validate(data, mistakes)
    if checked is None:
        mistakes.refuse()
        raise AssertionError("a file that cannot be checked has at least one mistake")
    file, doubtful = checked.file, checked.doubtful
    names_known = known or known_parts()
    kinds = _kinds(file, Path(name).parent, names_known.kinds, read_kinds, mistakes)
    check_names(file, mistakes)
    check_parts(file, names_known, mistakes)
    shapes = check_kinds(file, kinds, doubtful, mistakes)
    districts = frozenset(file.district) if checked.districts_known else None
    check_districts(file, districts, mistakes)
    check_accepts(file, mistakes)
    check_sections(file, doubtful, mistakes)
    drives = DriveChecker(file, shapes, doubtful, mistakes)
    drives.check()
    check_trips(file, mistakes)
    check_panel(file, drives.settings, drives.unclear, doubtful, mistakes)
    check_boards(file, frozenset((*shapes, *file.place)), {*drives.settings, *panel_things(file)}, mistakes)
    wires = names_known.wires
    names = Names(
        shapes=shapes,
        places=frozenset(file.place),
        districts=districts,
        wires=None if wires is None else frozenset(wires),
        doubtful=doubtful,
    )
    lines = _lines(file, names, mistakes, complete=checked.lines_complete)
    mistakes.refuse()
    return Layout(file, lines, where, text, digest, name, kinds)


def _lines(file: LayoutFile, names: Names, mistakes: Mistakes, *, complete: bool) -> Mapping[str, tuple[LineItem, ...]]:
    reader = ItemReader(names, mistakes)
    checker = LineChecker(file, names, mistakes)
    lines: dict[str, tuple[LineItem, ...]] = {}
    for name, raw in file.lines.items():
        items = reader.line(name, raw)
        checker.line(name, items)
        lines[name] = tuple(i for i in items if not isinstance(i, Broken))
    if not file.lines and complete:
        mistakes.add(
            "file-no-track",
            ("lines",) if "lines" in file.model_fields_set else (),
            "no line joins anything to anything",
            why="The lines say which ends of which pieces meet; without them there is no railway to check.",
            cure='Add a table [lines], and in it for example main = ["stop", "T1.toe", "T1.left", "yard"].',
        )
    else:
        checker.left_over(reader.meant, complete=complete)
    return lines


def _kinds(
    file: LayoutFile, folder: Path, built_in: Mapping[str, KindShape], read: KindReader, mistakes: Mistakes
) -> Mapping[str, KindShape]:
    """The built-in kinds and those of the layout's own catalogue files."""
    kinds = dict(built_in)
    for i, entry in enumerate(file.layout.catalogue):
        path = ("layout", "catalogue", i)
        why = "It is looked for beside the layout file."
        try:
            own = read(folder / entry)
        except OSError as e:
            reason = (e.strerror or str(e)).lower()
            mistakes.add("file-bad-catalogue", path, f"{entry} cannot be read: {reason}", why=why)
            continue
        except (ValueError, RecursionError) as e:
            mistakes.add("file-bad-catalogue", path, f"{entry} is no catalogue file: {e}")
            continue
        for kind, shape in own.items():
            if kind in kinds:
                mistakes.add(
                    "file-name-twice",
                    path,
                    f"{entry} has a kind {kind}, which exists already",
                    cure="Give yours another name.",
                    subject=kind,
                )
            kinds.setdefault(kind, shape)
    return kinds


def _parse(text: str, name: str) -> dict[str, Any]:
    if len(text) > MOST_BYTES:
        raise BadLayout((_too_big(name, len(text.encode("utf-8"))),))
    if not text.strip():
        raise BadLayout(
            (
                _whole(
                    "file-empty",
                    name,
                    "the file is empty",
                    "",
                    f"`frogfeed new {name}` writes one to start from.",
                ),
            )
        )
    deep = _DEEP_KEY.search(text)
    if deep is not None:
        at = _location(text, name, deep.start())
        raise BadLayout((_finding("file-too-deep", at, "a name of more than twenty parts", "", ""),))
    try:
        return tomllib.loads(text)
    except RecursionError as e:
        at = Location(name, 1, 1)
        raise BadLayout(
            (_finding("file-too-deep", at, "lists or tables are nested hundreds deep somewhere", "", ""),)
        ) from e
    except ValueError as e:
        raise BadLayout((_not_toml(text, name, e),)) from e


def _not_toml(text: str, name: str, error: ValueError) -> Finding:
    broken = toml_errors.explain(text, error)
    end = Location(name, text.count("\n") + 1, len(text) - text.rfind("\n"))
    return Finding(
        code=broken.code,
        severity=info(broken.code).severity,
        subject="file",
        what=broken.what if broken.line else f"the file ends in the middle: {broken.what}",
        why="A layout file is TOML; from here on nothing can be read for certain, so nothing was checked.",
        cure=broken.cure,
        where=Location(name, broken.line, broken.column) if broken.line else end,
        related=(("first here", Location(name, broken.first, 1)),) if broken.first else (),
    )


def _location(text: str, name: str, offset: int) -> Location:
    return Location(name, text.count("\n", 0, offset) + 1, offset - text.rfind("\n", 0, offset))


def _finding(code: str, at: Location, what: str, why: str, cure: str) -> Finding:
    return Finding(code, info(code).severity, "file", what, why, cure, at)


def _whole(code: str, name: str, what: str, why: str, cure: str) -> Finding:
    return _finding(code, Location(name, 1, 1), what, why, cure)


def _too_big(name: str, size: int) -> Finding:
    return _whole(
        "file-too-big",
        name,
        f"the file is {size / 1e6:.1f} MB; {MOST_BYTES / 1e6:.0f} MB is the most that is read",
        "A layout of 10,000 turnouts takes about 2 MB, so this is hardly one.",
        "Check that this is the file you meant.",
    )


def _not_utf8(name: str, data: bytes, offset: int) -> Finding:
    before = data[:offset]
    line = before.count(b"\n") + 1
    column = len(before[before.rfind(b"\n") + 1 :].decode("utf-8", "replace")) + 1
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        what, cure = "the file is UTF-16 text", "Save it as UTF-8 in your editor."
    elif b"\0" in data[:4096]:
        what, cure = "the file is not text", "Check that this is the file you meant."
    else:
        what, cure = (
            f"byte 0x{data[offset]:02x} here is not UTF-8 text",
            "Save the file as UTF-8 in your editor.",
        )
    return _finding("file-not-utf8", Location(name, line, column), what, "A layout file is UTF-8 text.", cure)


def _unreadable_cure(error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "Check the name; `frogfeed new FILE` writes a file to start from."
    return "It is a folder: name the file in it." if isinstance(error, IsADirectoryError) else ""
