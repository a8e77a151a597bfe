"""Modules can be read in one order: none knows a module that knows it, not even for its types alone."""

from __future__ import annotations

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = (ROOT / "firmware" / "frogboard", ROOT / "host" / "frogfeed")
"""The bench's simulator has a look-up path of its own and is not one of them."""
SIMULATOR = PACKAGES[1] / "bench" / "sim"


def modules(packages: tuple[Path, ...]) -> dict[str, Path]:
    """Every module's file, by the name it is imported by."""
    found = {}
    for package in packages:
        for path in package.rglob("*.py"):
            if SIMULATOR not in path.parents:
                parts = path.relative_to(package.parent).with_suffix("").parts
                found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


def imports(path: Path, known: dict[str, Path]) -> set[str]:
    """The modules among `known` that a file imports, anywhere in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            whole = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= whole & known.keys() or {node.module}
    return found & known.keys()


def order(packages: tuple[Path, ...]) -> list[str]:
    """The modules, each after all that it imports. Raises CycleError where there is no such order."""
    known = modules(packages)
    return list(TopologicalSorter({name: imports(path, known) for name, path in known.items()}).static_order())


def test_there_is_an_order() -> None:
    found = order(PACKAGES)
    assert found.index("frogboard.drive") < found.index("frogboard.feed") < found.index("frogboard.control")


def test_a_circle_is_found(tmp_path: Path) -> None:
    """One for types alone counts."""
    package = tmp_path / "one"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "a.py").write_text("from one import b\n")
    (package / "b.py").write_text("if False:\n    from one.a import A\n")
    with pytest.raises(CycleError) as found:
        order((package,))
    assert {"one.a", "one.b"} <= set(found.value.args[1])
