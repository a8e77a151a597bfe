"""Everything a page can do with one session, in one place."""

from __future__ import annotations

from typing import Any

from frogfeed.console.drafting import Drafter
from frogfeed.console.hunting import Hunter
from frogfeed.console.laying import Layer
from frogfeed.console.prover import Prover
from frogfeed.console.relay import Relay
from frogfeed.console.session import Session
from frogfeed.console.trimming import Trimmer
from frogfeed.console.view import layout_view


class Desk:
    """A session with its tools."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.layer = Layer(session)
        self.trimmer = Trimmer(session)
        self.prover = Prover(session)
        self.hunter = Hunter(session)
        self.drafter = Drafter(session)
        self.relay = Relay(session)

    async def layout(self) -> dict[str, Any]:
        """All of the layout that a page draws from."""
        return layout_view(self.session.railway)
