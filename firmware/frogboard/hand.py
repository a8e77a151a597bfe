"""A drive that a hand moves (or a selector switch): followed by one or two contacts.

Losing the contact that it was known by makes it unknown at once; a contact counts as made after debounce. With one
contact only, the other setting is where that contact has been open for as long. No hardware.
"""

from frogboard.table import UNKNOWN

if False:
    from typing import Any

    from frogboard.inputs import Inputs
    from frogboard.sleeper import Sleeper


class HandDrive:
    """Same public face as `drive.Drive`, as far as feeds and reports look at it."""

    def __init__(self, spec: "dict[str, Any]") -> None:
        self.name = spec["name"]
        self.servo = False
        self.at = UNKNOWN
        self.to = UNKNOWN
        self.phase = 0
        self.ends = [0, 0]
        self.rising = True
        self.pulse_us = 0
        self.out_us = 0
        self.stalled = self.doubtful = False
        self.sleepers: "list[Sleeper]" = []
        self._zero = spec["contacts"][0]
        self._one = spec["contacts"][1]

    def call_at(self, point_us: int) -> None:
        """Its sleepers are stirred by `follow`."""

    def follow(self, inputs: "Inputs") -> None:
        """Look at the contacts: raw for losing, debounced for gaining."""
        was = self.at
        if self._one < 0:
            self.at = _single(inputs, self._zero, 0)
        elif self._zero < 0:
            self.at = _single(inputs, self._one, 1)
        else:
            zero, one = inputs.raw[self._zero], inputs.raw[self._one]
            if zero and not one and inputs.on[self._zero] and not inputs.on[self._one]:
                self.at = 0
            elif one and not zero and inputs.on[self._one] and not inputs.on[self._zero]:
                self.at = 1
            else:
                self.at = UNKNOWN
        if self.at != was:
            for sleeper in self.sleepers:
                sleeper.stir()


def _single(inputs: "Inputs", contact: int, setting: int) -> int:
    if not inputs.known[contact] or inputs.raw[contact] != inputs.on[contact]:
        return UNKNOWN
    return setting if inputs.on[contact] else 1 - setting
