"""The shapes of what host and physics hand each other: the scenario, trains, and the state that outlives a reset.

All of it is JSON. What has a fixed length is a tuple here, though it is a list once it has been read from a file.
`sim/` names these shapes for the type checker alone and never imports them: MicroPython has no `typing`.
Times are microseconds, pulses nanoseconds, positions micrometres, unless a name says otherwise.
"""

from __future__ import annotations

from typing import Any, NotRequired, TypedDict

Data = bytes | bytearray | memoryview
"""What bytes are read from."""
Space = bytearray | memoryview
"""What bytes are read into."""
Term = list[tuple[int, int]]
"""Drives by number, each with the setting that it must stand at."""
Pin = tuple[int, int, int]
"""Chip (-1: the microcontroller), pin, and the level that is active."""
Segment = list[int]
"""Where a wheel's path goes on: position, class of rails (-1: none), class bridged (-1: none), road (-1: none)."""
Change = list[int | str]
"""A contact ("o"), an end ("e") or a motion ("m") of one board, its time, and what changed."""


class DriveSpec(TypedDict):
    """A drive as the rails know it. `settle_us`: how long after its last motion its feeds may be on their way."""

    name: str
    settings: list[str]
    settle_us: int


class RailsSpec(TypedDict):
    """The contracted network: the first `nw` of the classes called `names` hold the bus wires."""

    wires: list[str]
    nw: int
    names: list[str]
    conflict: list[list[int]]
    power: list[list[int]]
    edges: list[tuple[int, int, str]]
    islands: list[list[int]]
    drives: list[DriveSpec]
    contacts: list[tuple[int, list[Term]]]
    outputs: dict[str, dict[str, list[int]]]
    static_sparks: list[tuple[str, str]]


class SupplySpec(TypedDict):
    """A district's supply."""

    mv: int
    milliohm: int
    limit_ma: int
    trip_ma: int
    trip_us: int
    retry_us: int


class ServoSpec(TypedDict):
    """A servo with its linkage. `line` is chip and pin; where blades touch is counted from the first pulse on."""

    name: str
    drive: int
    line: tuple[int, int]
    first_ns: int
    span_ns: int
    sign: int
    start_ns: int
    low_open: int
    low_close: int
    high_close: int
    high_open: int
    step_ns: int
    gain: int
    dead_ns: int
    stop_ns: list[int]


class HandSpec(TypedDict):
    """A turnout thrown by hand. `blade` and `switch` are thousandths of the throw; `contacts` are inputs, or -1."""

    name: str
    drive: int
    contacts: list[int]
    start: int
    blade: int
    switch: int


class OutputSpec(TypedDict):
    """A switched output, or a group's enable (which has neither `rest` nor `group`)."""

    name: str
    kind: str
    coils: list[Pin]
    rest: NotRequired[str]
    group: NotRequired[int]
    dead_us: int
    operate_us: int
    release_us: int
    bounce_us: int
    transfer_us: int
    interlocked: int


class SensorSpec(TypedDict):
    """A current sensor. `watches` names outputs, `sees` is one of those of `SensorPhysics`."""

    name: str
    kind: str
    pin: int
    chip: int
    channel: int
    role: str
    zero_count: int
    na_per_count: int
    watches: list[str]
    sees: str


class TripSpec(TypedDict):
    """A hardware trip. `line` is the microcontroller's pin that it pulls, and the level that tells of it.

    `alerts` are the sensors whose chip pulls it by its own ALERT output, as its registers say; where there is none, it
    is a comparator that acts at `trip_ma`.
    """

    name: str
    line: tuple[int, int]
    watches: list[str]
    trip_ma: int
    latency_us: int
    alerts: list[int]


class ChipSpec(TypedDict):
    """A chip on a bus, as the settings document names it. A pin of -1 is not wired."""

    kind: str
    address: int
    bus: int
    reset_pin: NotRequired[int]
    oe_pin: NotRequired[int]


class BusSpec(TypedDict):
    """The pins of an I2C bus."""

    sda: int
    scl: int


class BoardSpec(TypedDict):
    """One board with all that hangs on it."""

    name: str
    servos: list[ServoSpec]
    hands: list[HandSpec]
    outputs: list[OutputSpec]
    groups: list[OutputSpec]
    tables: dict[str, list[tuple[Term, str]]]
    inputs: list[tuple[str, int, int, int]]
    lamps: list[tuple[str, int, int, int]]
    sensors: list[SensorSpec]
    trips: list[TripSpec]
    chips: list[ChipSpec]
    buses: list[BusSpec]


class Scenario(TypedDict):
    """Everything that the physics inside a virtual board needs: see `frogfeed.bench.scenario`.

    `classes` says which class a rail or wire is in; it stays with the host.
    """

    seed: int
    real: bool
    tick_us: int
    grace_us: int
    lead_us: int
    ticks_start_us: int
    drop: list[str]
    rails: RailsSpec
    classes: dict[str, int]
    supplies: dict[str, SupplySpec]
    boards: list[BoardSpec]


class VehicleSpec(TypedDict):
    """A vehicle. An axle is its distance behind the train's front, and whether it picks up current."""

    name: str
    load_ma: NotRequired[int]
    axles: list[tuple[int, int]]


class TrainSpec(TypedDict):
    """A train and its way: see `frogfeed.bench.sim.physics.trains`. `speed` is micrometres a millisecond."""

    name: str
    pos_um: int
    speed: int
    paths: list[list[Segment]]
    roads: list[list[Term]]
    end_um: NotRequired[int]
    vehicles: list[VehicleSpec]


class ServosState(TypedDict):
    """Where the horns and blades are, by number of the servo."""

    pos: list[int]
    touch: list[list[int]]
    stuck: list[int]
    reversed: list[int]
    step_ns: list[int]
    pulse: list[int]
    moving: list[int]


class HandsState(TypedDict):
    """Where the hand-thrown blades go, in thousandths of their throw."""

    goal: list[int]


class OutputState(TypedDict):
    """An output's legs (closed, welded, broken, wanted, due, bounces left), its three times, its coils."""

    legs: list[list[int]]
    us: list[int]
    coil: list[int]
    off_at: list[int]


class LinesState(TypedDict):
    """What is driven, by line."""

    driving: list[int]
    out: list[int]
    active: list[int]


class SensorsState(TypedDict):
    """Sensors that are dead or stuck, trips that act."""

    dead: list[int]
    stuck_at: list[int]
    tripping: list[int]


class WorldState(TypedDict):
    """What the world keeps while the microcontroller starts again. A chip's part is its own affair."""

    now: int
    servos: ServosState
    contacts: dict[str, OutputState]
    hands: HandsState
    inputs: dict[str, int]
    board: LinesState
    trains: list[tuple[TrainSpec, int, int]]
    sensors: SensorsState
    chips: list[dict[str, Any]]
    stuck: list[int]
    off: list[str]
    chance: int


class Boot(TypedDict):
    """What the host tells a board's process at its start. `state`: None at power-on; `cut`: when its flash fails."""

    now: int
    cause: int
    unique: str
    bare: bool
    state: WorldState | None
    boot_us: int
    flash: NotRequired[str | None]
    cut: NotRequired[tuple[int, str] | None]
    serve_prompt: NotRequired[bool]
