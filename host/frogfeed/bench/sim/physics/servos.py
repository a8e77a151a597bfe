"""Servos and their linkages: pulse in, horn behind it, blades at their rails or between them.

A servo looks at its pulse once a frame (20 ms) and moves towards it, limited in speed, with a first-order lag and a
dead band; without a pulse it holds by friction. Within a frame the horn moves evenly, so the moment at which a blade
touches or lets go is found exactly. Horn positions are nanoseconds of pulse; `q` counts them from the first setting's
pulse towards the second's. Where blades touch is a pair of thresholds for each end, apart by the linkage's lost
motion: touching as q falls (rises) through one, letting go as it rises (falls) through the other.
"""

if False:
    from collections.abc import Callable

    from frogfeed.bench.shapes import HandSpec, HandsState, ServoSpec, ServosState
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.rails import Rails
    from frogfeed.bench.sim.physics.records import Records

FRAME_US = 20_000
QUIET_FRAMES = 3
"""A horn that has not moved for so many frames is at rest."""
JUMP_NS = 250_000
"""A pulse this far from the horn is a twitch: an eased move never asks for it."""


class Servos:
    """All servos of one board. `rails` is told of ends and motion."""

    def __init__(
        self, specs: "list[ServoSpec]", clock: "Clock", rails: "Rails", records: "Records", phase_us: int = 0
    ) -> None:
        self.clock = clock
        self.rails = rails
        self.records = records
        self.phase_us = phase_us
        self.frame_slot = clock.slot(self._frame)
        n = len(specs)
        self.names = [s["name"] for s in specs]
        self.drive = [s["drive"] for s in specs]
        self.first = [s["first_ns"] for s in specs]
        self.sign = [s["sign"] for s in specs]
        self.low_open = [s["low_open"] for s in specs]
        self.low_close = [s["low_close"] for s in specs]
        self.high_open = [s["high_open"] for s in specs]
        self.high_close = [s["high_close"] for s in specs]
        self.step_ns = [s["step_ns"] for s in specs]
        self.gain = [s["gain"] for s in specs]
        self.dead_ns = [s["dead_ns"] for s in specs]
        self.stop_low = [s["stop_ns"][0] for s in specs]
        self.stop_high = [s["stop_ns"][1] for s in specs]
        self.mirror = [s["first_ns"] * 2 + s["span_ns"] * s["sign"] for s in specs]
        self.pos = [s["start_ns"] for s in specs]
        self.pulse = [0] * n
        self.moving = [0] * n
        self.quiet = [0] * n
        self.stuck = [0] * n
        self.reversed = [0] * n
        self.touch = [[0, 0] for _ in specs]
        self.want = [[0, 0] for _ in specs]
        self.end_slots: "list[tuple[int, int]]" = []
        for i in range(n):
            self.end_slots.append((clock.slot(self._end, (i, 0)), clock.slot(self._end, (i, 1))))
        self.active: "list[int]" = []
        # called with (servo, ns) when pulses begin: the watch of rule S3
        self.on_pulse: "Callable[[int, int], None] | None" = None

    def begin(self) -> None:
        """Tell the rails where the blades stand at power-on."""
        for i in range(len(self.pos)):
            q = (self.pos[i] - self.first[i]) * self.sign[i]
            for end in (0, 1):
                closed = 1 if (q <= self.low_close[i] if end == 0 else q >= self.high_close[i]) else 0
                self.touch[i][end] = closed
                self.want[i][end] = closed
                if closed:
                    self.rails.end(self.drive[i], end, 1)

    def set_pulse(self, i: int, pulse_ns: int) -> None:
        """The pulse on a servo's wire is now this long; 0 is none. It counts from the next frame on."""
        before = self.pulse[i]
        if before == pulse_ns:
            return
        self.pulse[i] = pulse_ns
        if pulse_ns and not before and self.on_pulse is not None:
            self.on_pulse(i, pulse_ns)
        if not pulse_ns or not before:
            self.records.put("pulse", self.clock.now, drive=self.names[i], us=pulse_ns // 1000)
        if i not in self.active:
            self.active.append(i)
            if self.clock.due[self.frame_slot] < 0:
                self._next_frame()

    def _next_frame(self) -> None:
        now = self.clock.now - self.phase_us
        self.clock.at(now - now % FRAME_US + FRAME_US + self.phase_us, self.frame_slot)

    def _frame(self, _: int) -> None:
        active = self.active
        now = self.clock.now
        for index in range(len(active) - 1, -1, -1):
            i = active[index]
            pulse = self.pulse[i]
            pos = self.pos[i]
            if pulse and not self.stuck[i]:
                if self.reversed[i]:
                    pulse = self.mirror[i] - pulse
                if pulse < self.stop_low[i]:
                    pulse = self.stop_low[i]
                elif pulse > self.stop_high[i]:
                    pulse = self.stop_high[i]
                error = pulse - pos
            else:
                error = 0
            if -self.dead_ns[i] <= error <= self.dead_ns[i]:
                self.quiet[i] += 1
                if self.quiet[i] < QUIET_FRAMES and self.moving[i]:
                    continue  # within its dead band for the moment: an eased move begins and ends slowly
                active.pop(index)
                if self.moving[i]:
                    self.moving[i] = 0
                    self.rails.motion(self.drive[i], 0)
                    self.records.put("rest", now, drive=self.names[i], us=pos // 1000)
                continue
            self.quiet[i] = 0
            if not self.moving[i]:
                self.moving[i] = 1
                self.rails.motion(self.drive[i], 1)
                self.records.put("move", now, drive=self.names[i], us=pos // 1000)
                if error > JUMP_NS or error < -JUMP_NS:
                    self.records.put("jump", now, drive=self.names[i], us=error // 1000)
            step = error * self.gain[i] >> 8
            limit = self.step_ns[i]
            if step > limit:
                step = limit
            elif step < -limit:
                step = -limit
            self.pos[i] = pos + step
            q0 = (pos - self.first[i]) * self.sign[i]
            q1 = q0 + step * self.sign[i]
            touch = self.touch[i]
            if q1 > q0:
                if touch[0] and q1 > self.low_open[i]:
                    self._cross(i, 0, 0, now, q0, q1, self.low_open[i])
                if not touch[1] and q1 >= self.high_close[i]:
                    self._cross(i, 1, 1, now, q0, q1, self.high_close[i])
            else:
                if touch[1] and q1 < self.high_open[i]:
                    self._cross(i, 1, 0, now, q0, q1, self.high_open[i])
                if not touch[0] and q1 <= self.low_close[i]:
                    self._cross(i, 0, 1, now, q0, q1, self.low_close[i])
        if active:
            self.clock.at(now + FRAME_US, self.frame_slot)

    def _cross(self, i: int, end: int, closed: int, now: int, q0: int, q1: int, threshold: int) -> None:
        at = now + FRAME_US * (threshold - q0) // (q1 - q0)
        self.want[i][end] = closed
        self.clock.at(at if at > now else now, self.end_slots[i][end])

    def _end(self, which: "tuple[int, int]") -> None:
        i, end = which
        closed = self.want[i][end]
        self.touch[i][end] = closed
        self.rails.end(self.drive[i], end, closed)
        self.records.put("blade", self.clock.now, drive=self.names[i], end=end, touches=closed)

    # ---- faults and state -----------------------------------------------------------------------------

    def jam(self, i: int, stuck: int) -> None:
        """A stuck servo ignores its pulse; freed, it obeys again."""
        self.stuck[i] = stuck
        self._wake(i)

    def reverse(self, i: int, reversed_: int) -> None:
        """A servo mounted the wrong way round runs to the other end."""
        self.reversed[i] = reversed_
        self._wake(i)

    def _wake(self, i: int) -> None:
        if i not in self.active:
            self.active.append(i)
            if self.clock.due[self.frame_slot] < 0:
                self._next_frame()

    def dump(self) -> "ServosState":
        """What survives a reset of the board: where the horns and blades are."""
        return {
            "pos": self.pos,
            "touch": self.touch,
            "stuck": self.stuck,
            "reversed": self.reversed,
            "step_ns": self.step_ns,
            "pulse": self.pulse,
            "moving": self.moving,
        }

    def load(self, state: "ServosState") -> None:
        """Take up where the board's previous life left the servos."""
        self.pos = state["pos"]
        self.stuck = state["stuck"]
        self.reversed = state["reversed"]
        self.step_ns = state["step_ns"]
        self.pulse = state["pulse"]
        self.moving = state["moving"]
        for i in range(len(self.pos)):
            for end in (0, 1):
                closed = state["touch"][i][end]
                self.want[i][end] = closed
                if self.touch[i][end] != closed:
                    self.touch[i][end] = closed
                    self.rails.end(self.drive[i], end, closed)
            if self.moving[i]:
                self.rails.motion(self.drive[i], 1)
            if self.pulse[i] or self.moving[i]:
                self._wake(i)


class Hands:
    """Hand-thrown turnouts: a finger moves the blades, position contacts tell the board."""

    def __init__(
        self,
        specs: "list[HandSpec]",
        clock: "Clock",
        rails: "Rails",
        records: "Records",
        contact: "Callable[[int, int, int], None]",
    ) -> None:
        self.clock = clock
        self.rails = rails
        self.records = records
        self.specs = specs
        self.contact = contact  # called with (hand, setting, closed): a position contact changed
        self.by_name = {s["name"]: i for i, s in enumerate(specs)}
        self.pos = [s["start"] * 1000 for s in specs]
        self.from_pos = list(self.pos)
        self.goal = list(self.pos)
        self.began = [0] * len(specs)
        self.travel_us = [1] * len(specs)
        self.state = [[0, 0, 0, 0] for _ in specs]
        self.slots: "list[list[int]]" = []
        self.rest_slots: "list[int]" = []
        for i in range(len(specs)):
            self.rest_slots.append(clock.slot(self._rest, i))
            self.slots.append([clock.slot(self._change, (i, k)) for k in range(4)])

    def thresholds(self, i: int) -> "tuple[tuple[int, int], ...]":
        """(position in thousandths, whether below it counts as closed) of blade ends 0, 1 and contacts 0, 1."""
        spec = self.specs[i]
        blade = spec["blade"]
        switch = spec["switch"]
        return ((blade, 1), (1000 - blade, 0), (switch, 1), (1000 - switch, 0))

    def begin(self) -> None:
        """Tell the rails and the inputs where the blades stand at power-on."""
        for i in range(len(self.specs)):
            thresholds = self.thresholds(i)
            for k in range(4):
                limit, below = thresholds[k]
                closed = self.pos[i] <= limit if below else self.pos[i] >= limit
                self._set(i, k, 1 if closed else 0)

    def _set(self, i: int, k: int, closed: int) -> None:
        if self.state[i][k] == closed:
            return
        self.state[i][k] = closed
        if k < 2:
            self.rails.end(self.specs[i]["drive"], k, closed)
            self.records.put("blade", self.clock.now, drive=self.specs[i]["name"], end=k, touches=closed)
        else:
            self.contact(i, k - 2, closed)

    def throw(self, name: str, setting: int, travel_us: int) -> None:
        """A finger pushes a turnout over in so many microseconds; from where it is, if it was on its way."""
        i = self.by_name[name]
        now = self.clock.now
        here = self.where(i)
        goal = 1000 * setting
        self.pos[i] = here
        self.from_pos[i] = here
        self.goal[i] = goal
        self.began[i] = now
        way = goal - here if goal > here else here - goal
        self.travel_us[i] = travel_us * way // 1000
        self.rails.motion(self.specs[i]["drive"], 1)
        self.records.put("move", now, drive=name, us=here)
        thresholds = self.thresholds(i)
        for k in range(4):
            limit, below = thresholds[k]
            closed = goal <= limit if below else goal >= limit
            slot = self.slots[i][k]
            if (1 if closed else 0) == self.state[i][k]:
                self.clock.cancel(slot)
            else:
                part = limit - here if limit > here else here - limit
                self.clock.at(now + (self.travel_us[i] * part // way if way else 0), slot)
        self.clock.at(now + self.travel_us[i], self.rest_slots[i])

    def busy(self) -> bool:
        """Whether a finger pushes now."""
        for slot in self.rest_slots:
            if self.clock.due[slot] >= 0:
                return True
        return False

    def where(self, i: int) -> int:
        """Where the blades are now, in thousandths of their throw."""
        gone = self.clock.now - self.began[i]
        if gone >= self.travel_us[i]:
            return self.goal[i]
        return self.from_pos[i] + (self.goal[i] - self.from_pos[i]) * gone // self.travel_us[i]

    def _change(self, which: "tuple[int, int]") -> None:
        i, k = which
        self._set(i, k, 1 - self.state[i][k])

    def _rest(self, i: int) -> None:
        self.pos[i] = self.goal[i]
        self.rails.motion(self.specs[i]["drive"], 0)
        self.records.put("rest", self.clock.now, drive=self.specs[i]["name"], us=self.pos[i])

    def dump(self) -> "HandsState":
        """What survives a reset of the board (a throw under way is taken as done)."""
        return {"goal": self.goal}

    def load(self, state: "HandsState") -> None:
        """Take up where the board's previous life left the blades."""
        for i in range(len(self.specs)):
            self.pos[i] = self.goal[i] = self.from_pos[i] = state["goal"][i]
        self.begin()
