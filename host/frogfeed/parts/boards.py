"""What a board profile holds: what a microcontroller board can drive, switch, read and sense, what its outputs stand.

A profile is a TOML file of hardware/boards; `profile_rules` says what must hold within it, `profiles` reads it. Pins
are GPIO numbers; a pin on a chip is counted 0 to 15 (port A first). Times in ms, currents in A, each rated value with
its source.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from frogfeed.parts.values import Confidence

GpioPin = Annotated[int, Field(strict=True, ge=0, le=47)]
OutputKind = Literal["pair", "changeover", "latching"]


class Part(BaseModel):
    """Anything in a profile: unknown keys are errors, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Rated(Part):
    """A rated value, how sure it is, and where it was read."""

    value: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    confidence: Confidence
    source: str

    def __float__(self) -> float:
        return self.value


class PinRef(Part):
    """A GPIO, or a pin of the expander named in `chip`; `active` is the level that means on."""

    pin: GpioPin
    chip: str | None = None
    active: Literal[0, 1] = 1

    @property
    def resource(self) -> str:
        """The name under which the pin can be claimed once: "GP7" or "X1.3"."""
        return f"GP{self.pin}" if self.chip is None else f"{self.chip}.{self.pin}"


class Bus(Part):
    """An I²C bus."""

    name: str
    sda: GpioPin
    scl: GpioPin
    hz: Annotated[int, Field(ge=10_000, le=1_000_000)]


class Chip(Part):
    """A chip on an I²C bus. `held_off` says what keeps its outputs off while the GPIO pins float.

    `optional`: it is fitted only where the plan uses one of its pins.
    """

    name: str
    kind: Literal["pca9685", "mcp23017", "ina219", "ina226", "ina3221"]
    bus: str
    address: Annotated[int, Field(ge=0x08, le=0x77)]
    oe_pin: GpioPin | None = None
    reset_pin: GpioPin | None = None
    held_off: str | None = None
    optional: bool = False

    @property
    def drives_outputs(self) -> bool:
        return self.kind in ("pca9685", "mcp23017")


class ServoChannel(Part):
    """A channel for one servo: a PWM pin, or an output of the servo chip named in `chip`."""

    name: str
    pin: GpioPin | None = None
    chip: str | None = None
    output: Annotated[int, Field(ge=0, le=15)] | None = None

    @property
    def resource(self) -> str:
        return f"GP{self.pin}" if self.pin is not None else f"{self.chip}.{self.output}"


class SwitchType(Part):
    """What one kind of switched output is made of and what it stands.

    `carry_a` for good; `break_a` what it can interrupt at the track's voltage; `surge_a2s` the let-through
    I²t that it survives closed; `volts` across the open switch; `on_ohm` closed. `isolated`: no terminal
    shares the board's ground; where it is false, `common_mode_v` says how far the track may be from that
    ground. `blocks_both_ways`: off is off for either polarity. `interlocked`: hardware alone keeps the legs
    apart. `dead_ms`: how long both legs must be off between the two.
    """

    kind: OutputKind
    made_of: Literal["relay", "photo-mos", "mosfet"]
    isolated: bool
    common_mode_v: tuple[float, float] | None = None
    blocks_both_ways: bool
    interlocked: bool
    carry_a: Rated
    break_a: Rated
    surge_a2s: Rated
    volts: Rated
    on_ohm: Rated
    operate_ms: Rated
    release_ms: Rated
    bounce_ms: Rated
    dead_ms: Rated
    pulse_ms: Rated | None = None
    note: str

    @property
    def transfer_ms(self) -> float:
        """From command to rest for a changeover: the slower of its two edges, and the bounce after it."""
        return max(self.operate_ms.value, self.release_ms.value) + self.bounce_ms.value


class FeedChannel(Part):
    """A switched output: pins by kind. `a`/`b` join the bus wires (pair); `coil` (changeover); `set`/`reset`
    (latching: set joins A).
    """

    name: str
    type: str
    a: PinRef | None = None
    b: PinRef | None = None
    coil: PinRef | None = None
    set: PinRef | None = None
    reset: PinRef | None = None
    enable: str | None = None

    @property
    def pins(self) -> tuple[PinRef, ...]:
        return tuple(p for p in (self.a, self.b, self.coil, self.set, self.reset) if p is not None)

    @property
    def resources(self) -> tuple[str, ...]:
        """What only one channel in use may claim."""
        return tuple(p.resource for p in self.pins)


class Enable(Part):
    """A group's own off: a two-pole contact in both bus wires ahead of it, so the group is of one
    district.
    """

    name: str
    pin: PinRef
    type: str


class EnableType(Part):
    """What an enable is made of."""

    carry_a: Rated
    break_a: Rated
    on_ohm: Rated
    operate_ms: Rated
    release_ms: Rated
    note: str


class InputChannel(Part):
    """A button, selector or position contact."""

    name: str
    pin: PinRef
    pull: Literal["up", "down", "none"] = "up"


class LampChannel(Part):
    """An output for one panel lamp: an LED with its resistor. An input or a servo may share its pin: one is used."""

    name: str
    pin: PinRef


class Lamps(Part):
    """What one lamp takes through `resistor_ohm`, what a pin gives, and what all pins together give."""

    lamp_a: Rated
    resistor_ohm: Rated
    pin_a: Rated
    all_a: Rated
    note: str


class SensorType(Part):
    """What a current sensor measures and where it may stand.

    `measures`: "instantaneous" follows the current; "average" reads the mean, zero on DCC; "rectified-
    average" the mean of the absolute value. `na_per_count` and `zero_count` turn a reading into current
    (ADC: of 65536).
    """

    measures: Literal["instantaneous", "average", "rectified-average"]
    isolated: bool
    common_mode_v: tuple[float, float] | None = None
    full_scale_a: Rated
    na_per_count: Annotated[int, Field(gt=0)]
    zero_count: Annotated[int, Field(ge=0)] = 0
    settle_ms: Rated
    drop_v: Rated
    note: str


class SensorChannel(Part):
    """A sensor in the bus wire ahead of the outputs named in `watches`."""

    name: str
    type: str
    pin: GpioPin | None = None
    chip: str | None = None
    input: Annotated[int, Field(ge=1, le=3)] = 1
    watches: tuple[str, ...]


class Trip(Part):
    """A hardware trip input: its pin goes active within `latency_us` of the current passing `trip_a`."""

    name: str
    pin: PinRef
    trip_a: Rated
    latency_us: Rated
    watches: tuple[str, ...]


class Servos(Part):
    """The servo supply: how many may move at once, and what one takes."""

    max_moving: Annotated[int, Field(ge=1, le=32)]
    supply_a: Rated
    moving_a: Rated
    stall_a: Rated
    idle_a: Rated


class BoardProfile(Part):
    """One kind of board, as its file states it. `hold_input`, held down at reset, leaves the board at its prompt."""

    name: str
    title: str
    chip: Literal["rp2040", "rp2350"]
    about: str
    led_pin: GpioPin | None = None
    hold_input: str | None = None
    servos: Servos
    buses: tuple[Bus, ...] = ()
    chips: tuple[Chip, ...] = ()
    servo: tuple[ServoChannel, ...] = ()
    switch_types: dict[str, SwitchType] = {}
    feed: tuple[FeedChannel, ...] = ()
    enable_types: dict[str, EnableType] = {}
    enable: tuple[Enable, ...] = ()
    input: tuple[InputChannel, ...] = ()
    lamps: Lamps | None = None
    lamp: tuple[LampChannel, ...] = ()
    sensor_types: dict[str, SensorType] = {}
    sensor: tuple[SensorChannel, ...] = ()
    trip: tuple[Trip, ...] = ()

    def switch(self, channel: FeedChannel) -> SwitchType:
        """What a feed channel is made of."""
        return self.switch_types[channel.type]
