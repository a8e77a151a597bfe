"""Data flows one way between the folders of track: each reads only from those named before it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import frogfeed.track

FLOW = ("network", "pieces", "feeds", "assembly", "routes", "solver", "explain", "propose", "meter")
ROOT = Path(frogfeed.track.__file__).parent


def imported(module: Path) -> Iterator[str]:
    """The folders of track that a module imports from."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        names += [a.name for a in node.names] if isinstance(node, ast.Import) else []
        yield from (n.split(".")[2] for n in names if n.startswith("frogfeed.track."))


def test_every_folder_is_in_the_flow() -> None:
    assert {p.parent.name for p in ROOT.glob("*/*.py")} == set(FLOW)
    assert [p.name for p in ROOT.glob("*.py")] == ["__init__.py"]


def test_no_folder_reads_from_a_later_one() -> None:
    against = [
        f"{module.parent.name}/{module.name} reads from {folder}"
        for module in sorted(ROOT.glob("*/*.py"))
        for folder in imported(module)
        if FLOW.index(folder) > FLOW.index(module.parent.name)
    ]
    assert not against
