"""Which drives move when: the queue, the supply's budget, the moving mark, one unknown drive at a time.

A drive may move only once a `moving` mark for it is in flash, and flash is written only while nothing moves. So
moves come in batches: whatever waits while nothing moves is marked together, then moved, a few at a time; when all
are at rest the positions are written, together with the marks of the next batch. A drive on its way is turned
round at once: its mark is there already. No hardware; `flash` is called between ticks by the loop.
"""

from frogboard import events
from frogboard.drive import JUMP, MOVE, REST, SETTLE, WAIT
from frogboard.table import UNKNOWN

if False:
    from frogboard.drive import Drive
    from frogboard.events import Events
    from frogboard.feed import Feed

NONE = 255
AGAIN = 1
"""So often a move whose pulses were lost is begun again by itself; it then waits for the pulses to be sent."""
IDLE = 0
PENDING = 1
READY = 2
ACTIVE = 3


class Mover:
    """Owns the servo drives' moves. `state[d]` is IDLE, PENDING (no mark yet), READY (marked) or ACTIVE."""

    def __init__(self, drives: "list[Drive]", feeds: "list[Feed]", max_moving: int, log: "Events") -> None:
        self.drives = drives
        self.state = bytearray(len(drives))
        self.target = bytearray([NONE] * len(drives))
        self.max_moving = max_moving
        self.dirty = False
        """A drive came to rest and its position is not in flash yet."""
        self.moving = 0
        self.settling = False
        """A pulse has arrived, and its servo is about to: it settles, or jumps there."""
        self.queued = 0
        """How many moves wait or are under way."""
        self._log = log
        self._again = bytearray(len(drives))
        self._queue = bytearray([NONE] * len(drives))
        self._of: "list[list[tuple[Feed, int]]]" = [
            [(f, f.depends.index(d)) for f in feeds if d in f.depends] for d in range(len(drives))
        ]
        self._line = 0

    @property
    def at_rest(self) -> bool:
        """No pulse is moving and none is about to."""
        for state in self.state:
            if state >= READY:
                return False
        return True

    @property
    def busy(self) -> bool:
        """Something moves, waits, or is to be written."""
        return self.dirty or self.queued > 0

    @property
    def wants_flash(self) -> bool:
        """Whether the loop should write to flash now (after this tick's outputs are out)."""
        return (self.dirty or self.queued > 0) and self.at_rest

    def request(self, d: int, to: int) -> None:
        """Want servo `d` at `to`. Asking for what is under way already changes nothing."""
        drive = self.drives[d]
        if self.state[d] == ACTIVE:
            if drive.phase == JUMP or drive.to == to:
                self.target[d] = to
            else:
                self.target[d] = to
                self._begin(d)
        elif self.state[d] == IDLE:
            self.target[d] = to
            self.state[d] = PENDING
            self.queued += 1
            self._append(d)
        else:
            self.target[d] = to

    def forbidden(self, d: int) -> "Feed | None":
        """A feed for which servo `d` must not be thrown now, or None."""
        for feed, _ in self._of[d]:
            if feed.forbids:
                return feed
        return None

    def _append(self, d: int) -> None:
        for i in range(len(self._queue)):
            if self._queue[i] == NONE:
                self._queue[i] = d
                return

    def _remove(self, i: int) -> None:
        last = len(self._queue) - 1
        while i < last:
            self._queue[i] = self._queue[i + 1]
            i += 1
        self._queue[last] = NONE

    def _begin(self, d: int) -> None:
        drive = self.drives[d]
        to = self.target[d]
        for feed, k in self._of[d]:
            feed.depart(k, to)
        drive.begin(to)

    def step(self, dt_ms: int) -> None:
        """Step every active drive, then start what the budget allows."""
        if self.queued == 0:
            self.moving = 0
            return
        moving = 0
        jumping = settling = False
        drives, state = self.drives, self.state
        for d in range(len(state)):
            if state[d] != ACTIVE:
                continue
            drive = drives[d]
            if drive.phase == WAIT and drive.jumps and self._another_jumps(d):
                moving += 1
                jumping = True
                continue
            drive.step(dt_ms, drive.phase != WAIT or self._clear(d, drive.to))
            if drive.called:
                drive.call()
            if drive.started:
                drive.started = False
                self._log.put(events.MOVE, d, drive.to)
            phase = drive.phase
            if phase == REST:
                self._arrived(d)
                continue
            moving += 1
            if phase != MOVE:
                settling = settling or phase >= SETTLE
                jumping = jumping or phase == JUMP or drive.jumps
        self.moving = moving
        self.settling = settling
        if moving < self.max_moving:
            self._start(jumping)

    def _arrived(self, d: int) -> None:
        drive = self.drives[d]
        self.dirty = True
        if drive.disturbed and self._again[d] < AGAIN:
            self._again[d] += 1
            self.state[d] = PENDING
            self._append(d)
            return
        self._again[d] = 0
        if drive.at == UNKNOWN:
            self._log.put(events.LOST, d)
        else:
            self._log.put(events.REST, d, drive.at)
        if drive.at != UNKNOWN and self.target[d] != drive.at:
            self.state[d] = PENDING
            self._append(d)
        else:
            self.state[d] = IDLE
            self.queued -= 1
            self.target[d] = NONE

    def _clear(self, d: int, to: int) -> bool:
        for feed, k in self._of[d]:
            if not feed.clear(k, to):
                return False
        return True

    def _another_jumps(self, d: int) -> bool:
        """Whether a servo besides d runs to its end at its own speed: one at a time does, turned round or not."""
        for other in range(len(self.drives)):
            if other != d and self.drives[other].phase == JUMP:
                return True
        return False

    def _start(self, jumping: bool) -> None:
        for i in range(len(self._queue)):
            d = self._queue[i]
            if d == NONE:
                return
            if self.state[d] == READY and not (jumping and self.drives[d].jumps):
                self._remove(i)
                self.state[d] = ACTIVE
                self.moving += 1
                self._begin(d)
                return

    def marked(self) -> None:
        """The flash now holds every position, and a moving mark for all that wait."""
        self.dirty = False
        for d in range(len(self.drives)):
            if self.state[d] == PENDING:
                self.state[d] = READY

    def refuse(self) -> None:
        """The flash could not be written: nothing that waits may move."""
        self.dirty = False
        for d in range(len(self.drives)):
            if self.state[d] == PENDING:
                self.state[d] = IDLE
                self.queued -= 1
                self.target[d] = NONE
                self._log.put(events.UNSAVED, d)
        for i in range(len(self._queue)):
            self._queue[i] = NONE

    def positions(self) -> "list[tuple[int, int]]":
        """(setting, pulse) of every drive as flash should hold it now; UNKNOWN for those about to move."""
        found = []
        for d, drive in enumerate(self.drives):
            known = drive.servo and self.state[d] == IDLE
            found.append((drive.at if known else UNKNOWN, drive.pulse_us))
        return found
