"""From blocks and drawings to PDF, by the typesetter's own library: no network, its own fonts only, fixed dates."""

from __future__ import annotations

import datetime
import json
import tempfile
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from frogfeed.sheets.drawing import Drawing
from frogfeed.sheets.paper import Paper
from frogfeed.sheets.svg import to_svg


class TypesettingError(Exception):
    """The typesetter refused a page; the text is its own."""


def pdf(
    blocks: Iterable[Mapping[str, Any]],
    drawings: Iterable[Drawing],
    meta: Mapping[str, str],
    paper: Paper,
    date: datetime.date,
) -> bytes:
    """A PDF of these blocks. The same input gives the same bytes. Raises TypesettingError."""
    import typst

    blocks = list(blocks)
    data = {
        "meta": dict(meta),
        "paper": {"width": paper.width, "height": paper.height, "margin": paper.margin},
        "blocks": blocks,
    }
    stamp = datetime.datetime(date.year, date.month, date.day, tzinfo=datetime.UTC)
    with tempfile.TemporaryDirectory(prefix="frogfeed-") as folder:
        root = Path(folder)
        (root / "main.typ").write_bytes(files("frogfeed.sheets").joinpath("templates/book.typ").read_bytes())
        (root / "data.json").write_text(json.dumps(data), encoding="utf-8")
        for d in drawings:
            (root / f"{d.name}.svg").write_text(to_svg(d), encoding="utf-8")
        try:
            return typst.compile(
                str(root / "main.typ"), root=str(root), format="pdf", ignore_system_fonts=True, timestamp=stamp
            )
        except Exception as error:
            raise TypesettingError(str(error)) from error
