"""The panel: buttons that throw one drive, a pair or a stored route, lamps, all off. No hardware."""

from frogboard.reason import Refused
from frogboard.table import UNKNOWN

if False:
    from typing import Any

    from frogboard.control import Control

BLINK_MS = 250


class Panel:
    """Buttons act when pressed; lamps are lines that follow what is known."""

    def __init__(self, spec: "dict[str, Any]", lamp_lines: "list[int]", control: "Control") -> None:
        self._control = control
        self._buttons = spec["buttons"]
        self._lamps = spec["lamps"]
        self._lines = lamp_lines
        self._blink_ms = 0
        self.busy = False

    def buttons(self) -> None:
        """Do what the buttons pressed in this tick say."""
        pressed = self._control.inputs.pressed
        if not any(pressed):
            return
        for button in self._buttons:
            if pressed[button["input"]]:
                self._do(button)

    def _do(self, button: "dict[str, Any]") -> None:
        control = self._control
        does = button["does"]
        if does == "all_off":
            control.turn_all_off()
        elif does == "reset":
            control.reset()
        else:
            back = does == "toggle" and all(self._there(d, to) for d, to in button["moves"])
            for d, to in button["moves"]:
                try:
                    control.throw(d, 1 - to if back else to)
                except Refused:
                    continue

    def _there(self, d: int, to: int) -> bool:
        """At the setting, or on the way there."""
        drive = self._control.drives[d]
        target = self._control.mover.target[d]
        return (target if target < UNKNOWN else drive.at) == to

    def lamps(self, dt_ms: int) -> None:
        """Bring the lamps up to date: steady where it is so, blinking on the way or at a fault."""
        if not self._lamps:
            return
        self._blink_ms = (self._blink_ms + min(dt_ms, BLINK_MS)) % (2 * BLINK_MS)
        on = 1 if self._blink_ms < BLINK_MS else 0
        busy = False
        for i in range(len(self._lamps)):
            lamp = self._lamps[i]
            shows = lamp["shows"]
            if shows == "all_off":
                state = 1 if self._control.all_off else 0
            elif shows == "fault":
                state = 2 if self._fault() else 0
            else:
                state = self._set(lamp["moves"])
            busy = busy or state == 2
            self._control.lines[self._lines[i]] = on if state == 2 else state
        self.busy = busy

    def _fault(self) -> bool:
        for feed in self._control.feeds:
            if feed.fault:
                return True
        return False

    def _set(self, moves: "list[list[int]]") -> int:
        """1: all known to be there; 2: all there or on the way there; 0: not."""
        state = 1
        for move in moves:
            drive = self._control.drives[move[0]]
            if drive.at == move[1] and drive.to == UNKNOWN:
                continue
            if drive.to != move[1]:
                return 0
            state = 2
        return state
