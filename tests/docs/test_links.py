"""Links between pages lead somewhere; every page can be reached from the index."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.docs.pages import DOCS, ROOT, anchors, links, pages

CHECKED = [*pages(), ROOT / "README.md", ROOT / "DEVELOPERS.md"]


@pytest.mark.parametrize("page", CHECKED, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page: Path) -> None:
    for line, target in links(page):
        if "://" in target:
            continue
        name, _, anchor = target.partition("#")
        path = (page.parent / name).resolve() if name else page
        assert path.exists(), f"{page}:{line}: no {target}"
        assert path.is_relative_to(ROOT), f"{page}:{line}: {target} leads out of the tree"
        if anchor:
            assert anchor in anchors(path), f"{page}:{line}: {path.name} has no heading #{anchor}"


def test_every_page_can_be_reached_from_the_index() -> None:
    reached, todo = set(), [DOCS / "index.md"]
    while todo:
        page = todo.pop()
        if page in reached:
            continue
        reached.add(page)
        for _, target in links(page):
            path = (page.parent / target.partition("#")[0]).resolve()
            if path.suffix == ".md" and path.is_relative_to(DOCS):
                todo.append(path)
    assert set(pages()) <= reached
