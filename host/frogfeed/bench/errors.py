"""What can go wrong with the bench itself."""

from __future__ import annotations


class BenchError(Exception):
    """The bench can't do what was asked: what, why, what to do."""


class BoardStuckError(BenchError):
    """The virtual board did not come back within the time a real process needs."""


class BoardResetError(BenchError):
    """The virtual board was reset, or lost its power, by what it was asked to do."""
