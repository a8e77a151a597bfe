"""Write drawings, decks and the list of parts beside the circuits."""

from __future__ import annotations

from pathlib import Path

from circuits.all_circuits import CIRCUITS, decks
from circuits.drawing import draw
from circuits.parts_list import parts_list

HERE = Path(__file__).parent


def written() -> dict[Path, str]:
    """{file: contents} of everything that is made from the circuits."""
    files = {HERE / "drawings" / f"{circuit.name}.svg": draw(circuit) for circuit in CIRCUITS}
    files |= {HERE / "decks" / name: text for name, text in decks().items()}
    files[HERE.parent / "parts.md"] = parts_list(CIRCUITS)
    return files


def main() -> None:
    """Write what has changed."""
    for path, text in written().items():
        path.parent.mkdir(exist_ok=True)
        if not path.exists() or path.read_text("utf-8") != text:
            path.write_text(text, "utf-8")
            print(path.relative_to(HERE.parent))


if __name__ == "__main__":
    main()
