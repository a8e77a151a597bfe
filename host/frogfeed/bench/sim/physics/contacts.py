"""Relays and solid-state switches: coils in, contacts that follow late, bounce, weld.

Kinds: `pair` (a leg to each bus wire, no interlock of its own), `changeover` (one coil; released it rests on one
side), `latching` (two coils; keeps its side) and `enable` (one contact ahead of a group). A leg conducts to the track
when its own contact and its group's are closed.
"""

if False:
    from frogfeed.bench.shapes import OutputSpec, OutputState
    from frogfeed.bench.sim.physics.chance import Chance
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.rails import Rails
    from frogfeed.bench.sim.physics.records import Records
    from frogfeed.bench.sim.physics.watch import Watch


class Leg:
    """One contact from a bus wire towards a switched rail."""

    def __init__(self, output: "Output", side: str, clock: "Clock", owner: "Contacts") -> None:
        self.output = output
        self.side = side
        self.closed = 0
        self.want = 0
        self.welded = 0
        self.broken = 0
        self.group: "Leg | None" = None
        self.bounces = 0
        self.told = 0
        self.slot = clock.slot(owner._reach, self)
        self.bounce_slot = clock.slot(owner._bounce, self)


class Output:
    """One switched output with its coils and legs."""

    def __init__(self, spec: "OutputSpec") -> None:
        self.name = spec["name"]
        self.kind = spec["kind"]
        self.operate_us = spec["operate_us"]
        self.release_us = spec["release_us"]
        self.bounce_us = spec["bounce_us"]
        self.transfer_us = spec["transfer_us"]
        self.dead_us = spec["dead_us"]
        self.rest = spec.get("rest", "A")
        self.interlocked = spec["interlocked"]
        self.coil = [0, 0]
        self.off_at = [-1 << 40, -1 << 40]
        self.on_at = [0, 0]
        self.legs: "list[Leg]" = []
        self.group = spec.get("group", -1)


class Contacts:
    """All outputs and group enables of one board."""

    def __init__(
        self,
        outputs: "list[OutputSpec]",
        groups: "list[OutputSpec]",
        clock: "Clock",
        rails: "Rails",
        records: "Records",
        random: "Chance",
    ) -> None:
        self.clock = clock
        self.rails = rails
        self.records = records
        self.random = random
        self.outputs = [Output(s) for s in outputs]
        self.by_name = {o.name: o for o in self.outputs}
        self.watch: "Watch | None" = None
        for output in self.outputs:
            output.legs = [Leg(output, "A", clock, self), Leg(output, "B", clock, self)]
        self.groups: "list[Output]" = []
        for spec in groups:
            group = Output(spec)
            group.legs = [Leg(group, "enable", clock, self)]
            self.groups.append(group)
        for output in self.outputs:
            if output.group >= 0:
                for leg in output.legs:
                    leg.group = self.groups[output.group].legs[0]

    def begin(self, latched: "dict[str, str] | None" = None) -> None:
        """Contacts at power-on: changeovers rest, latching ones are where they were left."""
        for output in self.outputs:
            side = None
            if output.kind == "changeover":
                side = output.rest
            elif output.kind == "latching":
                side = (latched or {}).get(output.name, output.rest)
            if side is not None:
                leg = output.legs[0 if side == "A" else 1]
                leg.closed = leg.want = 1
                self._tell(leg)

    # ---- coils ----------------------------------------------------------------------------------------

    def drive(self, which: "tuple[Output, int]", on: int) -> None:
        """A coil (or a solid-state switch's input) was turned on or off: `which` is (output, coil)."""
        output, coil = which
        if output.coil[coil] == on:
            return
        now = self.clock.now
        output.coil[coil] = on
        self.records.put("coil", now, output=output.name, coil=coil, on=on)
        if self.watch is not None:
            self.watch.coil(output, coil, on)
        if on:
            output.on_at[coil] = now
        else:
            output.off_at[coil] = now
        kind = output.kind
        if kind == "pair" or kind == "enable":
            self._want(output.legs[coil], on, output.operate_us if on else output.release_us)
        elif kind == "changeover":
            delay = output.operate_us if on else output.release_us
            rest = 0 if output.rest == "A" else 1
            first = output.legs[rest if on else 1 - rest]
            second = output.legs[1 - rest if on else rest]
            self._transfer(output, first, second, delay)
        elif on:  # latching: coil 0 sets side A, coil 1 side B
            self._transfer(output, output.legs[1 - coil], output.legs[coil], output.operate_us)
        elif now - output.on_at[coil] < output.operate_us:
            # the pulse was too short: whatever has not moved yet stays
            for leg in output.legs:
                self.clock.cancel(leg.slot)
                leg.want = leg.closed

    def _transfer(self, output: "Output", opens: "Leg", closes: "Leg", delay: int) -> None:
        gap = output.transfer_us
        self._want(opens, 0, delay - gap if delay > gap else 0)
        self._want(closes, 1, delay)

    def _want(self, leg: "Leg", closed: int, delay: int) -> None:
        leg.want = closed
        self.clock.cancel(leg.bounce_slot)
        leg.bounces = 0
        if leg.closed == closed:
            self.clock.cancel(leg.slot)
        else:
            self.clock.at(self.clock.now + delay, leg.slot)

    def _reach(self, leg: "Leg") -> None:
        want = leg.want
        if want == leg.closed or (not want and leg.welded) or (want and leg.broken):
            return
        leg.closed = want
        self._tell(leg)
        if want and leg.output.bounce_us:
            leg.bounces = 2 * (1 + self.random.below(3))
            self.clock.at(self.clock.now + self._bounce_gap(leg), leg.bounce_slot)

    def _bounce_gap(self, leg: "Leg") -> int:
        gap = leg.output.bounce_us // 6
        return 1 + gap // 2 + self.random.below(gap // 2)

    def _bounce(self, leg: "Leg") -> None:
        leg.bounces -= 1
        leg.closed = 0 if leg.bounces & 1 and not leg.welded else 1
        self._tell(leg)
        if leg.bounces:
            self.clock.at(self.clock.now + self._bounce_gap(leg), leg.bounce_slot)

    def _tell(self, leg: "Leg") -> None:
        """Pass on what a leg does to the track; a group's contact passes on all legs behind it."""
        if leg.side == "enable":
            for output in self.outputs:
                for behind in output.legs:
                    if behind.group is leg:
                        self._tell(behind)
            return
        through = leg.closed if leg.group is None else leg.closed & leg.group.closed
        if leg.output.interlocked:
            first, second = leg.output.legs
            if leg is second:
                through &= 1 - first.closed  # wired through the resting contact of the first relay
            elif leg.closed and second.told:
                second.told = 0
                self.rails.output(leg.output.name, second.side, 0)
        if through != leg.told:
            leg.told = through
            self.rails.output(leg.output.name, leg.side, through)
            self.records.put("leg", self.clock.now, output=leg.output.name, side=leg.side, closed=through)
            if leg.output.interlocked and leg is leg.output.legs[0] and not through:
                self._tell(leg.output.legs[1])

    # ---- faults and state -----------------------------------------------------------------------------

    def weld(self, name: str, side: str, welded: int) -> None:
        """Weld a closed contact (it will not open), or break the weld."""
        output = self.by_name[name]
        leg = output.legs[0 if side == "A" else 1]
        leg.welded = welded
        if not welded and leg.want != leg.closed:
            self.clock.at(self.clock.now + output.release_us, leg.slot)

    def break_leg(self, name: str, side: str, broken: int) -> None:
        """A contact that never closes (burnt, or its wire off), or one that does again."""
        leg = self.by_name[name].legs[0 if side == "A" else 1]
        leg.broken = broken
        if broken and leg.closed:
            leg.closed = 0
            self._tell(leg)
        elif not broken and leg.want != leg.closed:
            self.clock.at(self.clock.now, leg.slot)

    def timing(self, name: str, operate_us: int = -1, release_us: int = -1, bounce_us: int = -1) -> None:
        """Let a relay be slower or bounce longer than its maker says; -1 leaves a figure alone."""
        output = self.by_name[name]
        if operate_us >= 0:
            output.operate_us = operate_us
        if release_us >= 0:
            output.release_us = release_us
        if bounce_us >= 0:
            output.bounce_us = bounce_us

    def dump(self) -> "dict[str, OutputState]":
        """What survives a reset of the board: every contact, on its way or not, weld and figure."""
        state: "dict[str, OutputState]" = {}
        for output in self.outputs + self.groups:
            state[output.name] = {
                "legs": [
                    [leg.closed, leg.welded, leg.broken, leg.want, self.clock.pending(leg.slot), leg.bounces]
                    for leg in output.legs
                ],
                "us": [output.operate_us, output.release_us, output.bounce_us],
                "coil": output.coil,
                "off_at": output.off_at,
            }
        return state

    def load(self, state: "dict[str, OutputState]") -> None:
        """Take up where the board's previous life left the contacts and coils."""
        for output in self.outputs + self.groups:
            kept = state[output.name]
            output.operate_us, output.release_us, output.bounce_us = kept["us"]
            output.coil = kept["coil"]
            output.off_at = kept["off_at"]
            for leg, old in zip(output.legs, kept["legs"]):
                leg.closed, leg.welded, leg.broken, leg.want, due, bounces = old
                if bounces:
                    leg.closed = 1
                if due >= 0:
                    self.clock.at(due, leg.slot)
        for output in self.groups + self.outputs:
            for leg in output.legs:
                self._tell(leg)
