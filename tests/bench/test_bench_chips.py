"""The chips' registers, against what their makers' data sheets say of them."""

from __future__ import annotations

from typing import Any

import pytest

from frogfeed.bench.sim.physics.board import Board, line_of
from frogfeed.bench.sim.physics.chips import Bus, build_chips
from frogfeed.bench.sim.physics.clock import Clock
from frogfeed.bench.sim.physics.ina import Ina
from frogfeed.bench.sim.physics.mcp23017 import Mcp23017
from frogfeed.bench.sim.physics.pca9685 import Pca9685
from frogfeed.bench.sim.physics.records import Records


class Pulses:
    """Stands for servos: keeps the last pulse of each."""

    def __init__(self) -> None:
        self.ns: dict[int, int] = {}

    def set_pulse(self, servo: int, ns: int) -> None:
        self.ns[servo] = ns


class Sensed:
    """Stands for sensors: fixed counts."""

    def __init__(self, *channels: tuple[int, int, int]) -> None:
        self.sensors = [{"chip": c, "channel": n} for c, n, _ in channels]
        self.counts = [k for _, _, k in channels]
        self.alerters: dict[int, Ina] = {}

    def reading(self, number: int, settle_us: int) -> int:
        return self.counts[number]

    def shunt(self, number: int) -> int:
        return self.counts[number]

    def look(self) -> None:
        """The trip lines: none here."""


@pytest.fixture
def board() -> Board:
    board = Board(2, Clock(0), Records())
    board.servos = Pulses()
    for channel in range(16):
        board.servo_of[line_of(1, channel)] = channel
    return board


def expander(board: Board, **spec: Any) -> Mcp23017:
    return Mcp23017(0, {"kind": "mcp23017", "address": 0x20, **spec}, board, board.clock)


def servo_chip(board: Board, **spec: Any) -> Pca9685:
    return Pca9685(1, {"kind": "pca9685", "address": 0x40, **spec}, board, board.clock)


def read_at(chip: Any, register: int, count: int) -> bytes:
    chip.write(bytes([register]))
    return bytes(chip.read(count))


# ---- MCP23017 ------------------------------------------------------------------------------------------------


def test_expander_comes_up_as_inputs(board: Board) -> None:
    chip = expander(board)
    assert read_at(chip, 0x00, 22) == bytes([0xFF, 0xFF] + [0] * 20)
    assert not any(board.driving[line_of(0, pin)] for pin in range(16))


def test_expander_written_before_made_output_does_not_flicker(board: Board) -> None:
    seen: list[int] = []
    board.add_sink(line_of(0, 9), 0, lambda _, on: seen.append(on), None)
    chip = expander(board)
    chip.write(bytes([0x15, 0x02]))  # OLATB: the off level of an active-low output
    chip.write(bytes([0x01, 0xFD]))  # IODIRB
    assert seen == []
    chip.write(bytes([0x15, 0x00]))
    assert seen == [1]


def test_expander_made_output_first_does_flicker(board: Board) -> None:
    seen: list[int] = []
    board.add_sink(line_of(0, 9), 0, lambda _, on: seen.append(on), None)
    chip = expander(board)
    chip.write(bytes([0x01, 0xFD]))
    chip.write(bytes([0x15, 0x02]))
    assert seen == [1, 0]


def test_expander_reads_inputs_with_polarity_and_pulls(board: Board) -> None:
    chip = expander(board)
    board.apply(line_of(0, 3), 1)
    assert read_at(chip, 0x12, 2) == b"\x08\x00"
    chip.write(bytes([0x0C, 0xF0]))  # GPPUA
    chip.write(bytes([0x02, 0x0F]))  # IPOLA
    assert read_at(chip, 0x12, 1) == bytes([0xF8 ^ 0x0F])


def test_expander_writing_gpio_writes_the_latch(board: Board) -> None:
    chip = expander(board)
    chip.write(bytes([0x12, 0xA5, 0x5A]))
    assert read_at(chip, 0x14, 2) == b"\xa5\x5a"


def test_expander_banks_and_sequence(board: Board) -> None:
    chip = expander(board)
    chip.write(bytes([0x0A, 0xA0]))  # BANK, SEQOP
    chip.write(bytes([0x1A, 0x11]))  # OLATB
    assert read_at(chip, 0x1A, 2) == b"\x11\x11", "the pointer stays"
    chip.write(bytes([0x05, 0x00]))  # IOCON in its new place: back to BANK 0
    assert read_at(chip, 0x14, 2) == b"\x00\x11"


def test_expander_in_reset_neither_drives_nor_answers(board: Board) -> None:
    chip = expander(board, reset_pin=7)
    assert not chip.answers(), "a resistor holds it in reset while the pin floats"
    board.set_line(7, 1, 1)
    assert chip.answers()
    chip.write(bytes([0x14, 0xFF]))
    chip.write(bytes([0x00, 0x00]))
    assert board.driving[line_of(0, 0)]
    board.set_line(7, 0, 0)  # the microcontroller's reset lets the pin float
    assert not chip.answers()
    assert not board.driving[line_of(0, 0)]


# ---- PCA9685 -------------------------------------------------------------------------------------------------


def test_servo_chip_comes_up_asleep_and_off(board: Board) -> None:
    chip = servo_chip(board)
    assert read_at(chip, 0x00, 1) == b"\x11"
    assert read_at(chip, 0xFE, 1) == b"\x1e"
    assert not any(board.servos.ns.values())


def start(chip: Pca9685) -> None:
    chip.write(bytes([0xFE, 121]))
    chip.write(bytes([0x00, 0x21]))


def test_servo_chip_pulses_by_counts_and_prescale(board: Board) -> None:
    chip = servo_chip(board)
    start(chip)
    board.clock.run_to(1000)
    chip.write(bytes([0x06 + 4 * 2, 0, 0, 307 & 255, 307 >> 8]))
    assert board.servos.ns[2] == 307 * 122 * 40
    assert board.servos.ns[2] == pytest.approx(1_500_000, rel=0.005)
    chip.write(bytes([0x06 + 4 * 2 + 3, 0x10]))
    assert board.servos.ns[2] == 0


def test_servo_chip_prescale_only_while_asleep(board: Board) -> None:
    chip = servo_chip(board)
    chip.write(bytes([0x00, 0x21]))
    chip.write(bytes([0xFE, 50]))
    assert read_at(chip, 0xFE, 1) == b"\x1e"
    chip.write(bytes([0x00, 0x31]))
    chip.write(bytes([0xFE, 1]))
    assert read_at(chip, 0xFE, 1) == b"\x03", "three is the least"


def test_servo_chip_without_auto_increment_writes_one_register_over_and_over(board: Board) -> None:
    chip = servo_chip(board)
    chip.write(bytes([0x00, 0x01]))
    chip.write(bytes([0x06, 1, 2, 3]))
    assert read_at(chip, 0x06, 1) == b"\x03"
    assert read_at(chip, 0x07, 1) == b"\x00"


def test_servo_chip_output_enable(board: Board) -> None:
    chip = servo_chip(board, oe_pin=6)
    start(chip)
    chip.write(bytes([0x06, 0, 0, 0x33, 1]))
    assert not board.servos.ns.get(0), "OE is pulled up"
    board.set_line(6, 1, 0)
    assert board.servos.ns[0] > 0
    board.set_line(6, 0, 0)
    assert board.servos.ns[0] == 0


def test_servo_chip_restart(board: Board) -> None:
    chip = servo_chip(board)
    start(chip)
    chip.write(bytes([0x06, 0, 0, 0x33, 1]))
    chip.write(bytes([0x00, 0x31]))  # sleep while running
    assert board.servos.ns[0] == 0
    assert read_at(chip, 0x00, 1)[0] & 0x80
    chip.write(bytes([0x00, 0x21]))
    assert board.servos.ns[0] == 0, "awake, but not restarted"
    board.clock.run_to(board.clock.now + 400)
    chip.write(bytes([0x00, 0xA1]))
    assert board.servos.ns[0] == 0, "too early: 500 us"
    board.clock.run_to(board.clock.now + 200)
    chip.write(bytes([0x00, 0xA1]))
    assert board.servos.ns[0] > 0
    assert not read_at(chip, 0x00, 1)[0] & 0x80


def test_servo_chip_all_channels_and_general_call(board: Board) -> None:
    chip = servo_chip(board)
    start(chip)
    chip.write(bytes([0xFA, 0, 0, 0x00, 0x01]))
    assert {board.servos.ns[c] for c in range(16)} == {256 * 122 * 40}
    bus = Bus({"sda": 0, "scl": 1})
    bus.chips[0x40] = chip
    bus.general_call(b"\x06")
    assert read_at(chip, 0x00, 1) == b"\x11"
    assert not any(board.servos.ns.values())


# ---- current sensors -----------------------------------------------------------------------------------------


def ina(board: Board, kind: str, *channels: tuple[int, int, int]) -> Ina:
    return Ina(0, {"kind": kind, "address": 0x40}, board, board.clock, Sensed(*channels))


@pytest.mark.parametrize(
    ("kind", "register", "value"),
    [
        ("ina219", 0, 0x399F),
        ("ina226", 0, 0x4127),
        ("ina226", 0xFE, 0x5449),
        ("ina226", 0xFF, 0x2260),
        ("ina3221", 0, 0x7127),
        ("ina3221", 0xFF, 0x3220),
    ],
)
def test_sensor_registers_at_power_on(board: Board, kind: str, register: int, value: int) -> None:
    assert int.from_bytes(read_at(ina(board, kind), register, 2), "big") == value


def test_sensor_shunt_readings(board: Board) -> None:
    assert read_at(ina(board, "ina219", (0, 1, 1234)), 1, 2) == (1234).to_bytes(2, "big")
    assert read_at(ina(board, "ina226", (0, 1, -5)), 1, 2) == (-5).to_bytes(2, "big", signed=True)
    three = ina(board, "ina3221", (0, 1, 100), (0, 3, -7))
    assert read_at(three, 1, 2) == (100 << 3).to_bytes(2, "big")
    assert read_at(three, 3, 2) == b"\x00\x00"
    assert read_at(three, 5, 2) == (-7 * 8).to_bytes(2, "big", signed=True)


def test_sensor_saturates(board: Board) -> None:
    assert read_at(ina(board, "ina226", (0, 1, 99999)), 1, 2) == b"\x7f\xff"


def test_sensor_current_register_needs_calibration(board: Board) -> None:
    chip = ina(board, "ina219", (0, 1, 2000))
    assert read_at(chip, 4, 2) == b"\x00\x00"
    chip.write(bytes([5]) + (4096).to_bytes(2, "big"))
    assert read_at(chip, 4, 2) == (2000).to_bytes(2, "big")


def sensor_chip(board: Board, kind: str, *counts: int) -> tuple[Ina, Sensed]:
    sensed = Sensed(*[(0, n, k) for n, k in enumerate(counts, 1)])
    spec = {"kind": kind, "address": 0x40, "bus": 0}
    (chip,), _ = build_chips([spec], [{"sda": 2, "scl": 3}], board, board.clock, sensed)
    assert isinstance(chip, Ina)
    return chip, sensed


def test_the_alert_of_an_ina226_follows_its_registers(board: Board) -> None:
    """SBOS547: mask register 06h bit 15 is shunt over-voltage, bit 0 the latch; alert limit 07h; both 0 at power-on."""
    chip, sensed = sensor_chip(board, "ina226", 30000)
    assert not chip.alerting(), "no alert is asked for yet"
    chip.write(bytes([7, 28000 >> 8, 28000 & 255]))
    assert not chip.alerting()
    chip.write(bytes([6, 0x80, 0]))
    assert chip.alerting()
    sensed.counts[0] = 28000
    assert not chip.alerting(), "over, not at"
    sensed.counts[0] = -30000
    assert not chip.alerting(), "one direction only"
    chip.write(bytes([6, 0x80, 1]))
    sensed.counts[0] = 30000
    assert chip.alerting()
    sensed.counts[0] = 0
    assert chip.alerting(), "latched"
    read_at(chip, 6, 2)
    assert not chip.alerting(), "reading the mask lets go"
    sensed.counts[0] = 30000
    assert chip.alerting()
    chip.absent = 1
    assert not chip.alerting()
    chip.absent = 0
    chip.power_on()
    assert not chip.alerting(), "what it was told is gone"


def test_how_long_an_alert_takes_is_in_the_configuration(board: Board) -> None:
    """SBOS547: means and conversion times in register 00h; shunt only in mode 101."""
    chip, _ = sensor_chip(board, "ina226", 0)
    assert chip.alert_us() == 2 * 2200
    chip.write(bytes([0, 0x42, 0x05]))
    assert chip.alert_us() == 2 * 4 * 140


def test_the_critical_output_of_an_ina3221_is_that_of_all_its_inputs(board: Board) -> None:
    """SBOS576: critical limits in 07h, 09h and 0Bh, bits 15 to 3; full scale at power-on."""
    chip, sensed = sensor_chip(board, "ina3221", 100, 200, 300)
    assert not chip.alerting()
    for register, limit in ((7, 150), (9, 250), (11, 350)):
        chip.write(bytes([register, (limit << 3) >> 8, (limit << 3) & 255]))
    assert not chip.alerting()
    sensed.counts[1] = 251
    assert chip.alerting()


def test_a_missing_chip_and_a_stuck_bus(board: Board) -> None:
    specs = [{"kind": "mcp23017", "address": 0x20, "bus": 0}]
    (chip,), (bus,) = build_chips(specs, [{"sda": 4, "scl": 5}], board, board.clock, Sensed())
    assert bus.chip(0x20) is chip
    with pytest.raises(OSError, match="5"):
        bus.chip(0x21)
    chip.absent = 1
    with pytest.raises(OSError, match="5"):
        bus.chip(0x20)
    bus.stuck = 1
    with pytest.raises(OSError, match="110"):
        bus.chip(0x20)
