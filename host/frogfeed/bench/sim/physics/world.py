"""One board and the railway round it, built from a scenario; and the faults that can be asked of it."""

from .board import Board, line_of
from .chance import Chance
from .chips import build_chips
from .contacts import Contacts
from .rails import Rails
from .records import Records
from .servos import FRAME_US, Hands, Servos
from .supply import Sensors, Supplies
from .trains import Trains
from .watch import Watch

if False:
    from collections.abc import Callable, Sequence
    from typing import Any

    from frogfeed.bench.shapes import Change, Scenario, WorldState
    from frogfeed.bench.sim.physics.clock import Clock
    from frogfeed.bench.sim.physics.rails import Join

STIR_US = 500_000
"""So long after a fault no tick is skipped: a sensor needs time to see what has changed."""


class TellingRails(Rails):
    """Rails that pass every change on: a host that joins several boards judges sparks for all of them."""

    tell: "Callable[[Change], None]"

    def output(self, name: str, side: str, closed: int) -> None:
        self.tell(["o", self.clock.now, name, side, closed])
        Rails.output(self, name, side, closed)

    def end(self, drive: int, setting: int, closed: int) -> None:
        self.tell(["e", self.clock.now, drive, setting, closed])
        Rails.end(self, drive, setting, closed)

    def motion(self, drive: int, moving: int) -> None:
        self.tell(["m", self.clock.now, drive, moving])
        Rails.motion(self, drive, moving)

    def _judge(self, joins: "Sequence[Join]") -> None:
        """Half a railway judges nothing."""


def unwatched(_: object, on: int) -> None:
    """A lamp tells nobody: whoever looks at it sees whether its line is active."""


class World:
    """Everything outside the microcontroller, for one board of the scenario.

    `records` keeps what was seen. `tell` (several boards in one scenario) gets changes for the shared railway.
    """

    def __init__(
        self,
        scenario: "Scenario",
        board_index: int,
        clock: "Clock",
        sink: "Callable[[dict[str, Any]], None] | None" = None,
        tell: "Callable[[Change], None] | None" = None,
    ) -> None:
        spec = scenario["boards"][board_index]
        self.name = spec["name"]
        self.clock = clock
        self.records = Records(sink, scenario.get("drop", ()))
        self.chance = Chance(scenario["seed"] * 31 + board_index)
        if tell is None:
            self.rails: "Rails" = Rails(scenario["rails"], clock, self.records)
        else:
            telling = TellingRails(scenario["rails"], clock, self.records)
            telling.tell = tell
            self.rails = telling
        self.trains = Trains(clock, self.rails, self.records, scenario["tick_us"])
        self.trains.lead_us = scenario["lead_us"]
        self.board = Board(len(spec["chips"]), clock, self.records)
        phase = self.chance.below(FRAME_US)
        self.servos = Servos(spec["servos"], clock, self.rails, self.records, phase)
        self.board.servos = self.servos
        self.contacts = Contacts(spec["outputs"], spec["groups"], clock, self.rails, self.records, self.chance)
        self.hands = Hands(spec["hands"], clock, self.rails, self.records, self._hand_contact)
        self.watch = Watch(spec["tables"], self.rails, clock, self.records, scenario["grace_us"])
        self.watch.outputs = self.contacts.outputs
        self.contacts.watch = self.watch
        self.servos.on_pulse = self._pulse
        self.inputs: "dict[str, tuple[int, int]]" = {}
        for name, chip, pin, active in spec["inputs"]:
            self.inputs[name] = (line_of(chip, pin), active)
        self.input_names = [i[0] for i in spec["inputs"]]
        for i in range(len(spec["servos"])):
            chip, pin = spec["servos"][i]["line"]
            self.board.servo_of[line_of(chip, pin)] = i
        for owner, specs in ((self.contacts.outputs, spec["outputs"]), (self.contacts.groups, spec["groups"])):
            for output, out_spec in zip(owner, specs):
                for coil in range(len(out_spec["coils"])):
                    chip, pin, active = out_spec["coils"][coil]
                    line = line_of(chip, pin)
                    self.board.add_sink(line, active, self.contacts.drive, (output, coil))

        self.lamps: "dict[str, int]" = {}
        for name, chip, pin, active in spec["lamps"]:
            self.lamps[name] = line_of(chip, pin)
            self.board.add_sink(line_of(chip, pin), active, unwatched, None)
        self.supplies = Supplies(scenario["supplies"], clock, self.rails, self.trains, self.records)
        self.sensors = Sensors(spec["sensors"], spec["trips"], clock, self.board, self.servos, self.records)
        self.stirred_at = -STIR_US
        self.told_ma: "dict[str, int]" = {}  # what a host that joins several boards says of this board's outputs
        self.sensors.source = self.supplies.output_ma if tell is None else self._told
        if spec["trips"] and tell is None:
            self.supplies.listener = self.sensors.look
        self.adc_of: "dict[int, int]" = {}
        for i in range(len(spec["sensors"])):
            if spec["sensors"][i]["kind"] == "adc":
                self.adc_of[spec["sensors"][i]["pin"]] = i
        self.chips, self.buses = build_chips(spec["chips"], spec["buses"], self.board, clock, self.sensors)

    def _told(self) -> "dict[str, int]":
        return self.told_ma

    def analogue(self, line: int) -> int:
        """A reading of an analogue pin, 0 to 65535."""
        number = self.adc_of.get(line)
        if number is None:
            return 0
        counts = self.sensors.reading(number, 50)
        return 0 if counts < 0 else 65535 if counts > 65535 else counts

    def begin(self, state: "WorldState | None" = None) -> None:
        """Power on, or (with the state of a previous life) come back after a reset of the board."""
        if state is None:
            for name in self.inputs:
                self.set_input(name, 0)
            self.servos.begin()
            self.hands.begin()
            self.contacts.begin()
            self.sensors.begin()
        else:
            self.chance.state = state["chance"]
            self.servos.load(state["servos"])
            for name, level in state["inputs"].items():
                self.set_input(name, level)
            self.hands.load(state["hands"])
            self.contacts.load(state["contacts"])
            self.trains.load(state["trains"])
            self.board.load(state["board"])
            self.sensors.load(state["sensors"])
            for chip, kept in zip(self.chips, state["chips"]):
                chip.held = 0  # held again, if it should be, by the lines below
                chip.load(kept)
            for bus, stuck in zip(self.buses, state["stuck"]):
                bus.stuck = stuck
            for name in state["off"]:
                self.supplies._power(name, 0)
            self.board.release_all()
            for line in self.board.followers:
                self.board.set_line(line, 0, 0)
        self.rails.touch()

    def dump(self) -> "WorldState":
        """What the world must keep while the microcontroller starts again."""
        return {
            "now": self.clock.now,
            "servos": self.servos.dump(),
            "contacts": self.contacts.dump(),
            "hands": self.hands.dump(),
            "inputs": {n: 1 if self.board.outside[line] == active else 0 for n, (line, active) in self.inputs.items()},
            "board": self.board.dump(),
            "trains": self.trains.dump(),
            "sensors": self.sensors.dump(),
            "chips": [chip.dump() for chip in self.chips],
            "stuck": [bus.stuck for bus in self.buses],
            "off": [name for name in self.supplies.off if self.supplies.off[name]],
            "chance": self.chance.state,
        }

    def power_lost(self) -> None:
        """The board's supply goes: its chips forget everything, whatever they drive lets go."""
        for chip in self.chips:
            chip.power_on()

    def restless(self) -> bool:
        """Whether anything moves, rolls or sparks: no tick may be skipped then."""
        if self.clock.now - self.stirred_at < STIR_US:
            return True
        if self.servos.active or self.rails.sparks or self.hands.busy():
            return True
        for train in self.trains.trains.values():
            if train.speed:
                return True
        return False

    # ---- what people do -------------------------------------------------------------------------------

    def set_input(self, name: str, closed: int) -> None:
        """Press or release a button, close or open a contact."""
        line, active = self.inputs[name]
        self.board.apply(line, active if closed else 1 - active)

    def _hand_contact(self, hand: int, setting: int, closed: int) -> None:
        index = self.hands.specs[hand]["contacts"][setting]
        if index >= 0:
            self.set_input(self.input_names[index], closed)

    def _pulse(self, servo: int, pulse_ns: int) -> None:
        self.watch.pulse(self.servos.names[servo], pulse_ns)

    def fault(self, kind: str, facts: "dict[str, Any]") -> None:
        """Bring about, or (with `off`) end, a fault. Raises KeyError for a kind or name that does not exist."""
        on = 0 if facts.get("off") else 1
        self.stirred_at = self.clock.now
        if self.board.kernel is not None:
            self.board.kernel.woken = True
        self.records.put("fault", self.clock.now, fault=kind, **facts)
        if kind in ("servo-stuck", "servo-reversed", "servo-slow"):
            i = self.servos.names.index(facts["drive"])
            if kind == "servo-stuck":
                self.servos.jam(i, on)
            elif kind == "servo-reversed":
                self.servos.reverse(i, on)
            else:
                self.servos.step_ns[i] = facts["us_per_s"] * FRAME_US // 1000
        elif kind == "relay-welded":
            self.contacts.weld(facts["output"], facts["side"], on)
        elif kind == "relay-dead":
            self.contacts.break_leg(facts["output"], facts["side"], on)
        elif kind == "relay-timing":
            self.contacts.timing(
                facts["output"],
                facts.get("operate_us", -1),
                facts.get("release_us", -1),
                facts.get("bounce_us", -1),
            )
        elif kind == "chip-missing":
            self.chips[facts["chip"]].absent = on
            self.sensors.look()
        elif kind == "chip-power":
            self.chips[facts["chip"]].power_on()
        elif kind == "bus-stuck":
            self.buses[facts["bus"]].stuck = on
        elif kind == "sensor-dead":
            self._sensor(facts, on, -1)
        elif kind == "sensor-saturated":
            self._sensor(facts, 0, facts.get("counts", 65535) if on else -1)
        elif kind == "load":
            self.supplies.extra_ma[facts["output"]] = facts["ma"] if on else 0
            self.supplies.version = -1
            self.sensors.look()
        elif kind == "metal":
            name = facts.get("name", "metal")
            if on:
                self.trains.lay_across(name, facts["rails"][0], facts["rails"][1])
            else:
                self.trains.take_away(name)
        elif kind == "supply":
            self.supplies.restore(facts["district"])
        else:
            raise KeyError(kind)

    def _sensor(self, facts: "dict[str, Any]", dead: int, stuck_at: int) -> None:
        names = [s["name"] for s in self.sensors.sensors]
        i = names.index(facts["sensor"])
        self.sensors.dead[i] = dead
        self.sensors.stuck_at[i] = stuck_at
        self.sensors.look()
