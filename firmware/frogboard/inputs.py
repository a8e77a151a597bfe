"""Debounced inputs: buttons, selectors, position contacts. No hardware; no allocation in `step`."""

import array

if False:
    from typing import Any


UNSEEN = 2
"""In `raw`: what carries the input does not answer. It is not known until it has been steady again."""


class Inputs:
    """`raw` is written by the hardware layer (1: closed or pressed; UNSEEN while nobody can look); `on` follows once it
    has lasted long enough.
    """

    def __init__(self, specs: "list[dict[str, Any]]") -> None:
        count = len(specs)
        self.count = count
        self.raw = bytearray(count)
        self.on = bytearray(count)
        self.known = bytearray(count)
        """0 until an input has been steady for its debounce time once."""
        self.pressed = bytearray(count)
        """1 in the tick in which an input went on, after it was known to be off."""
        self.changed = False
        """Whether one went on or off, or became known, in this tick; `told` has what it was before."""
        self.told = bytearray([2] * count)
        self.sure = bytearray(count)
        """1 while what is seen has lasted for the debounce time: then `on` is what is seen now."""
        self._last = bytearray(count)
        self._limit_ms = array.array("h", [spec["debounce_ms"] for spec in specs])
        self._steady_ms = array.array("h", [0] * count)
        self.busy = count > 0

    def step(self, dt_ms: int) -> None:
        """`dt_ms` have passed since the last look; `raw` is what is seen now."""
        busy = False
        self.changed = False
        for i in range(self.count):
            now = self.raw[i]
            self.pressed[i] = 0
            if now == UNSEEN:
                self.known[i] = self.sure[i] = 0
                self._last[i] = UNSEEN
            elif now != self._last[i]:
                self._last[i] = now
                self._steady_ms[i] = 0
                self.sure[i] = 0
                busy = True
            elif not self.sure[i] or not self.known[i]:
                self._steady_ms[i] += dt_ms if dt_ms < 1000 else 1000
                if self._steady_ms[i] >= self._limit_ms[i]:
                    self._steady_ms[i] = 0
                    self.sure[i] = 1
                    if now != self.on[i] or not self.known[i]:
                        if now and self.known[i]:
                            self.pressed[i] = 1
                        self.on[i] = now
                        self.known[i] = 1
                        self.changed = True
                else:
                    busy = True
        self.busy = busy
