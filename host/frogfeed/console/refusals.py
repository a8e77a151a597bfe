"""A refusal told to a person: what, why, and what to do."""

from __future__ import annotations


class RefusedError(Exception):
    """What was asked for is not done. `why` it matters and the `cure`: what to do instead."""

    def __init__(self, what: str, why: str = "", cure: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.why = why
        self.cure = cure

    def as_json(self) -> dict[str, str]:
        """For the page."""
        return {"what": self.what, "why": self.why, "cure": self.cure}
