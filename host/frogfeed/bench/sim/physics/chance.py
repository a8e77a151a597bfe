"""Chance by seed: a small generator that gives the same numbers under MicroPython and CPython."""


class Chance:
    """Xorshift, 32 bits (Marsaglia's published triple 13, 17, 5). Good enough for jitter; never for secrets."""

    def __init__(self, seed: int) -> None:
        self.state = (seed * 2654435761 + 0x9E3779B9) & 0xFFFFFFFF or 1

    def below(self, limit: int) -> int:
        """A whole number from 0 to `limit` - 1; 0 where there is no choice."""
        x = self.state
        x ^= (x << 13) & 0xFFFFFFFF
        x ^= x >> 17
        x ^= (x << 5) & 0xFFFFFFFF
        self.state = x
        return x % limit if limit > 1 else 0
