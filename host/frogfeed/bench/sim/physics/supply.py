"""Supplies that trip, and how much current flows through each switched output.

Currents are whole milliamperes. A vehicle with pickups draws its load shared over its wheels; a spark draws what the
supply gives, through every leg on its path. Loads are reckoned when somebody asks, sparks when they change.
"""

if False:
    from collections.abc import Callable

    from frogfeed.bench.shapes import SensorSpec, SensorsState, SupplySpec, TripSpec
    from frogfeed.bench.sim.physics.board import Board
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.ina import Ina
    from frogfeed.bench.sim.physics.rails import Rails
    from frogfeed.bench.sim.physics.records import Records
    from frogfeed.bench.sim.physics.servos import Servos
    from frogfeed.bench.sim.physics.trains import Side, Trains


ISOLATOR_US = 20
"""From a chip's alert output to the microcontroller's pin (from memory of opto-isolators)."""


class Supplies:
    """The districts' supplies and the currents through outputs. `specs`: district -> figures of `SupplyPhysics`."""

    def __init__(
        self, specs: "dict[str, SupplySpec]", clock: "Clock", rails: "Rails", trains: "Trains", records: "Records"
    ) -> None:
        self.clock = clock
        self.rails = rails
        self.trains = trains
        self.records = records
        self.specs = specs
        self.names = sorted(specs)
        self.slots: "dict[str, int]" = {}
        self.on_again: "dict[str, int]" = {}
        for name in self.names:
            self.slots[name] = clock.slot(self._trip, name)
            self.on_again[name] = clock.slot(self.restore, name)
        self.off: "dict[str, bool]" = {}
        self.extra_ma: "dict[str, int]" = {}
        self.spark_ma: "dict[str, int]" = {}
        self.listener: "Callable[[], None] | None" = None  # called when the currents of sparks have changed
        self.wire_district: "dict[int, str]" = {}
        for index in range(rails.nw):
            self.wire_district[index] = rails.names[index].rsplit(".", 1)[0]
        self.edge_output: "dict[int, str]" = {}
        for output in rails.outputs:
            for side in ("A", "B"):
                for edge in rails.outputs[output][side]:
                    self.edge_output[edge] = output
        # class -> [(edge, class at its other end, its output or None)], wires left out
        self.around: "dict[int, list[tuple[int, int, str | None]]]" = {}
        for edge in range(len(rails.edge_a)):
            one, two = rails.edge_a[edge], rails.edge_b[edge]
            by = self.edge_output.get(edge)
            for here, there in ((one, two), (two, one)):
                if here >= rails.nw:
                    self.around.setdefault(here, []).append((edge, there, by))
        self.found: "dict[str, int]" = {}
        self.version = -1
        rails.on_sparks = self.sparks_changed

    def fault_ma(self, district: str) -> int:
        """What flows in a short: what the resistances let through, or what the supply gives."""
        spec = self.specs.get(district)
        if spec is None:
            return 0
        through = spec["mv"] * 1000 // (spec["milliohm"] or 1)
        return min(through, spec["limit_ma"]) if spec["limit_ma"] else through

    def sparks_changed(self) -> None:
        """Reckon what the sparks draw, and start or stop the supplies' patience."""
        self.version = -1
        before = self.spark_ma
        self.spark_ma = {}
        hit: "dict[str, int]" = {}
        for pair in self.rails.sparks:
            district = self.wire_district[pair[0]]
            amount = self.fault_ma(district)
            hit[district] = amount
            hit[self.wire_district[pair[1]]] = amount
            for edge in self.rails.spark_edges[pair]:
                output = self.edge_output.get(edge)
                if output is not None:
                    self.spark_ma[output] = amount
        for name in self.names:
            slot = self.slots[name]
            if hit.get(name, 0) >= self.specs[name]["trip_ma"]:
                if self.clock.pending(slot) < 0:
                    self.clock.at(self.clock.now + self.specs[name]["trip_us"], slot)
            else:
                self.clock.cancel(slot)
        if self.listener is not None and self.spark_ma != before:
            self.listener()

    def _trip(self, name: str) -> None:
        self._power(name, 0)
        self.records.put("supply-trip", self.clock.now, district=name)
        if self.specs[name]["retry_us"]:
            self.clock.at(self.clock.now + self.specs[name]["retry_us"], self.on_again[name])

    def restore(self, name: str) -> None:
        """Turn a supply on again."""
        self._power(name, 1)
        self.records.put("supply-on", self.clock.now, district=name)

    def _power(self, name: str, on: int) -> None:
        self.off[name] = not on
        for index in self.wire_district:
            if self.wire_district[index] == name:
                self.rails.powered[index] = on
        self.rails.rejudge()

    def output_ma(self) -> "dict[str, int]":
        """The current through every output that carries one, now."""
        if self.version == self.rails.version:
            return self.found
        found = dict(self.spark_ma)
        for output in self.extra_ma:
            if self._closed(output):
                found[output] = found.get(output, 0) + self.extra_ma[output]
        for train in self.trains.trains.values():
            for vehicle in train.vehicles:
                if vehicle.load_ma:
                    for side in (vehicle.left, vehicle.right):
                        if side.wheels:
                            self._share(found, side, vehicle.load_ma)
        self.found = found
        self.version = self.rails.version
        return found

    def _closed(self, output: str) -> bool:
        """Whether an output joins its rails to a wire now."""
        sides = self.rails.outputs[output]
        for side in ("A", "B"):
            for edge in sides[side]:
                if self.rails.closed[edge]:
                    return True
        return False

    def _share(self, found: "dict[str, int]", side: "Side", load: int) -> None:
        """Add a vehicle's load to the outputs that feed the rails under one side's pickups."""
        rails = self.rails
        each = load // len(side.wheels)
        for wheel in side.wheels:
            cls = wheel.path[wheel.at][1]
            if cls < rails.nw:
                continue
            label = rails.label[cls]
            if label < rails.nw and not self.off.get(self.wire_district[label]):
                output = self._feeding(cls, label)
                if output is not None:
                    found[output] = found.get(output, 0) + each

    def _feeding(self, cls: int, label: int) -> "str | None":
        """The output whose closed leg feeds a class from wire `label`, itself or through one closed blade contact."""
        closed = self.rails.closed
        for edge, other, output in self.around.get(cls, ()):
            if closed[edge] and output is not None and other == label:
                return output
        for edge, other, output in self.around.get(cls, ()):
            if closed[edge] and output is None:
                for edge2, other2, output2 in self.around.get(other, ()):
                    if closed[edge2] and output2 is not None and other2 == label:
                        return output2
        return None


class Sensors:
    """What the board's sensors and hardware trips make of the currents through its outputs.

    `source` gives the current of every output; whoever builds the sensors sets it before anybody asks them.
    """

    source: "Callable[[], dict[str, int]]"

    def __init__(
        self,
        sensors: "list[SensorSpec]",
        trips: "list[TripSpec]",
        clock: "Clock",
        board: "Board",
        servos: "Servos",
        records: "Records",
    ) -> None:
        self.clock = clock
        self.board = board
        self.servos = servos
        self.records = records
        self.sensors = sensors
        self.trips = trips
        self.held = [0] * len(sensors)
        self.before = [0] * len(sensors)
        self.changed_at = [0] * len(sensors)
        self.dead = [0] * len(sensors)
        self.stuck_at = [-1] * len(sensors)
        self.alerters: "dict[int, Ina]" = {}
        """Sensor -> the chip that measures for it; each chip enters itself."""
        self.trip_slots = [clock.slot(self._trip, i) for i in range(len(trips))]
        self.tripping = [0] * len(trips)

    def begin(self) -> None:
        """Let every trip line rest."""
        for i in range(len(self.trips)):
            self._line(i, 0)

    def _line(self, i: int, on: int) -> None:
        line, active = self.trips[i]["line"]
        self.board.apply(line, active if on else 1 - active)

    def look(self) -> None:
        """The currents, or a chip's limits, have changed: hardware trips follow after their own delay."""
        currents = self.source()
        for i in range(len(self.trips)):
            trip = self.trips[i]
            over = 0
            delay_us = trip["latency_us"]
            if trip["alerts"]:
                delay_us = ISOLATOR_US
                for number in trip["alerts"]:
                    chip = self.alerters[number]
                    delay_us = max(delay_us, chip.alert_us())
                    if chip.alerting():
                        over = 1
            elif sum([currents.get(name, 0) for name in trip["watches"]]) >= trip["trip_ma"]:
                over = 1
            if over != self.tripping[i]:
                self.tripping[i] = over
                self.clock.at(self.clock.now + delay_us, self.trip_slots[i])

    def _trip(self, i: int) -> None:
        self.records.put("trip-line", self.clock.now, trip=self.trips[i]["name"], on=self.tripping[i])
        self._line(i, self.tripping[i])

    def current_ma(self, i: int) -> int:
        """The current that sensor i sees now."""
        sensor = self.sensors[i]
        if sensor["role"] == "servo":
            servos = self.servos
            total = 0
            for n in range(len(servos.pos)):
                if servos.pulse[n]:
                    total += 650 if servos.stuck[n] and servos.pulse[n] != servos.pos[n] else 10
                if servos.moving[n]:
                    total += 200
            return total
        currents = self.source()
        return sum([currents.get(name, 0) for name in sensor["watches"]])

    def shunt(self, i: int) -> int:
        """Counts of sensor i as the current is now; on DCC those of the half that its shunt sees as positive."""
        if self.stuck_at[i] >= 0:
            return self.stuck_at[i]
        sensor = self.sensors[i]
        amount = 0 if self.dead[i] or sensor["sees"] == "mean-of-ac" else self.current_ma(i)
        return sensor["zero_count"] + amount * 1000000 // sensor["na_per_count"]

    def reading(self, i: int, settle_us: int) -> int:
        """Counts of sensor i, as of its last finished conversion. Negative where the current is."""
        sensor = self.sensors[i]
        now_ma = self.current_ma(i)
        if now_ma != self.held[i]:
            self.before[i] = self.held[i]
            self.held[i] = now_ma
            self.changed_at[i] = self.clock.now
        amount = self.before[i] if self.clock.now - self.changed_at[i] < settle_us else self.held[i]
        if self.dead[i]:
            amount = 0
        if sensor["sees"] == "mean-of-ac":
            amount = 0
        elif sensor["sees"] == "instant-ac" and (self.clock.now // 58) & 1:
            amount = -amount
        counts = sensor["zero_count"] + amount * 1000000 // sensor["na_per_count"]
        return self.stuck_at[i] if self.stuck_at[i] >= 0 else counts

    def dump(self) -> "SensorsState":
        """What survives a reset of the board."""
        return {"dead": self.dead, "stuck_at": self.stuck_at, "tripping": self.tripping}

    def load(self, state: "SensorsState") -> None:
        """Take up where the previous life left the sensors."""
        self.dead = state["dead"]
        self.stuck_at = state["stuck_at"]
        self.tripping = state["tripping"]
        for i in range(len(self.trips)):
            self._line(i, self.tripping[i])
