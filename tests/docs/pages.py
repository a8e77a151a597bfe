"""The pages of docs/ taken apart: fenced blocks, links and headings, each with its line.

A block's info string says what the reader does with it:

- `console`: commands after `$ `, in order; what stands below one is (part of) what it prints. Numbers may differ;
  `...` stands for anything left out. `exit=1` after it: the last command ends so. `background`: it is left running.
  `board`: it needs real hardware, so only its options are held against the program.
- `toml file=NAME`: the whole of a file that the reader writes.
- `toml into=NAME`: keys that the reader adds to a file, or changes there.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"

_LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
_CODE = re.compile(r"`[^`]*`")


@dataclass(frozen=True, slots=True)
class Block:
    """A fenced block: `words` are those of its info string, `line` is the number of its first line of text."""

    words: tuple[str, ...]
    text: str
    line: int

    def value(self, key: str) -> str | None:
        """What follows `key=` in the info string."""
        return next((w.partition("=")[2] for w in self.words if w.startswith(f"{key}=")), None)


@dataclass(frozen=True, slots=True)
class Command:
    """One command of a console block, without its `$ `, and the output that the page shows below it."""

    text: str
    shown: str
    line: int


def pages() -> list[Path]:
    """Every page, by path."""
    return sorted(DOCS.rglob("*.md"))


def blocks(page: Path) -> list[Block]:
    """The fenced blocks of a page in order."""
    found: list[Block] = []
    info: str | None = None
    start, held = 0, list[str]()
    for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), 1):
        if line.startswith("```"):
            if info is None:
                info, start, held = line[3:].strip(), number + 1, []
            else:
                found.append(Block(tuple(info.split()), "\n".join(held) + "\n", start))
                info = None
        elif info is not None:
            held.append(line)
    assert info is None, f"{page}: the block that begins at line {start} has no end"
    return found


def commands(block: Block) -> list[Command]:
    """The commands of a console block."""
    found: list[Command] = []
    for offset, line in enumerate(block.text.splitlines()):
        if line.startswith("$ "):
            found.append(Command(line[2:].strip(), "", block.line + offset))
        else:
            assert found, f"line {block.line + offset}: output before any command"
            last = found[-1]
            found[-1] = Command(last.text, last.shown + line + "\n", last.line)
    return found


def prose(page: Path) -> list[tuple[int, str]]:
    """The lines outside fenced blocks, numbered."""
    found, inside = [], False
    for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), 1):
        if line.startswith("```"):
            inside = not inside
        elif not inside:
            found.append((number, line))
    return found


def links(page: Path) -> list[tuple[int, str]]:
    """The targets of the links of a page, with their lines."""
    return [(number, target) for number, line in prose(page) for target in _LINK.findall(_CODE.sub("`x`", line))]


def anchors(page: Path) -> set[str]:
    """What a link to a heading of the page may say after the #."""
    found = set()
    for _, line in prose(page):
        if line.startswith("#"):
            title = line.lstrip("#").strip().lower()
            found.add(re.sub(r"[^\w\- ]", "", title).replace(" ", "-"))
    return found
