"""The kinds of switched output, and what "off" means for each. No hardware: they set bits in `lines`.

`step(dt_ms, want)` moves an output towards OFF, A or B, break before make; `told` is what its own contacts are told to
join now, `live` the same by way of its group; `is_off` whether it is told off; `off_ms` for how long (not counted
beyond `long_ms`, the longest time that anybody asks for). `has_off` is False where nothing can turn it off; `is_off` is
never true there. `busy` is False when another step with the same `want` would change nothing; then none is needed until
its group is opened, which stirs the feeds behind it. Whoever waits for a group to close is busy.

Time is counted from one step to the next, and an output is written some time after its step: every stated time
gets `slack_ms` (a tick) more, so that it holds for the pins themselves. What is cut between steps counts from the
next step on.
"""

from frogboard.table import OFF, A, B

if False:
    from typing import Any

    from frogboard.sleeper import Sleeper

LONG_MS = 3000
GOOD_MS = 10000
"""Without a trip for this long, what went before is forgiven."""


class Group:
    """The contact ahead of several outputs: closed while none of them needs it open."""

    def __init__(self, lines: bytearray, line: int, spec: "dict[str, Any]", slack_ms: int) -> None:
        self.name = spec["name"]
        self.line = line
        self.members: "list[PairOut | ChangeoverOut | LatchingOut]" = []
        self.sleepers: "list[Sleeper]" = []
        """The members' feeds: whoever opens it need not know that they sleep."""
        self.on = False
        self.off_ms = 0
        self.held_ms = 0
        """Stays open for this long whatever the members want."""
        self.stuck = False
        """Stays open until somebody resets one of its feeds."""
        self.strays = 0
        """How often current flowed through it though all that was watched there was told off."""
        self.struck = False
        """The guard's own: to be opened at the end of its step."""
        self.place = 0
        """The guard's own: whose turn it is to be tried again."""
        self._clean_ms = 0
        self._fresh = False
        self._lines = lines
        self._release_ms = spec["release_ms"] + slack_ms

    @property
    def busy(self) -> bool:
        """Whether time alone will change something."""
        return self.held_ms > 0 or self.strays > 0

    @property
    def surely_off(self) -> bool:
        """Told off for as long as its contact needs to let go."""
        return not self.on and self.off_ms >= self._release_ms

    def open(self, hold_ms: int = 0) -> None:
        """Turn it off now."""
        if hold_ms > self.held_ms:
            self.held_ms = hold_ms
        if self.on:
            self.on = False
            self.off_ms = 0
            self._fresh = True
            for sleeper in self.sleepers:
                sleeper.stir()
        self._lines[self.line] = 0

    def stray(self, times: int) -> None:
        """Current flowed though nothing behind it should have let it."""
        self.strays += times
        self._clean_ms = 0

    def count(self, dt_ms: int) -> None:
        """Count time; to be called before the members' steps."""
        self.held_ms = max(0, self.held_ms - dt_ms)
        if self.on:
            if self.strays:
                self._clean_ms = min(GOOD_MS, self._clean_ms + dt_ms)
                if self._clean_ms >= GOOD_MS:
                    self.strays = 0
        elif self._fresh:
            self._fresh = False
        else:
            self.off_ms = min(LONG_MS, self.off_ms + dt_ms)

    def step(self) -> None:
        """Open or close as the members need; to be called after their steps."""
        need_off = self.held_ms > 0 or self.stuck
        for member in self.members:
            if member.needs_off:
                need_off = True
        if need_off:
            self.open()
            self._fresh = False
        elif not self.on:
            self.on = True
            self._lines[self.line] = 1
            for sleeper in self.sleepers:
                sleeper.active = True


class PairOut:
    """Two normally-open contacts or solid-state switches, one to each bus wire: off is real."""

    has_off = True
    needs_off = False
    own_off = True
    """It can be off while its group is closed."""

    def __init__(
        self, lines: bytearray, a: int, b: int, spec: "dict[str, Any]", group: "Group | None", slack_ms: int
    ) -> None:
        self._lines = lines
        self._a = a
        self._b = b
        self._dead_ms = spec["dead_ms"] + slack_ms
        self.long_ms = self._dead_ms
        self.group = group
        self.told = OFF
        self.off_ms = 0
        self.busy = True
        self._fresh = True

    @property
    def live(self) -> int:
        """The bus wire that it joins the frog to now."""
        return OFF if self.group is not None and not self.group.on else self.told

    @property
    def is_off(self) -> bool:
        return self.told == OFF

    def cut(self) -> None:
        """Off, now."""
        self._lines[self._a] = 0
        self._lines[self._b] = 0
        if self.told != OFF:
            self.told = OFF
            self.off_ms = 0
            self._fresh = True

    def lose(self) -> None:
        """What carries its lines does not answer any more: they are off."""
        self.cut()

    def step(self, dt_ms: int, want: int) -> None:
        told = self.told
        if self._fresh:
            self._fresh = False
        elif told == OFF:
            self.off_ms = off_ms = min(self.long_ms, self.off_ms + dt_ms)
            if want != OFF and off_ms >= self._dead_ms:
                self.told = told = want
                self._lines[self._a if want == A else self._b] = 1
        elif want != told:
            self.cut()
            told = OFF
            self._fresh = False
        self.busy = told != want or (told == OFF and self.off_ms < self.long_ms)


class OneContact:
    """What a changeover and a latching relay have in common: one contact that joins one side or the other.

    Without a group it has no off.
    """

    own_off = False

    def __init__(self, lines: bytearray, group: "Group | None", side: int, still_ms: int) -> None:
        self._lines = lines
        self.group = group
        self.has_off = group is not None
        self.needs_off = group is not None
        self.side = side
        """OFF: not known."""
        self.still_ms = still_ms
        """For how long the contact has not been told to move."""
        self.long_ms = LONG_MS
        self.busy = True

    @property
    def off_ms(self) -> int:
        """The group's own count, never a copy: it is opened between the steps as well."""
        return 0 if self.group is None or self.group.on else self.group.off_ms

    @property
    def told(self) -> int:
        return self.side if self.group is None or self.group.on else OFF

    @property
    def live(self) -> int:
        """The bus wire that it joins the frog to now."""
        return self.told

    @property
    def is_off(self) -> bool:
        return self.group is not None and not self.group.on

    def cut(self) -> None:
        """Off, now; does nothing where there is no off."""
        if self.group is not None:
            self.needs_off = True
            self.group.open()


class ChangeoverOut(OneContact):
    """One changeover contact, common to the frog. Released it joins its rest side."""

    def __init__(
        self, lines: bytearray, coil: int, spec: "dict[str, Any]", group: "Group | None", slack_ms: int
    ) -> None:
        self._coil = coil
        self._rest = A if spec["rest"] == "A" else B
        self._move_ms = max(spec["operate_ms"], spec["release_ms"]) + spec["bounce_ms"] + slack_ms
        super().__init__(lines, group, self._rest, 0)

    def lose(self) -> None:
        """What carries its coil does not answer any more: the coil has no current, or soon has none."""
        self.cut()
        self._move(self._rest)

    def step(self, dt_ms: int, want: int) -> None:
        self.still_ms = min(LONG_MS, self.still_ms + dt_ms)
        if self.group is None:
            self._move(self._rest if want == OFF else want)
            self.busy = False
            return
        if want != OFF and want != self.side and self.group.surely_off:
            self._move(want)
        moving = self.still_ms < self._move_ms
        self.needs_off = want == OFF or want != self.side or moving
        self.busy = moving or self.told != want

    def _move(self, side: int) -> None:
        if side != self.side:
            self.side = side
            self.still_ms = 0
            self._lines[self._coil] = 0 if side == self._rest else 1


class LatchingOut(OneContact):
    """A changeover that keeps its side without power: unknown after a reset until it has been pulsed."""

    def __init__(
        self, lines: bytearray, set_: int, reset: int, spec: "dict[str, Any]", group: "Group | None", slack_ms: int
    ) -> None:
        self._set = set_
        self._reset = reset
        self._pulse_ms = spec["pulse_ms"] + slack_ms
        self._move_ms = self._pulse_ms + spec["bounce_ms"] + slack_ms
        super().__init__(lines, group, OFF, LONG_MS)

    def lose(self) -> None:
        """What carries its lines does not answer any more: nobody knows whether the last pulse arrived."""
        self.cut()
        self.side = OFF
        self.still_ms = 0
        self._lines[self._set] = 0
        self._lines[self._reset] = 0

    def step(self, dt_ms: int, want: int) -> None:
        self.still_ms = min(LONG_MS, self.still_ms + dt_ms)
        if self.still_ms >= self._pulse_ms:
            self._lines[self._set] = 0
            self._lines[self._reset] = 0
        free = self.group is None or self.group.surely_off
        if want != OFF and want != self.side and free and self.still_ms >= self._move_ms:
            self.side = want
            self.still_ms = 0
            self._lines[self._set if want == A else self._reset] = 1
        self.needs_off = self.group is not None and (want == OFF or want != self.side or self.still_ms < self._move_ms)
        self.busy = self.still_ms < self._move_ms or (self.told != want and (self.has_off or want != OFF))
