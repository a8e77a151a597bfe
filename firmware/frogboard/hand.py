"""A drive that a hand moves (or a selector switch): followed by one or two contacts.

Whatever changes at its contacts makes it unknown at once; it is known when they have lain still for their debounce
time: a contact that bounces says nothing, neither made nor open. With one contact only, the other setting is where
that contact has been open for as long. No hardware.
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
        """Look at the contacts."""
        was = self.at
        if self._one < 0:
            self.at = _single(inputs, self._zero, 0)
        elif self._zero < 0:
            self.at = _single(inputs, self._one, 1)
        else:
            zero, one = inputs.on[self._zero], inputs.on[self._one]
            still = _still(inputs, self._zero) and _still(inputs, self._one)
            self.at = one if still and zero != one else UNKNOWN
        if self.at != was:
            for sleeper in self.sleepers:
                sleeper.stir()


def _single(inputs: "Inputs", contact: int, setting: int) -> int:
    if not _still(inputs, contact):
        return UNKNOWN
    return setting if inputs.on[contact] else 1 - setting


def _still(inputs: "Inputs", contact: int) -> bool:
    """Whether it has lain still for its debounce time. One that is not known has not, whatever it did before."""
    return inputs.sure[contact] == 1 and inputs.known[contact] == 1
