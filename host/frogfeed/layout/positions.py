"""Where every key and value of a TOML text stands, so that a mistake can be shown at its place.

tree-sitter gives the places, `tomllib` (elsewhere) the values: the two are joined by key path. Only texts that
`tomllib` accepts come here. Byte offsets are kept, and turned into lines and columns when one is asked for.
"""

from __future__ import annotations

import tomllib
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from functools import cache, cached_property

import tree_sitter_toml
from tree_sitter import Language, Node, Parser, TreeCursor

from frogfeed.findings.finding import Location

KeyPath = tuple[str | int, ...]


@cache
def _language() -> Language:
    return Language(tree_sitter_toml.language())


class Positions(Mapping[KeyPath, Location]):
    """Key path -> location of its value; `key` gives the location of the key itself.

    A table's value stands where its name does in its header; a path that only deeper headers imply stands at the
    first of them. Lines and columns count from 1, columns in characters.
    """

    def __init__(self, name: str, data: bytes, keys: dict[KeyPath, int], values: dict[KeyPath, int]) -> None:
        self._name = name
        self._data = data
        self._keys = keys
        self._values = values

    @cached_property
    def _line_starts(self) -> list[int]:
        starts = [0]
        found = self._data.find(b"\n")
        while found >= 0:
            starts.append(found + 1)
            found = self._data.find(b"\n", found + 1)
        return starts

    @cached_property
    def _ascii(self) -> bool:
        return self._data.isascii()

    def locate(self, offset: int) -> Location:
        """The location of a byte offset."""
        row = bisect_right(self._line_starts, offset) - 1
        start = self._line_starts[row]
        column = offset - start if self._ascii else len(self._data[start:offset].decode("utf-8", "replace"))
        return Location(self._name, row + 1, column + 1)

    def __getitem__(self, path: KeyPath) -> Location:
        return self.locate(self._values[path])

    def __iter__(self) -> Iterator[KeyPath]:
        return iter(self._values)

    def __len__(self) -> int:
        return len(self._values)

    def __contains__(self, path: object) -> bool:
        return path in self._values

    def key(self, path: KeyPath) -> Location | None:
        """Where the last key of a path stands, or None where the text has no such path."""
        offset = self._keys.get(path)
        return None if offset is None else self.locate(offset)

    def nearest(self, path: KeyPath) -> Location:
        """The value at a path, or the nearest table around it; the text's first character for none."""
        for n in range(len(path), 0, -1):
            offset = self._values.get(path[:n])
            if offset is not None:
                return self.locate(offset)
        return Location(self._name, 1, 1)


def positions(text: str, name: str) -> Positions:
    """The places of every key and value of `text`, a valid TOML document; `name` is the file's name in locations."""
    data = text.encode("utf-8")
    reader = _Reader(data)
    reader.read(Parser(_language()).parse(data).walk())
    return Positions(name, data, reader.keys, reader.values)


class _Reader:
    """One walk over a syntax tree. Methods that take a cursor leave it on the node where they found it."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        self.keys: dict[KeyPath, int] = {}
        self.values: dict[KeyPath, int] = {}
        self.array_tables: dict[KeyPath, int] = {}

    def read(self, at: TreeCursor) -> None:
        if not at.goto_first_child():
            return
        while True:
            node = at.node
            kind = node.type if node is not None else ""
            if kind == "pair":
                self.pair(at, ())
            elif kind == "table" or kind == "table_array_element":
                self.table(at, array=kind == "table_array_element")
            if not at.goto_next_sibling():
                break
        at.goto_parent()

    def table(self, at: TreeCursor, array: bool) -> None:
        path: KeyPath = ()
        at.goto_first_child()
        while True:
            node = at.node
            kind = node.type if node is not None else ""
            if node is not None and kind in ("bare_key", "quoted_key", "dotted_key"):
                path = self.header(node, array)
            elif kind == "pair":
                self.pair(at, path)
            if not at.goto_next_sibling():
                break
        at.goto_parent()

    def header(self, node: Node, array: bool) -> KeyPath:
        path: KeyPath = ()
        parts = self.parts(node)
        for i, (word, offset) in enumerate(parts):
            path = (*path, word)
            self.keys.setdefault(path, offset)
            self.values.setdefault(path, offset)
            last = i + 1 == len(parts)
            if last and array:
                self.array_tables[path] = self.array_tables.get(path, -1) + 1
            if path in self.array_tables:
                path = (*path, self.array_tables[path])
                self.values.setdefault(path, offset)
        return path

    def parts(self, node: Node) -> list[tuple[str, int]]:
        """The words of a key with their offsets."""
        found: list[tuple[str, int]] = []
        waiting = [node]
        while waiting:
            n = waiting.pop()
            if n.type == "dotted_key":
                waiting.extend(c for c in reversed(n.children) if c.type != ".")
            else:
                raw = self.data[n.start_byte : n.end_byte].decode("utf-8")
                word = raw if n.type == "bare_key" else next(iter(tomllib.loads(f"{raw} = 0")))
                found.append((word, n.start_byte))
        return found

    def pair(self, at: TreeCursor, path: KeyPath) -> None:
        at.goto_first_child()
        while True:
            node = at.node
            kind = node.type if node is not None else ""
            if node is None or kind in ("=", "comment"):
                pass
            elif kind == "bare_key":
                path = (*path, self.data[node.start_byte : node.end_byte].decode("utf-8"))
                self.keys[path] = node.start_byte
            elif kind in ("quoted_key", "dotted_key"):
                for word, offset in self.parts(node):
                    path = (*path, word)
                    self.keys.setdefault(path, offset)
                    self.values.setdefault(path, offset)
            else:
                self.value(at, node, kind, path)
            if not at.goto_next_sibling():
                break
        at.goto_parent()

    def value(self, at: TreeCursor, node: Node, kind: str, path: KeyPath) -> None:
        self.values[path] = node.start_byte
        if kind == "array":
            index = 0
            at.goto_first_child()
            while at.goto_next_sibling():
                child = at.node
                child_kind = child.type if child is not None else ""
                if child is None or child_kind in (",", "]", "comment"):
                    continue
                if child_kind == "string":
                    self.values[*path, index] = child.start_byte
                else:
                    self.value(at, child, child_kind, (*path, index))
                index += 1
            at.goto_parent()
        elif kind == "inline_table" and at.goto_first_child():
            while at.goto_next_sibling():
                child = at.node
                if child is not None and child.type == "pair":
                    self.pair(at, path)
            at.goto_parent()
