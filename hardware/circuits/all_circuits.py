"""Every circuit, and the decks that go with it."""

from __future__ import annotations

from circuits import (
    input_protection,
    lamp_output,
    relay_driver,
    sense_bridge,
    sense_hall,
    servo_supply,
    solid_state_pair,
    trip,
)
from circuits.deck import deck
from circuits.model import Circuit

__all__ = ["CIRCUITS", "decks"]

CIRCUITS: tuple[Circuit, ...] = (
    relay_driver.CIRCUIT,
    solid_state_pair.CIRCUIT,
    sense_hall.CIRCUIT,
    sense_bridge.CIRCUIT,
    trip.CIRCUIT,
    servo_supply.CIRCUIT,
    input_protection.CIRCUIT,
    lamp_output.CIRCUIT,
)

DCC = "PULSE(-2 2 0 1u 1u 57u 116u)"


def decks() -> dict[str, str]:
    """{file name: deck}: one telling run of each circuit, to be changed and run again."""
    return {
        "relay-driver.cir": deck(relay_driver.CIRCUIT, relay_driver.release_bench(), title="on for 40 ms, then off"),
        "solid-state-pair.cir": deck(
            solid_state_pair.CIRCUIT,
            solid_state_pair.pair_bench((5, 25), (15, 40), "DC 24"),
            title="IN_A from 5 to 25 ms, IN_B from 15 to 40 ms, 24 V between A and B",
        ),
        "solid-state-pair-unlocked.cir": deck(
            solid_state_pair.without_interlock(),
            solid_state_pair.pair_bench((5, 25), (15, 40), "DC 24"),
            title="the same inputs: a short from A to B",
        ),
        "sense-hall.cir": deck(sense_hall.CIRCUIT, sense_hall.sense_bench(DCC), title="2 A of DCC ones"),
        "sense-bridge.cir": deck(sense_bridge.CIRCUIT, sense_bridge.bridge_bench(DCC), title="2 A of DCC ones"),
        "trip.cir": deck(trip.CIRCUIT, trip.short_bench(15.0, 0.5, 20e-6), title="a dead short on 15 V, 0.5 Ω, 20 µH"),
        "servo-supply.cir": deck(
            servo_supply.CIRCUIT, servo_supply.dip_bench(2, 0.8), title="two servos start together"
        ),
        "input-protection.cir": deck(
            input_protection.CIRCUIT, input_protection.touch_bench(24.0), title="a track wire touches it"
        ),
        "lamp-output.cir": deck(lamp_output.CIRCUIT, lamp_output.lit_bench(), title="lit from 1 ms on"),
    }
