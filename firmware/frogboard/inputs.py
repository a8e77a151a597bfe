"""Debounced inputs: buttons, selectors, position contacts. No hardware; no allocation in `step`."""

import array

if False:
    from typing import Any


class Inputs:
    """`raw` is written by the hardware layer (1: closed or pressed); `on` follows once it has lasted long enough."""

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
            if now != self._last[i]:
                self._last[i] = now
                self._steady_ms[i] = 0
                busy = True
            elif now != self.on[i] or not self.known[i]:
                self._steady_ms[i] += dt_ms if dt_ms < 1000 else 1000
                if self._steady_ms[i] >= self._limit_ms[i]:
                    if now and self.known[i]:
                        self.pressed[i] = 1
                    self.on[i] = now
                    self.known[i] = 1
                    self.changed = True
                    self._steady_ms[i] = 0
                else:
                    busy = True
        self.busy = busy
