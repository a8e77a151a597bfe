"""The settings document of each board: the plan in the firmware's own terms, sealed and checked by its
validator.

Drives, feeds, groups, inputs, sensors and trips are lists, referred to by place; the one definition of the
document is `frogboard.settings`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

from frogboard import settings as document
from frogfeed.layout.model import Layout
from frogfeed.layout.schema import Control
from frogfeed.parts.boards import BoardProfile, Chip, PinRef, SensorChannel
from frogfeed.parts.spelling import printable_ascii
from frogfeed.plan.budget import servos_at_once
from frogfeed.plan.model import BoardPlan, ButtonPlan, DrivePlan, FeedPlan, LampPlan, MovePlan, Plan
from frogfeed.plan.suit import contacts_of
from frogfeed.plan.trips import sensor_trip_ma, sensor_trip_ms
from frogfeed.throw.geometry import TICK_MS

Json = dict[str, Any]

BUTTON_DEBOUNCE_MS = 20
"""How long a button must be steady: contact bounce of push buttons is a few ms (from memory)."""


class SettingsError(Exception):
    """The plan gives a document that the firmware would refuse: the board, its reason with the key path, and
    the document.
    """

    def __init__(self, board: str, reason: str, refused: Json) -> None:
        super().__init__(f"settings of board {board}: {reason}")
        self.board = board
        self.reason = reason
        self.document = refused


def build_settings(layout: Layout, plan: Plan) -> dict[str, bytes]:
    """One sealed document a board, by board name. Raises SettingsError where the firmware would refuse it."""
    found: dict[str, bytes] = {}
    for board in plan.boards:
        made = _document(layout, plan, board)
        sealed = document.seal(json.dumps(made, separators=(",", ":"), ensure_ascii=True))
        checked, reason = document.load(sealed)
        if checked is None:
            raise SettingsError(board.name, reason or "refused", made)
        found[board.name] = sealed
    return found


def ascii_text(text: str, most: int) -> str:
    """Text as the firmware takes it: printable ASCII, umlauts spelt out, no more than `most` characters."""
    return printable_ascii(text)[:most]


def _document(layout: Layout, plan: Plan, board: BoardPlan) -> Json:
    p = board.profile
    contacts = [(contact, i) for d in board.drives for contact, i in zip(d.need.contacts, d.inputs, strict=True)]
    inputs = [*contacts, *((b.need.name, b.channel) for b in board.buttons)]
    debounce = {c: d.debounce_ms for d in board.drives for c in d.need.contacts}
    input_index = {c: n for n, (c, _) in enumerate(inputs)}
    enables = list(dict.fromkeys(f.channel.enable for f in board.feeds if f.channel.enable is not None))
    doc_inputs = [_input(n, i.pin, i.pull, debounce.get(n, BUTTON_DEBOUNCE_MS), board) for n, i in inputs]
    hold = hold_button(board)
    if hold == "hold":
        channel = next(i for i in p.input if i.name == p.hold_input)
        doc_inputs.append(_input(hold, channel.pin, channel.pull, BUTTON_DEBOUNCE_MS, board))
        input_index[hold] = len(inputs)
    made = {
        "schema": document.SCHEMA,
        "layout": ascii_text(plan.layout, 80),
        "layout_hash": plan.layout_hash,
        "board": board.name,
        "profile": p.name,
        "control": plan.control,
        "tick_ms": TICK_MS,
        "max_moving": servos_at_once(board),
        "led_pin": -1 if p.led_pin is None else p.led_pin,
        "hold_input": input_index[hold] if hold is not None else -1,
        "buses": [{"sda": b.sda, "scl": b.scl, "hz": b.hz} for b in p.buses],
        "chips": [_chip(p, c) for c in board.chips],
        "drives": [_drive(d, input_index, board) for d in board.drives],
        "feeds": [_feed(f, board, enables) for f in board.feeds],
        "groups": [_group(board, name) for name in enables],
        "inputs": doc_inputs,
        "sensors": _sensors(layout, board),
        "trips": _trips(board),
    }
    if board.buttons or board.lamps:
        made["panel"] = {
            "buttons": [_button(b, board, input_index) for b in board.buttons],
            "lamps": [_lamp(lamp, board) for lamp in board.lamps],
        }
    return made


def hold_button(board: BoardPlan) -> str | None:
    """The input that leaves the board at its prompt when it is held down at reset: "hold", or a panel's button there.

    None where a position contact has taken it (it may well be closed at a reset), or a lamp or servo its pin.
    """
    profile = board.profile
    channel = next((i for i in profile.input if i.name == profile.hold_input), None)
    if channel is None:
        return None
    button = next((b.need.name for b in board.buttons if b.channel.name == channel.name), None)
    taken = {i.pin.resource for d in board.drives for i in d.inputs}
    taken |= {d.channel.resource for d in board.drives if d.channel is not None}
    taken |= {lamp.channel.pin.resource for lamp in board.lamps}
    return button or ("hold" if channel.pin.resource not in taken else None)


def _button(b: ButtonPlan, board: BoardPlan, input_index: Mapping[str, int]) -> Json:
    found: Json = {"input": input_index[b.need.name], "does": b.need.does}
    if b.need.moves:
        found["moves"] = [_term(board, drive, setting) for drive, setting in b.need.moves]
    return found


def _lamp(lamp: LampPlan, board: BoardPlan) -> Json:
    need = lamp.need
    found: Json = {"name": need.name, "out": _pin(lamp.channel.pin, board), "shows": need.shows}
    if need.moves:
        found["moves"] = [_term(board, drive, setting) for drive, setting in need.moves]
    if need.feed is not None:
        found["feed"] = [f.need.output for f in board.feeds].index(need.feed)
    return found


def _pin(ref: PinRef, board: BoardPlan) -> Json:
    found: Json = {"pin": ref.pin}
    if ref.chip is not None:
        found["chip"] = board.chip_index(ref.chip)
    if ref.active != 1:
        found["active"] = ref.active
    return found


def _input(name: str, ref: PinRef, pull: str, debounce_ms: int, board: BoardPlan) -> Json:
    chip = -1 if ref.chip is None else board.chip_index(ref.chip)
    return {
        "name": name,
        "pin": ref.pin,
        "chip": chip,
        "active": ref.active,
        "pull": pull,
        "debounce_ms": debounce_ms,
    }


def _chip(p: BoardProfile, c: Chip) -> Json:
    found: Json = {"kind": c.kind, "bus": [b.name for b in p.buses].index(c.bus), "address": c.address}
    if c.reset_pin is not None:
        found["reset_pin"] = c.reset_pin
    if c.oe_pin is not None:
        found["oe_pin"] = c.oe_pin
    return found


def _drive(d: DrivePlan, input_index: Mapping[str, int], board: BoardPlan) -> Json:
    found: Json = {
        "name": d.need.name,
        "kind": "hand" if d.need.hand else "servo",
        "settings": list(d.need.settings),
    }
    if d.home is not None:
        found["home"] = d.home
    if d.channel is None or d.linkage is None or d.motion is None:
        contacts = [input_index.get(f"{d.need.name}.{s}", -1) for s in d.need.settings]
        return {**found, "contacts": contacts}
    out: Json = {"kind": "pwm", "pin": d.channel.pin}
    if d.channel.chip is not None:
        out = {"kind": "pca9685", "chip": board.chip_index(d.channel.chip), "channel": d.channel.output}
    return {
        **found,
        "out": out,
        "pulse_us": list(d.linkage.pulse_us),
        "travel_ms": round(d.motion.travel_ms),
        "lag_ms": round(d.motion.lag_ms),
        "rest": "release" if d.release_at_rest else "hold",
    }


def _feed(f: FeedPlan, board: BoardPlan, enables: Sequence[str]) -> Json:
    p = board.profile
    switch = p.switch(f.channel)
    found: Json = {"name": f.need.output, "output": switch.kind}
    for key in ("a", "b", "coil", "set", "reset"):
        ref: PinRef | None = getattr(f.channel, key)
        if ref is not None:
            found[key] = _pin(ref, board)
    if f.rest is not None:
        found["rest"] = f.rest
    if switch.pulse_ms is not None:
        found["pulse_ms"] = math.ceil(switch.pulse_ms.value)
    release = math.ceil(switch.release_ms.value)
    found |= {
        "enable": enables.index(f.channel.enable) if f.channel.enable is not None else -1,
        "dead_ms": contacts_of(p, f.channel).apart_ms if switch.kind == "pair" else math.ceil(switch.dead_ms.value),
        "release_ms": release,
        "operate_ms": math.ceil(switch.operate_ms.value),
        "bounce_ms": math.ceil(switch.bounce_ms.value),
        "bonded": f.need.bonded,
        "table": [
            {"when": [_term(board, drive, setting) for drive, setting in term], "feed": side}
            for term, side in f.need.rows
        ],
        "moves": [_move(m, board) for m in f.moves],
    }
    after = f.need.after_trip
    found |= {"retries": after.retries, "retry_ms": after.retry_ms}
    if after.try_other and contacts_of(p, f.channel).has_off:
        found["try_other"] = True
    return found


def _term(board: BoardPlan, drive: str, setting: str) -> list[int]:
    index = board.drive_index(drive)
    return [index, board.drives[index].need.settings.index(setting)]


def _move(m: MovePlan, board: BoardPlan) -> Json:
    move = m.window.move
    return {
        "drive": board.drive_index(m.drive),
        "to": m.to,
        "off_us": move.off_us,
        "off_lead_ms": move.off_lead_ms,
        "on_us": move.on_us,
        "on_lag_ms": move.on_lag_ms,
    }


def _group(board: BoardPlan, name: str) -> Json:
    p = board.profile
    enable = next(e for e in p.enable if e.name == name)
    kind = p.enable_types[enable.type]
    return {
        "name": name,
        "out": _pin(enable.pin, board),
        "release_ms": math.ceil(kind.release_ms.value),
        "operate_ms": math.ceil(kind.operate_ms.value),
    }


def _sensors(layout: Layout, board: BoardPlan) -> list[Json]:
    found: list[Json] = []
    watched: dict[str, list[int]] = {}
    by_name: dict[str, SensorChannel] = {}
    for n, f in enumerate(board.feeds):
        if f.sensor is not None:
            watched.setdefault(f.sensor.name, []).append(n)
            by_name[f.sensor.name] = f.sensor
    dcc = layout.file.layout.control is Control.DCC
    for name, feeds in watched.items():
        s = by_name[name]
        kind = board.profile.sensor_types[s.type]
        if kind.measures == "average" and dcc:
            continue
        district = layout.file.district[board.feeds[feeds[0]].need.district]
        entry: Json = {
            "name": name,
            "kind": "adc" if s.pin is not None else "ina",
            "role": "track",
            "measure": "rms" if kind.measures == "instantaneous" else "mean",
            "zero_count": kind.zero_count,
            "na_per_count": kind.na_per_count,
            "trip_ma": sensor_trip_ma(district, kind),
            "trip_ms": sensor_trip_ms(district),
            "watches": feeds,
        }
        if s.pin is not None:
            entry["pin"] = s.pin
        else:
            at = board.chip_index(s.chip or "")
            entry |= {"chip": at, "channel": s.input}
            trip = board.feeds[feeds[0]].trip
            if trip is not None and board.chips[at].kind in ("ina226", "ina3221"):
                entry["alert_ma"] = round(1000.0 * trip.trip_a.value)
        found.append(entry)
    return found


def _trips(board: BoardPlan) -> list[Json]:
    watched: dict[str, list[int]] = {}
    for n, f in enumerate(board.feeds):
        if f.trip is not None:
            watched.setdefault(f.trip.name, []).append(n)
    return [
        {"name": t.name, "input": _pin(t.pin, board), "watches": watched[t.name]}
        for t in board.profile.trip
        if t.name in watched
    ]
