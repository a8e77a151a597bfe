"""Trains that roll over the rails: where every wheel stands, what it bridges, which wheels are dead.

A train runs along a path: for its left and its right wheels a list of segments `[start_um, class, class2, road]`,
where a wheel touches `class` (-1: plastic, or off the path) and, while it bridges, `class2` too. Positions are
whole micrometres, speeds micrometres a millisecond (200 to 1000 for 0.2 to 1 m/s).

A vehicle joins all rails under its pickups of one side; any wheel joins two rails while it bridges them. A wheel
is dead when it stands on the metal of a set and settled road and no wire feeds its rail for longer than a tick.
A vehicle with pickups and no circuit through them for longer than a tick is recorded apart.
"""

if False:
    from typing import Any

    from frogfeed.bench.shapes import Segment, Term, TrainSpec
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.rails import Join, Rails
    from frogfeed.bench.sim.physics.records import Records


class Side:
    """The pickups of one side of a vehicle, all joined."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.wheels: "list[Wheel]" = []
        self.classes: "list[int]" = []


class Wheel:
    """One wheel. `at` is its segment of the path; `side` the pickups that it belongs to, if it does."""

    def __init__(
        self,
        train: "Train",
        vehicle: "Vehicle",
        axle: int,
        hand: int,
        offset_um: int,
        path: "list[Segment]",
        side: "Side",
    ) -> None:
        self.train = train
        self.vehicle = vehicle
        self.axle = axle
        self.hand = hand
        self.offset_um = offset_um
        self.path = path
        self.side: "Side | None" = side
        self.at = 0
        self.slot = 0
        self.dead_since = -1
        self.reported = False


class Vehicle:
    """One vehicle with the pickups of its two sides."""

    def __init__(self, train: str, name: str, load_ma: int) -> None:
        self.name = name
        self.load_ma = load_ma
        self.left = Side(train + "." + name + " left pickups")
        self.right = Side(train + "." + name + " right pickups")
        self.lost_since = -1
        self.reported = False


class Train:
    """One train: position of its front, speed, vehicles, wheels."""

    def __init__(self, name: str, roads: "list[list[Term]]", spec: "TrainSpec") -> None:
        self.name = name
        self.spec = spec
        self.roads = roads
        self.pos_um = 0
        self.speed = 0
        self.since = 0
        self.end_um = 0
        self.wheels: "list[Wheel]" = []
        self.vehicles: "list[Vehicle]" = []


class Trains:
    """All trains on the rails of one scenario."""

    def __init__(self, clock: "Clock", rails: "Rails", records: "Records", tick_us: int) -> None:
        self.clock = clock
        self.rails = rails
        self.records = records
        self.tick_us = tick_us
        self.trains: "dict[str, Train]" = {}
        self.sides: "list[Side]" = []
        self.bridging: "list[Wheel]" = []
        self.suspects: "list[tuple[int, dict[str, Any], list[int]]]" = []
        self.metal: "dict[str, tuple[int, int]]" = {}  # things that lie across two rails: name -> (class, class)
        self.lead_us = 60_000
        self.check_slot = clock.slot(self._check)
        self.free_slots: "list[int]" = []
        self.passed = 0
        rails.joins = self.joins
        rails.listener = self.refresh

    # ---- commands -------------------------------------------------------------------------------------

    def place(self, spec: "TrainSpec") -> None:
        """Put a train on the rails: `name`, `pos_um` (front), `speed`, `paths` [left, right], `roads`, `vehicles`.

        A road is a list of alternatives, each a list of (drive, setting): when it is set. An axle is
        [offset_um behind the front, picks up]. `end_um` is where the train is taken off (-1: nowhere).
        """
        self.remove(spec["name"])
        train = Train(spec["name"], spec["roads"], spec)
        train.pos_um = spec["pos_um"]
        train.since = self.clock.now
        train.end_um = spec.get("end_um", -1)
        for v in spec["vehicles"]:
            vehicle = Vehicle(train.name, v["name"], v.get("load_ma", 0))
            train.vehicles.append(vehicle)
            number = 0
            for offset_um, picks_up in v["axles"]:
                number += 1
                for hand in (0, 1):
                    side = vehicle.right if hand else vehicle.left
                    wheel = Wheel(train, vehicle, number, hand, offset_um, spec["paths"][hand], side)
                    wheel.slot = self._slot(wheel)
                    train.wheels.append(wheel)
                    if picks_up:
                        side.wheels.append(wheel)
                    else:
                        wheel.side = None
            for side in (vehicle.left, vehicle.right):
                if side.wheels:
                    self.sides.append(side)
        self.trains[train.name] = train
        for wheel in train.wheels:
            self._find(wheel)
        for vehicle in train.vehicles:
            self._gather(vehicle.left)
            self._gather(vehicle.right)
        self._rebridge()
        self.records.put("train", self.clock.now, train=train.name, what="placed", mm=train.pos_um // 1000)
        self.drive(train.name, spec["speed"])
        self.refresh()
        self.rails.touch()

    def drive(self, name: str, speed: int) -> None:
        """Let a train run at `speed` micrometres a millisecond; negative is backwards, 0 stops it."""
        train = self.trains[name]
        train.pos_um = self.position(train)
        train.since = self.clock.now
        train.speed = speed
        for wheel in train.wheels:
            self._plan(wheel)

    def remove(self, name: str) -> None:
        """Take a train off the rails; one that is not there is no error."""
        train = self.trains.pop(name, None)
        if train is None:
            return
        for wheel in train.wheels:
            self._alive(wheel)
            self.clock.cancel(wheel.slot)
            self.free_slots.append(wheel.slot)
        for vehicle in train.vehicles:
            self._circuit(vehicle)
            for side in (vehicle.left, vehicle.right):
                if side in self.sides:
                    self.sides.remove(side)
        self._rebridge()
        self.passed += 1
        self.records.put("train", self.clock.now, train=name, what="gone", mm=self.position(train) // 1000)
        self.rails.touch()

    def position(self, train: "Train") -> int:
        """Where a train's front is now, in micrometres along its path."""
        return train.pos_um + train.speed * (self.clock.now - train.since) // 1000

    def dump(self) -> "list[tuple[TrainSpec, int, int]]":
        """Every train with its place and speed."""
        return [(t.spec, self.position(t), t.speed) for t in self.trains.values()]

    def load(self, state: "list[tuple[TrainSpec, int, int]]") -> None:
        """Put trains back where they were."""
        for spec, pos_um, speed in state:
            spec["pos_um"] = pos_um
            spec["speed"] = speed
            self.place(spec)

    # ---- wheels ---------------------------------------------------------------------------------------

    def _slot(self, wheel: "Wheel") -> int:
        if self.free_slots:
            slot = self.free_slots.pop()
            self.clock.args[slot] = wheel
            return slot
        return self.clock.slot(self._cross, wheel)

    def _find(self, wheel: "Wheel") -> None:
        """Put a wheel's index where its position says."""
        x = self.position(wheel.train) - wheel.offset_um
        path = wheel.path
        low = 0
        high = len(path) - 1
        while low < high:
            middle = (low + high + 1) >> 1
            if path[middle][0] <= x:
                low = middle
            else:
                high = middle - 1
        wheel.at = low

    def _plan(self, wheel: "Wheel") -> None:
        """Schedule when a wheel leaves its segment."""
        train = wheel.train
        speed = train.speed
        path = wheel.path
        if speed > 0 and wheel.at + 1 < len(path):
            away = path[wheel.at + 1][0] + wheel.offset_um - train.pos_um
            self.clock.at(train.since + (away * 1000 + speed - 1) // speed, wheel.slot)
        elif speed < 0 and wheel.at > 0:
            away = train.pos_um - (path[wheel.at][0] - 1 + wheel.offset_um)
            self.clock.at(train.since + (away * 1000 - speed - 1) // -speed, wheel.slot)
        else:
            self.clock.cancel(wheel.slot)

    def _cross(self, wheel: "Wheel") -> None:
        """A wheel rolls onto the next segment."""
        train = wheel.train
        bridged = wheel.path[wheel.at][2] >= 0
        if wheel.dead_since >= 0:
            self._alive(wheel)
        wheel.at += 1 if train.speed > 0 else -1
        bridges = wheel.path[wheel.at][2] >= 0
        self._plan(wheel)
        if wheel.side is not None:
            self._gather(wheel.side)
        elif bridged or bridges:
            self._rebridge()
        self._judge_wheel(wheel)
        if wheel.side is not None:
            self._circuit(wheel.vehicle)
        self.rails.touch()
        if train.end_um >= 0 and self.position(train) >= train.end_um:
            self.remove(train.name)

    @staticmethod
    def _gather(side: "Side") -> None:
        classes = side.classes
        classes.clear()
        for wheel in side.wheels:
            segment = wheel.path[wheel.at]
            if segment[1] >= 0 and segment[1] not in classes:
                classes.append(segment[1])
            if segment[2] >= 0 and segment[2] not in classes:
                classes.append(segment[2])

    def _rebridge(self) -> None:
        self.bridging = [
            wheel
            for train in self.trains.values()
            for wheel in train.wheels
            if wheel.side is None and wheel.path[wheel.at][2] >= 0
        ]

    def joins(self) -> "list[Join] | None":
        """Pairs of labels that vehicles and bridging wheels join now: (label, label, class, class, by what)."""
        found: "list[Join] | None" = None
        label = self.rails.label
        for side in self.sides:
            classes = side.classes
            if len(classes) > 1:
                first = label[classes[0]]
                for i in range(1, len(classes)):
                    other = label[classes[i]]
                    if other != first:
                        if found is None:
                            found = []
                        found.append((first, other, classes[0], classes[i], side.name))
        for wheel in self.bridging:
            segment = wheel.path[wheel.at]
            first = label[segment[1]] if segment[1] >= 0 else -1
            other = label[segment[2]]
            if first >= 0 and first != other:
                if found is None:
                    found = []
                found.append((first, other, segment[1], segment[2], self.wheel_name(wheel)))
        for name in self.metal:
            one, two = self.metal[name]
            if label[one] != label[two]:
                if found is None:
                    found = []
                found.append((label[one], label[two], one, two, name))
        return found

    def lay_across(self, name: str, one: int, two: int) -> None:
        """Lay something of metal across two rails (by class), until it is taken away."""
        self.metal[name] = (one, two)
        self.rails.rejudge()

    def take_away(self, name: str) -> None:
        """Take it away again."""
        self.metal.pop(name, None)
        self.rails.rejudge()

    @staticmethod
    def wheel_name(wheel: "Wheel") -> str:
        """A wheel in words."""
        hand = "right" if wheel.hand else "left"
        return "%s.%s axle %d %s wheel" % (wheel.train.name, wheel.vehicle.name, wheel.axle, hand)

    # ---- dead wheels ----------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Judge all wheels again: labels or drives have changed."""
        for train in self.trains.values():
            for wheel in train.wheels:
                self._judge_wheel(wheel)
            for vehicle in train.vehicles:
                self._circuit(vehicle)

    def _road_stir(self, wheel: "Wheel") -> int:
        """When the drives of a wheel's road last stirred, or -1 while the road is not set and settled."""
        road = wheel.path[wheel.at][3]
        if road < 0:
            return 0
        rails = self.rails
        for term in wheel.train.roads[road]:
            last = 0
            for drive, setting in term:
                if rails.moving[drive] or not rails.at[drive] >> setting & 1:
                    break
                when = rails.since[drive] + rails.settle_us[drive]
                if when > last:
                    last = when
            else:
                return last
        return -1

    def _judge_wheel(self, wheel: "Wheel") -> None:
        segment = wheel.path[wheel.at]
        rails = self.rails
        nw = rails.nw
        one, two = segment[1], segment[2]
        dead = one >= 0 and rails.label[one] >= nw and (two < 0 or rails.label[two] >= nw)
        if dead:
            stir = self._road_stir(wheel)
            if stir < 0:
                wheel.dead_since = -1  # a throw is going on: nobody promised a feed
                return
            if wheel.dead_since < 0:
                now = self.clock.now
                wheel.dead_since = now if now > stir else stir
                wheel.reported = False
                self._expect(wheel.dead_since + self.tick_us + self.lead_us)
        elif wheel.dead_since >= 0:
            self._alive(wheel)

    def _alive(self, wheel: "Wheel") -> None:
        """A wheel's dead time ends, or the wheel rolls on: if it was too long, see whether a throw is the reason."""
        since = wheel.dead_since
        wheel.dead_since = -1
        if since >= 0 and wheel.reported:
            facts = self._dead_facts(wheel, since)
            facts.pop("t")
            self.records.put("wheel-live", self.clock.now, **facts)
        elif since >= 0 and self.clock.now - since > self.tick_us:
            due = since + self.tick_us + self.lead_us
            self.suspects.append((due, self._dead_facts(wheel, since), self._road_drives(wheel)))
            self._expect(due)

    @staticmethod
    def _road_drives(wheel: "Wheel") -> "list[int]":
        road = wheel.path[wheel.at][3]
        if road < 0:
            return []
        return [drive for term in wheel.train.roads[road] for drive, _ in term]

    def _dead_facts(self, wheel: "Wheel", since: int) -> "dict[str, Any]":
        return {
            "t": since,
            "train": wheel.train.name,
            "vehicle": wheel.vehicle.name,
            "axle": wheel.axle,
            "hand": "right" if wheel.hand else "left",
            "rail": self.rails.names[wheel.path[wheel.at][1]],
            "us": self.clock.now - since,
        }

    def _report(self, facts: "dict[str, Any]") -> None:
        since = facts.pop("t")
        self.records.put("dead-wheel", since, **facts)

    def _clear_suspects(self, now: int) -> int:
        """Record the short dead times that no throw explains."""
        keep = []
        for suspect in self.suspects:
            due, facts, drives = suspect
            if now < due:
                keep.append(suspect)
            elif not any(self.rails.since[d] >= facts["t"] for d in drives):
                self._report(facts)
        self.suspects = keep
        return min([s[0] for s in keep]) if keep else -1

    def _circuit(self, vehicle: "Vehicle") -> None:
        """Whether a vehicle's pickups have a circuit now."""
        left, right = vehicle.left, vehicle.right
        if not left.wheels or not right.wheels:
            return
        rails = self.rails
        nw = rails.nw
        for a in left.classes:
            a = rails.label[a]
            if a < nw:
                for b in right.classes:
                    b = rails.label[b]
                    if b < nw and rails.power[a][b]:
                        self._live_again(vehicle)
                        return
        if not left.classes and not right.classes:
            vehicle.lost_since = -1
        elif vehicle.lost_since < 0:
            vehicle.lost_since = self.clock.now
            vehicle.reported = False
            self._expect(self.clock.now + self.tick_us + 1)

    def _live_again(self, vehicle: "Vehicle") -> None:
        since = vehicle.lost_since
        if since >= 0 and vehicle.reported:
            self.records.put("loco-live", self.clock.now, vehicle=vehicle.name, us=self.clock.now - since)
        vehicle.lost_since = -1

    def _expect(self, time_us: int) -> None:
        due = self.clock.pending(self.check_slot)
        if due < 0 or due > time_us:
            self.clock.at(time_us, self.check_slot)

    def _check(self, _: int) -> None:
        """Record what has been dead for too long, and look again when the next may be."""
        now = self.clock.now
        soonest = self._clear_suspects(now) if self.suspects else -1
        for train in self.trains.values():
            for wheel in train.wheels:
                if wheel.dead_since >= 0 and not wheel.reported:
                    due = wheel.dead_since + self.tick_us + self.lead_us
                    if now >= due:
                        wheel.reported = True
                        self._report(self._dead_facts(wheel, wheel.dead_since))
                    elif soonest < 0 or due < soonest:
                        soonest = due
            for vehicle in train.vehicles:
                if vehicle.lost_since >= 0 and not vehicle.reported:
                    due = vehicle.lost_since + self.tick_us + 1
                    if now >= due:
                        vehicle.reported = True
                        self.records.put("loco-lost", vehicle.lost_since, train=train.name, vehicle=vehicle.name)
                    elif soonest < 0 or due < soonest:
                        soonest = due
        if soonest >= 0:
            self._expect(soonest)
