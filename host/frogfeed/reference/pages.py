"""Which reference pages there are, by file name, and what makes each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from frogfeed.reference.boards_page import boards_page
from frogfeed.reference.commands_page import commands_page
from frogfeed.reference.findings_page import findings_page
from frogfeed.reference.firmware_pages import link_page, settings_page
from frogfeed.reference.layout_page import layout_page

PAGES: Mapping[str, Callable[[], str]] = MappingProxyType(
    {
        "layout-file.md": layout_page,
        "findings.md": findings_page,
        "settings.md": settings_page,
        "link.md": link_page,
        "boards.md": boards_page,
        "commands.md": commands_page,
    }
)
