"""From blocks and drawings to PDF, by the typesetter's own library: no network, its own fonts only, fixed dates."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterable, Mapping
from importlib.resources import files
from typing import Any

from frogfeed.sheets.drawing import Drawing
from frogfeed.sheets.paper import Paper
from frogfeed.sheets.svg import to_svg


class TypesettingError(Exception):
    """The typesetter refused a page; the text is its own."""


def pdf(
    blocks: Iterable[Mapping[str, Any]], drawings: Iterable[Drawing], meta: Mapping[str, str], paper: Paper, date: datetime.date
) -> bytes:  # fmt: skip
    """A PDF of these blocks. The same input gives the same bytes. Raises TypesettingError."""
    import typst

    blocks = list(blocks)
    data = {
        "meta": dict(meta),
        "paper": {"width": paper.width, "height": paper.height, "margin": paper.margin},
        "blocks": blocks,
    }
    template = files("frogfeed.sheets").joinpath("templates/book.typ").read_bytes()
    sources: dict[str, bytes] = {"main.typ": template, "data.json": json.dumps(data).encode()}
    for d in drawings:
        sources[f"{d.name}.svg"] = to_svg(d).encode()
    stamp = datetime.datetime(date.year, date.month, date.day, tzinfo=datetime.timezone.utc)  # noqa: UP017
    try:
        made = typst.compile(sources, format="pdf", ignore_system_fonts=True, timestamp=stamp)
    except Exception as error:
        raise TypesettingError(str(error)) from error
    if not isinstance(made, bytes):
        raise TypesettingError("no single document came back")
    return made
