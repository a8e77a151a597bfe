"""The watch over rules S1 to S3, by what the board does and not by what it says.

S1: a pair's legs are never driven together, and between them both are off for at least the dead time.
S2: outside a throw a leg that is driven is the one its decision table names for where the drives really stand.
S3: until the board has valid settings no output is driven and no servo pulse sent.
"""

if False:
    from collections.abc import Callable

    from frogfeed.bench.shapes import Term
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.contacts import Output
    from frogfeed.bench.sim.physics.rails import Rails
    from frogfeed.bench.sim.physics.records import Records


class Watch:
    """Looks at coils, pulses and drives; records each break of a rule once."""

    def __init__(
        self,
        tables: "dict[str, list[tuple[Term, str]]]",
        rails: "Rails",
        clock: "Clock",
        records: "Records",
        grace_us: int,
    ) -> None:
        self.tables = tables  # output -> [([(drive, setting), ...], "A"|"B"), ...]
        self.rails = rails
        self.clock = clock
        self.records = records
        self.grace_us = grace_us
        self.bare = False
        # asked, before S3 is called broken, whether there are valid settings by now
        self.excuse: "Callable[[], bool] | None" = None
        self.outputs: "list[Output]" = []
        self.blamed: "dict[str, bool]" = {}
        self.slot = clock.slot(self._check)

    def broken(self, rule: str, what: str) -> None:
        """Record a broken rule now."""
        self.records.put("rule", self.clock.now, rule=rule, what=what)

    def _too_early(self) -> bool:
        if self.bare and self.excuse is not None and self.excuse():
            self.bare = False
        return self.bare

    def coil(self, output: "Output", coil: int, on: int) -> None:
        """A coil changed."""
        if on and self._too_early():
            self.broken("S3", "%s is driven before the board has valid settings" % output.name)
        if output.kind == "pair" and on:
            other = 1 - coil
            if output.coil[other]:
                self.broken("S1", "%s drives both legs" % output.name)
            else:
                gap = self.clock.now - output.off_at[other]
                if gap < output.dead_us:
                    self.broken("S1", "%s was off for %d us only, not %d" % (output.name, gap, output.dead_us))
        self.stir()

    def pulse(self, name: str, pulse_ns: int) -> None:
        """Pulses to a servo began."""
        if self._too_early():
            self.broken("S3", "%s gets a pulse before the board has valid settings" % name)

    def stir(self) -> None:
        """Something changed that rule S2 depends on."""
        self.clock.at(self.clock.now + self.grace_us, self.slot)

    def expected(self, name: str) -> "str | None":
        """The bus wire that an output's table names for where its drives have settled, "off", or None: unsettled."""
        rows = self.tables.get(name)
        if rows is None:
            return None
        rails = self.rails
        unsure = False
        for when, side in rows:
            holds = True
            for drive, setting in when:
                at = rails.settled(drive)
                if at < 0:
                    unsure = True
                if at != setting:
                    holds = False
            if holds:
                return side
        return None if unsure else "off"

    def _check(self, _: int) -> None:
        again = False
        for output in self.outputs:
            driven = self._driven(output)
            want = self.expected(output.name)
            wrong = driven is not None and want is not None and driven != want
            if wrong and not self.blamed.get(output.name):
                self.broken("S2", "%s is driven to %s where its table says %s" % (output.name, driven, want))
            self.blamed[output.name] = wrong
            if driven is not None and want is None:
                again = True
        if again:
            self.clock.at(self.clock.now + 50_000, self.slot)

    @staticmethod
    def _driven(output: "Output") -> "str | None":
        """The side that an output's coils ask for, or None where it is off or can't help it."""
        if output.kind == "pair":
            if output.coil[0] and not output.coil[1]:
                return "A"
            return "B" if output.coil[1] and not output.coil[0] else None
        if output.kind == "changeover" and output.coil[0]:
            return "B" if output.rest == "A" else "A"
        return None
