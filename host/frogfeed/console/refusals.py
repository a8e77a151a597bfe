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

    def __str__(self) -> str:
        """For a terminal: a line each, as errors of a board are shown."""
        return "\n".join(
            label + text for label, text in (("", self.what), ("  why: ", self.why), ("  do:  ", self.cure)) if text
        )


class ConsoleGoneError(RefusedError):
    """A seat's console has ended, or does not answer."""

    def __init__(self, why: str = "") -> None:
        super().__init__(
            "the console went away",
            why or "it was ended, or this machine slept; what was asked last may not have been done",
            "give the command again: it takes the port itself where no console has it; or start the console first",
        )
