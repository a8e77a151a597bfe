"""The panel: buttons that throw one drive, a pair or a stored route, lamps, all off. No hardware.

A button is done whole or not at all: where one of its drives may not move now, none does, an event says which, and
for `REFUSED_MS` every fault lamp flickers and the status lamp gives three winks.
"""

from frogboard.table import UNKNOWN

if False:
    from typing import Any

    from frogboard.inputs import Inputs
    from frogboard.orders import Orders

BLINK_MS = 250
FLICKER_MS = 60
"""Half a period of a fault lamp's flicker, four times as fast as it blinks."""
REFUSED_MS = 2000
"""How long a refusal is shown: one round of the status lamp."""


class Panel:
    """Buttons act when pressed; lamps are lines that follow what is known. `lamp_lines`: their places in `lines`."""

    def __init__(
        self, spec: "dict[str, Any]", lamp_lines: "list[int]", lines: bytearray, inputs: "Inputs", orders: "Orders"
    ) -> None:
        self._inputs = inputs
        self._orders = orders
        self._drives = orders.drives
        self._feeds = orders.feeds
        self._buttons = spec["buttons"]
        self._lamps = spec["lamps"]
        self._lines = lines
        self._lamp_lines = lamp_lines
        self._blink_ms = 0
        self._blinks = False
        self._refused_ms = 0

    @property
    def refusing(self) -> bool:
        """Whether a refusal is being shown."""
        return self._refused_ms > 0

    @property
    def busy(self) -> bool:
        """Whether time alone will change a lamp."""
        return self._blinks or self._refused_ms > 0

    def buttons(self) -> None:
        """Do what the buttons pressed in this tick say."""
        pressed = self._inputs.pressed
        if not any(pressed):
            return
        for button in self._buttons:
            if pressed[button["input"]]:
                self._do(button)

    def _do(self, button: "dict[str, Any]") -> None:
        does = button["does"]
        if does == "all_off":
            self._orders.turn_all_off()
        elif does == "reset":
            self._orders.reset()
            self._refused_ms = 0
        else:
            self._throw(button["moves"], does == "toggle")

    def _throw(self, moves: "list[list[int]]", toggle: bool) -> None:
        back = toggle and all(self._there(d, to) for d, to in moves)
        for d, _ in moves:
            if self._orders.refused_and_told(d):
                self._refused_ms = REFUSED_MS
                return
        for d, to in moves:
            self._orders.throw(d, 1 - to if back else to)

    def _there(self, d: int, to: int) -> bool:
        """At the setting, or on the way there."""
        drive = self._drives[d]
        target = self._orders.mover.target[d]
        return (target if target < UNKNOWN else drive.at) == to

    def lamps(self, dt_ms: int) -> None:
        """Bring the lamps up to date: steady where it is so, blinking on the way or at a fault."""
        if self._refused_ms > 0:
            self._refused_ms = max(0, self._refused_ms - dt_ms)
        if not self._lamps:
            return
        self._blink_ms = (self._blink_ms + min(dt_ms, BLINK_MS)) % (2 * BLINK_MS)
        on = 1 if self._blink_ms < BLINK_MS else 0
        flicker = (self._refused_ms // FLICKER_MS) & 1
        blinks = False
        for i in range(len(self._lamps)):
            lamp = self._lamps[i]
            shows = lamp["shows"]
            if shows == "all_off":
                state = 1 if self._orders.all_off else 0
            elif shows != "fault":
                state = self._set(lamp["moves"])
            elif self._refused_ms > 0:
                state = flicker
            else:
                state = 2 if self._fault(lamp["feed"]) else 0
            blinks = blinks or state == 2
            self._lines[self._lamp_lines[i]] = on if state == 2 else state
        self._blinks = blinks

    def _fault(self, f: int) -> bool:
        """Whether feed f has a fault; -1: whether any has."""
        if f >= 0:
            return self._feeds[f].fault != 0
        for feed in self._feeds:
            if feed.fault:
                return True
        return False

    def _set(self, moves: "list[list[int]]") -> int:
        """1: all known to be there; 2: all there or on the way there; 0: not."""
        state = 1
        for move in moves:
            drive = self._drives[move[0]]
            if drive.at == move[1] and drive.to == UNKNOWN:
                continue
            if drive.to != move[1]:
                return 0
            state = 2
        return state
