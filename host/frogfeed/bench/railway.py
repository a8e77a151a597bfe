"""The railway that several boards share: their changes in order of time, on one network with the trains on it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from frogfeed.bench.shapes import Scenario, TrainSpec
from frogfeed.bench.sim.physics.clock import Clock
from frogfeed.bench.sim.physics.rails import Rails
from frogfeed.bench.sim.physics.records import Records
from frogfeed.bench.sim.physics.supply import Supplies
from frogfeed.bench.sim.physics.trains import Trains


class Railway:
    """Rails and trains on the host, for more than one board. A board's own process has only its own part of it."""

    def __init__(self, scenario: Scenario) -> None:
        self._clock = Clock(0)
        self._records = Records(None, scenario["drop"])
        self._rails = Rails(scenario["rails"], self._clock, self._records)
        self._trains = Trains(self._clock, self._rails, self._records, scenario["tick_us"])
        self._trains.lead_us = scenario["lead_us"]
        self._supplies = Supplies(scenario["supplies"], self._clock, self._rails, self._trains, self._records)
        self._changes: list[tuple[int, int, int, list[Any]]] = []
        self._count = 0

    def change(self, board: int, change: list[Any]) -> None:
        """A board's contact, blade or motion changed."""
        self._count += 1
        self._changes.append((change[1], board, self._count, change))

    def run_to(self, time_us: int) -> list[dict[str, Any]]:
        """Play all changes and events up to a time; the records of what was seen."""
        self._changes.sort(key=lambda c: c[:3])
        number = 0
        for at, _, _, change in self._changes:
            if at > time_us:
                break
            number += 1
            self._clock.run_to(at - 1)
            if at > self._clock.now:
                self._clock.now = at
            kind = change[0]
            if kind == "o":
                self._rails.output(change[2], change[3], change[4])
            elif kind == "e":
                self._rails.end(change[2], change[3], change[4])
            else:
                self._rails.motion(change[2], change[3])
        del self._changes[:number]
        self._clock.run_to(time_us)
        seen: list[dict[str, Any]] = self._records.take()
        return seen

    def place(self, spec: TrainSpec) -> None:
        """See `Trains.place`."""
        self._trains.place(spec)

    def drive(self, name: str, speed: int) -> None:
        """See `Trains.drive`."""
        self._trains.drive(name, speed)

    def remove(self, name: str) -> None:
        """See `Trains.remove`."""
        self._trains.remove(name)

    @property
    def quiet(self) -> bool:
        """Whether nothing moves, rolls or sparks."""
        rolling = any(t.speed for t in self._trains.trains.values())
        return not (rolling or self._rails.sparks or any(self._rails.moving))

    def output_ma(self) -> dict[str, int]:
        """The current through every output that carries one, for the boards' sensors."""
        return dict(self._supplies.output_ma())

    def fault(self, kind: str, facts: Mapping[str, Any]) -> bool:
        """Bring about a fault that lies on the track rather than on a board. False: not one of those."""
        on = not facts.get("off")
        if kind == "metal":
            name = facts.get("name", "metal")
            if on:
                self._trains.lay_across(name, *facts["rails"])
            else:
                self._trains.take_away(name)
        elif kind == "load":
            self._supplies.extra_ma[facts["output"]] = facts["ma"] if on else 0
            self._supplies.version = -1
        elif kind == "supply":
            self._supplies.restore(facts["district"])
        else:
            return False
        return True

    def rails_now(self) -> dict[str, str | None]:
        """The wire of every class of rails."""
        rails = self._rails
        return {rails.names[c]: rails.wire_of(c) for c in range(rails.nw, len(rails.names))}

    def trains_now(self) -> dict[str, int]:
        """Every train's front in mm along its path."""
        return {n: self._trains.position(t) // 1000 for n, t in self._trains.trains.items()}
