"""The starting layout that `frogfeed new` writes, planned and built: for tests with the real firmware."""

from __future__ import annotations

from functools import cache
from typing import Any

from frogfeed.bench.setup import scenario_of
from frogfeed.layout.reading import read_layout_text
from frogfeed.layout.starter import STARTER
from frogfeed.plan.planner import make_plan
from frogfeed.plan.settings import build_settings
from frogfeed.track.assembly.assemble import assemble


@cache
def built() -> tuple[str, dict[str, bytes], dict[str, Any]]:
    """(the layout file's text, settings documents by board, the bench's scenario)."""
    layout = read_layout_text(STARTER, "starter.toml")
    network = assemble(layout)
    documents = build_settings(layout, make_plan(layout, network))
    return STARTER, documents, scenario_of(layout, network, list(documents.values()))
