"""The circuits of hardware/circuits, run in ngspice, held to their rules and to what the board profiles say of them."""

import dataclasses
import math
import re
import shutil
import subprocess
import sys
import tomllib
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

HARDWARE = Path(__file__).parents[2] / "hardware"
sys.path.insert(0, str(HARDWARE))

from circuits import (  # noqa: E402
    input_protection,
    lamp_output,
    relay_driver,
    sense_bridge,
    sense_hall,
    servo_supply,
    solid_state_pair,
    trip,
)
from circuits.__main__ import written  # noqa: E402
from circuits.all_circuits import CIRCUITS, decks  # noqa: E402
from circuits.deck import deck  # noqa: E402
from circuits.model import Circuit, Part, Port, PortType, number  # noqa: E402
from circuits.rules import check  # noqa: E402

needs_ngspice = pytest.mark.skipif(not shutil.which("ngspice"), reason="ngspice is not installed")


def run(text: str, tmp_path: Path) -> dict[str, float]:
    """What a deck measures, by name. A measurement that failed is missing."""
    path = tmp_path / "deck.cir"
    path.write_text(text)
    done = subprocess.run(["ngspice", "-b", path.name], cwd=tmp_path, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr[-2000:]
    return {name: float(value) for name, value in re.findall(r"^(\w+)\s+=\s+([-+0-9.e]+)", done.stdout, re.M)}


def profile(name: str) -> dict[str, object]:
    return tomllib.loads((HARDWARE / "boards" / f"{name}.toml").read_text())


# ---- the solid-state pair and its interlock

TYPICAL: dict[str, float] = {}
SLOW_TO_LET_GO = {"kpv": 3e-3, "roff": 720e3}  # on in a fifth of the time, off in ten times the time
SLOW_TO_CLOSE = {"kpv": 3e-4, "roff": 72e3}
SEQUENCES = {
    "B comes while A is on": ((5, 25), (15, 40)),
    "A comes while B is on": ((15, 40), (5, 25)),
    "both at once": ((5, 25), (5, 25)),
    "B takes over at the very moment A goes": ((5, 25), (25, 45)),
    "10 us of both": ((5, 15.01), (15, 40)),
    "half a millisecond of both": ((5, 15.5), (15, 40)),
    "2 ms of both": ((5, 17), (15, 40)),
}
LIMIT_A = 1e-3


def corner(circuit: Circuit, spice: dict[str, float]) -> Circuit:
    return dataclasses.replace(
        circuit,
        parts=tuple(dataclasses.replace(p, spice=spice) if p.kind == "photomos" else p for p in circuit.parts),
    )


def worst(measured: dict[str, float]) -> float:
    return max(abs(measured["most"]), abs(measured["least"]))


@needs_ngspice
@pytest.mark.parametrize("volts", [-24, -12, 3, 12, 24])
@pytest.mark.parametrize("sequence", SEQUENCES)
def test_no_inputs_whatever_join_a_to_b(sequence: str, volts: float, tmp_path: Path) -> None:
    """Under 1 mA from A to B at every instant, both inputs asserted and at all their edges, over the supply's range."""
    a_ms, b_ms = SEQUENCES[sequence]
    bench = solid_state_pair.pair_bench(a_ms, b_ms, f"DC {volts}")
    assert worst(run(deck(solid_state_pair.CIRCUIT, bench), tmp_path)) < LIMIT_A


@needs_ngspice
@pytest.mark.parametrize("spice", [SLOW_TO_LET_GO, SLOW_TO_CLOSE], ids=["slow to let go", "slow to close"])
@pytest.mark.parametrize("sequence", SEQUENCES)
def test_nor_with_relays_at_the_ends_of_their_class(sequence: str, spice: dict[str, float], tmp_path: Path) -> None:
    a_ms, b_ms = SEQUENCES[sequence]
    bench = solid_state_pair.pair_bench(a_ms, b_ms, "DC 24")
    assert worst(run(deck(corner(solid_state_pair.CIRCUIT, spice), bench), tmp_path)) < LIMIT_A


@needs_ngspice
def test_nor_on_a_dcc_square_wave(tmp_path: Path) -> None:
    """36 V from one half to the other in 5 us. At such edges the open relays' own capacitance takes a charge.

    With both inputs asserted that stays under the limit; while one relay is closed the other one alone takes more of
    it, for those 5 us, whether the second input comes or not: nothing is conducted.
    """
    wave = "PULSE(-18 18 0 5u 5u 53u 116u)"

    def measured(b_ms: tuple[float, float]) -> dict[str, float]:
        bench = solid_state_pair.pair_bench((2, 12), b_ms, wave, end_ms=25).replace("20u", "1u")
        both = "\n.meas tran both_most MAX i(Vtrack) FROM=8m TO=12m\n.meas tran both_least MIN i(Vtrack) FROM=8m TO=12m"
        return run(deck(solid_state_pair.CIRCUIT, bench + both), tmp_path)

    both, a_alone = measured((7, 20)), measured((24, 24.5))
    assert max(abs(both["both_most"]), abs(both["both_least"])) < LIMIT_A
    assert worst(both) < worst(a_alone) + 0.05e-3


@needs_ngspice
@pytest.mark.parametrize("volts", [-24, 3, 24])
def test_without_the_interlock_the_same_inputs_are_a_short(volts: float, tmp_path: Path) -> None:
    bench = solid_state_pair.pair_bench((5, 25), (15, 40), f"DC {volts}")
    assert worst(run(deck(solid_state_pair.without_interlock(), bench), tmp_path)) > 10.0


@needs_ngspice
def test_without_the_capacitor_a_quick_change_is_a_short_with_slow_relays(tmp_path: Path) -> None:
    """It is C1 that keeps A and B apart at a change; the LEDs back to back alone would not."""
    bare = dataclasses.replace(
        solid_state_pair.CIRCUIT, parts=tuple(p for p in solid_state_pair.CIRCUIT.parts if p.ref != "C1")
    )
    bench = solid_state_pair.pair_bench((5, 25), (25, 45), "DC 24")
    assert worst(run(deck(corner(bare, SLOW_TO_LET_GO), bench), tmp_path)) > 10.0
    assert worst(run(deck(corner(solid_state_pair.CIRCUIT, SLOW_TO_LET_GO), bench), tmp_path)) < LIMIT_A


@needs_ngspice
def test_each_input_alone_feeds_the_frog(tmp_path: Path) -> None:
    """And within the time that the solid-state board's profile allows, with 3 A to the frog."""
    bench = (
        solid_state_pair.pair_bench((5, 25), (40, 60), "DC 12", end_ms=80).replace("Rleak f b 1meg", "Rleak f c 4")
        + "\nVmid c b 6\n"
        ".meas tran on_a TRIG AT=5m TARG i(Vmid) VAL=1.4 RISE=1\n"
        ".meas tran off_a TRIG AT=25m TARG i(Vmid) VAL=0.1 FALL=1\n"
        ".meas tran on_b TRIG AT=40m TARG i(Vmid) VAL=-1.4 FALL=1\n.meas tran at_a FIND i(Vmid) AT=24m\n"
        ".meas tran at_b FIND i(Vmid) AT=59m\n"
    )
    measured = run(deck(solid_state_pair.CIRCUIT, bench), tmp_path)
    assert 1.4 < measured["at_a"] < 1.5 and -1.5 < measured["at_b"] < -1.4
    assert measured["on_a"] < 5e-3 and measured["on_b"] < 5e-3
    pair = profile("solid-state")["switch_types"]["photo-pair"]  # type: ignore[index]
    assert measured["off_a"] < pair["release_ms"]["value"] / 1000


# ---- relay driver


@needs_ngspice
def test_the_relay_closes_for_certain_and_its_coil_is_tamed(tmp_path: Path) -> None:
    measured = run(deck(relay_driver.CIRCUIT, relay_driver.release_bench()), tmp_path)
    assert 4.75 - measured["coil_low"] > relay_driver.PICK_UP_V, "at the lowest supply and 3.3 V at the input"
    assert abs(measured["leak_a"]) < 1e-3
    assert measured["peak_v"] < 7.0, "the clamp diode; the driver stands 50 V"
    single = profile("direct-relay")["switch_types"]["single"]  # type: ignore[index]
    assert measured["let_go"] * 1000 + 5.0 < single["release_ms"]["value"], "5 ms of the bare relay, and this on top"


# ---- current sense


def dcc(amperes: float) -> str:
    return f"PULSE({-amperes} {amperes} 0 1u 1u 57u {sense_hall.DCC_BENCH_US}u)"


@needs_ngspice
@pytest.mark.parametrize("amperes", [-5.0, -1.0, -0.1, 0.0, 0.1, 1.0, 3.0, 5.0])
def test_hall_sense_on_dc(amperes: float, tmp_path: Path) -> None:
    measured = run(deck(sense_hall.CIRCUIT, sense_hall.sense_bench(f"DC {amperes}")), tmp_path)
    seen = (measured["mean"] - sense_hall.ZERO_V) / sense_hall.V_PER_A
    assert seen == pytest.approx(amperes, rel=0.01, abs=0.005)
    assert 0 < measured["mean"] < 3.3


@needs_ngspice
@pytest.mark.parametrize("amperes", [0.1, 0.5, 2.0, 5.0])
def test_hall_sense_on_dcc_is_right_as_rms_and_nothing_as_mean(amperes: float, tmp_path: Path) -> None:
    measured = run(deck(sense_hall.CIRCUIT, sense_hall.sense_bench(dcc(amperes))), tmp_path)
    rms = math.sqrt(measured["square"]) / sense_hall.V_PER_A
    assert rms == pytest.approx(amperes, rel=0.07)
    assert abs(measured["mean"] - sense_hall.ZERO_V) / sense_hall.V_PER_A < 0.02


def test_hall_sense_as_the_board_profile_reckons_it() -> None:
    sensor = profile("direct-relay")["sensor_types"]["hall"]  # type: ignore[index]
    na_per_count = 3.3 / 65536 / sense_hall.V_PER_A * 1e9
    assert sensor["na_per_count"] == pytest.approx(na_per_count, rel=0.005)
    assert sensor["zero_count"] == pytest.approx(sense_hall.ZERO_V / 3.3 * 65536, rel=0.002)


@needs_ngspice
@pytest.mark.parametrize(
    ("current", "amperes", "tolerance"),
    [("DC 0.2", 0.2, 0.02), ("DC -3", 3.0, 0.02), ("DC 3", 3.0, 0.02)]
    + [(dcc(amperes), amperes, 0.07) for amperes in (0.5, 2.0, 3.5)],
)
def test_bridge_sense_is_the_mean_of_the_rectified_current(
    current: str, amperes: float, tolerance: float, tmp_path: Path
) -> None:
    measured = run(deck(sense_bridge.CIRCUIT, sense_bridge.bridge_bench(current)), tmp_path)
    assert measured["mean"] / sense_bridge.SHUNT_OHM == pytest.approx(amperes, rel=tolerance)


@needs_ngspice
def test_bridge_drop_as_the_board_profile_reckons_it(tmp_path: Path) -> None:
    sensor = profile("expander")["sensor_types"]["bridge"]  # type: ignore[index]
    measured = run(deck(sense_bridge.CIRCUIT, sense_bridge.bridge_bench("DC 3")), tmp_path)
    assert measured["drop"] == pytest.approx(sensor["drop_v"]["value"], rel=0.15)
    assert sensor["na_per_count"] == pytest.approx(2.5e-6 / number(sense_bridge.CIRCUIT.part("R1").value) * 1e9)


# ---- trip


@needs_ngspice
@pytest.mark.parametrize("volts", [-18.0, -12.0, 12.0, 18.0])
@pytest.mark.parametrize(("ohm", "henry"), [(0.2, 5e-6), (0.5, 20e-6), (1.5, 50e-6)])
def test_a_short_is_latched_within_50_microseconds(volts: float, ohm: float, henry: float, tmp_path: Path) -> None:
    measured = run(deck(trip.CIRCUIT, trip.short_bench(volts, ohm, henry)), tmp_path)
    assert measured["before"] > 3.0 and measured["after"] < 0.3
    assert 0 < measured["latched"] < 50e-6
    assert abs(measured["at_trip"]) > trip.TRIP_A * 0.95


@needs_ngspice
@pytest.mark.parametrize("sign", [1, -1])
def test_it_trips_where_it_should_and_not_below(sign: int, tmp_path: Path) -> None:
    for amperes, trips in ((0.93 * trip.TRIP_A, False), (1.07 * trip.TRIP_A, True)):
        wave = f"PWL(0 0 3m 0 3.1m {sign * amperes})"
        measured = run(deck(trip.CIRCUIT, trip.hold_bench(wave)), tmp_path)
        assert measured["first"] > 3.0
        assert (measured["third"] < 0.3) is trips


@needs_ngspice
def test_it_holds_until_it_is_cleared_and_cannot_be_cleared_into_a_short(tmp_path: Path) -> None:
    pulse = "PWL(0 0 1m 0 1.01m 5 1.2m 5 1.21m 0.5)"
    held = run(deck(trip.CIRCUIT, trip.hold_bench(pulse)), tmp_path)
    assert all(held[name] < 0.3 for name in ("first", "second", "third"))
    clear = "PWL(0 3.3 2.5m 3.3 2.51m 0 3m 0 3.01m 3.3)"
    cleared = run(deck(trip.CIRCUIT, trip.hold_bench(pulse, clear)), tmp_path)
    assert cleared["first"] < 0.3 and cleared["second"] > 3.0 and cleared["third"] > 3.0
    lasting = run(deck(trip.CIRCUIT, trip.hold_bench("PWL(0 0 1m 0 1.01m 5)", clear)), tmp_path)
    assert lasting["second"] < 0.3 and lasting["third"] < 0.3


@needs_ngspice
def test_the_spike_of_a_dcc_edge_does_not_trip_it(tmp_path: Path) -> None:
    """Two microseconds of 4 A at every edge, on 1 A of load: the charge of lamps and decoders (from memory)."""
    spikes = "PWL(0 0 1m 0 1.0005m 4 1.0025m 4 1.003m 1 3m 1 3.0005m -4 3.0025m -4 3.003m -1)"
    measured = run(deck(trip.CIRCUIT, trip.hold_bench(spikes)), tmp_path)
    assert all(measured[name] > 3.0 for name in ("first", "second", "third"))


# ---- servo supply, inputs


@needs_ngspice
def test_as_many_servos_may_start_as_the_profile_lets_move(tmp_path: Path) -> None:
    servos = profile("direct-relay")["servos"]
    count, stall_a = servos["max_moving"], servos["stall_a"]["value"]  # type: ignore[index]
    measured = run(deck(servo_supply.CIRCUIT, servo_supply.dip_bench(count, stall_a)), tmp_path)
    assert measured["servo_v"] > 4.5
    assert measured["chip_v"] > 4.0, "the module's regulator wants far less"
    crowd = run(deck(servo_supply.CIRCUIT, servo_supply.dip_bench(8, stall_a)), tmp_path)
    assert crowd["servo_v"] < 4.5, "all at once would be too much: hence the limit"


@needs_ngspice
@pytest.mark.parametrize("volts", [-24.0, 12.0, 24.0])
def test_a_track_wire_on_an_input_does_no_harm(volts: float, tmp_path: Path) -> None:
    measured = run(deck(input_protection.CIRCUIT, input_protection.touch_bench(volts)), tmp_path)
    assert measured["highest"] < 3.6 and measured["lowest"] > -0.3  # 0.3 V beyond the rails (from memory)
    assert measured["into_supply"] < 3e-3


@needs_ngspice
@pytest.mark.parametrize("pull_ohm", [50e3, 80e3])
def test_a_pressed_button_reads_low_through_the_protection(pull_ohm: float, tmp_path: Path) -> None:
    measured = run(deck(input_protection.CIRCUIT, input_protection.touch_bench(0.0, pull_ohm)), tmp_path)
    assert measured["level"] < 0.8 and measured["highest"] > 3.0


@needs_ngspice
@pytest.mark.parametrize("name", ["direct-relay", "expander", "solid-state"])
def test_a_lamp_takes_what_the_profiles_say(name: str, tmp_path: Path) -> None:
    lamps = profile(name)["lamps"]
    parts = {p.ref: number(p.value) for p in lamp_output.CIRCUIT.parts if p.kind == "resistor"}
    assert parts["R1"] + parts["R2"] == lamps["resistor_ohm"]["value"]  # type: ignore[index]
    measured = run(deck(lamp_output.CIRCUIT, lamp_output.lit_bench()), tmp_path)
    assert measured["dark"] < 1e-6 and 1.8 < measured["lamp_v"] < 2.2
    assert measured["lit"] == pytest.approx(lamps["lamp_a"]["value"], rel=0.1)  # type: ignore[index]


@needs_ngspice
@pytest.mark.parametrize("high", [False, True])
@pytest.mark.parametrize("volts", [-24.0, 12.0, 24.0])
def test_a_track_wire_on_a_lamp_does_no_harm(volts: float, high: bool, tmp_path: Path) -> None:
    measured = run(deck(lamp_output.CIRCUIT, lamp_output.touched_bench(volts, high)), tmp_path)
    assert measured["highest"] < 3.6 and measured["lowest"] > -0.3
    assert max(measured["out_of_pin"], -measured["into_pin"]) < 0.02, "what a pin stands for a while (from memory)"
    assert measured["into_supply"] < 0.02


# ---- rules, drawings, lists


@pytest.mark.parametrize("circuit", CIRCUITS, ids=lambda c: c.name)
def test_every_circuit_keeps_the_rules(circuit: Circuit) -> None:
    assert check(circuit) == []


def without(circuit: Circuit, ref: str) -> Circuit:
    return dataclasses.replace(circuit, parts=tuple(part for part in circuit.parts if part.ref != ref))


def changed(circuit: Circuit, ref: str, **changes: object) -> Circuit:
    return dataclasses.replace(
        circuit,
        parts=tuple(
            dataclasses.replace(part, **changes) if part.ref == ref else part  # type: ignore[arg-type]
            for part in circuit.parts
        ),
    )


PAIR, RELAY, TRIP, INPUT = (
    solid_state_pair.CIRCUIT,
    relay_driver.CIRCUIT,
    trip.CIRCUIT,
    input_protection.CIRCUIT,
)


@pytest.mark.parametrize(
    ("circuit", "words"),
    [
        (without(PAIR, "R2"), "IN_A floats at reset"),
        (changed(PAIR, "R3", value="47 kΩ"), "IN_B floats at reset"),
        (changed(PAIR, "C1", volts=3.3), "C1: rated 3.3 V"),
        (changed(PAIR, "R1", value="20 Ω"), "R1: 0.648 W"),
        (changed(RELAY, "U1", nets={"in": "IN", "out": "COIL", "com": "nc", "gnd": "GND"}), "coil's current"),
        (changed(RELAY, "S1", nets={"c": "F", "no": "A", "nc": "GND"}), "without isolation"),
        (changed(RELAY, "U1", nets={"in": "IN", "out": "COIL", "com": "+5V"}), "pin gnd is joined to nothing"),
        (without(TRIP, "R4"), "open collector of U2A"),
        (changed(TRIP, "U3A", nets={"a": "SET", "b": "TRIP", "y": "TRIP"}), "driven by U3A.y and U3B.y"),
        (without(TRIP, "U3A"), "net HELD ends at one pin"),
        (changed(INPUT, "R1", watts=0.0625), "R1: "),
        (dataclasses.replace(PAIR, parts=(*PAIR.parts, PAIR.parts[0])), "R1 is used twice"),
        (changed(PAIR, "R1", nets={"1": "IN_A", "2": "X", "3": "F"}), "has no pin 3"),
        (changed(TRIP, "U2A", nets={"+": "lost", "-": "SEE", "out": "SET"}), "lost"),
    ],
)
def test_every_rule_can_be_broken(circuit: Circuit, words: str) -> None:
    assert any(words in broken for broken in check(circuit)), check(circuit)


def test_a_supply_pin_wants_a_supply() -> None:
    part = Part("U1", "monitor", "x", {"in+": "a", "in-": "a", "vcc": "b", "alert": "c", "gnd": "GND"}, (0, 0))
    ports = (Port("GND", PortType.GROUND, (0, 0), "", (0, 0)), Port("c", PortType.GPIO_IN, (0, 3), "", (0, 0)))
    assert any("supply pin on a net" in broken for broken in check(Circuit("x", "x", "", ports, (part,))))


def test_drawings_decks_and_lists_are_those_of_the_circuits() -> None:
    stale = [path.name for path, text in written().items() if not path.exists() or path.read_text("utf-8") != text]
    assert stale == [], "run `python -m circuits` in hardware/"


@pytest.mark.parametrize("circuit", CIRCUITS, ids=lambda c: c.name)
def test_drawings_show_every_part(circuit: Circuit) -> None:
    text = (HARDWARE / "circuits" / "drawings" / f"{circuit.name}.svg").read_text("utf-8")
    words = " ".join(t.text or "" for t in ElementTree.fromstring(text).iter("{http://www.w3.org/2000/svg}text"))
    for part in circuit.parts:
        assert f"{part.ref} {part.value}" in words
    for port in circuit.ports:
        assert port.meaning in words


@needs_ngspice
@pytest.mark.parametrize("name", decks())
def test_every_deck_that_is_shipped_runs_by_itself(name: str, tmp_path: Path) -> None:
    text = (HARDWARE / "circuits" / "decks" / name).read_text("utf-8")
    asked = set(re.findall(r"^\.meas tran (\w+)", text, re.M))
    assert asked and asked <= set(run(text, tmp_path))
