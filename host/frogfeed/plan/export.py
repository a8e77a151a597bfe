"""The plan as JSON for programs, and back as far as a later plan needs it: where each thing is wired."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from frogfeed.findings.finding import Finding
from frogfeed.plan.makeup import (
    BondRails,
    FitDropper,
    FitJoiner,
    FitSwitched,
    KeepLink,
    MakeUp,
    RemoveLink,
    Step,
)
from frogfeed.plan.model import BoardPlan, FeedPlan, MovePlan, Plan
from frogfeed.track.network.conditions import to_json as when_to_json

FORMAT = 1
"""Version of the plan's JSON."""

Json = dict[str, Any]

STEP_NAMES: Mapping[type, str] = {
    RemoveLink: "remove-link",
    KeepLink: "keep-link",
    BondRails: "bond",
    FitJoiner: "joiner",
    FitDropper: "dropper",
    FitSwitched: "switched-feed",
}


def plan_to_json(plan: Plan, make_ups: Iterable[MakeUp] = ()) -> Json:
    """The plan and the make-up of the pieces. Times in ms, pulses in µs, wire in mm, fractions as they
    are.
    """
    o = plan.optimum
    return {
        "format": FORMAT,
        "layout": plan.layout,
        "layout_hash": plan.layout_hash,
        "control": plan.control,
        "wire_mm": round(o.wire_mm),
        "cost": round(o.cost, 2),
        "bound": round(o.bound, 2),
        "gap": round(o.gap, 6),
        "moved": o.moved,
        "boards": [_board(b) for b in plan.boards],
        "channels": {thing: list(where) for thing, where in plan.channels().items()},
        "make_up": [_make_up(m) for m in make_ups],
        "notes": [_finding(f) for f in plan.findings],
    }


def read_channels(text: str) -> dict[str, tuple[str, str]]:
    """Where each thing is wired by an earlier plan's JSON. Raises ValueError where the text is no such
    plan.
    """
    try:
        data = json.loads(text)
        channels = data["channels"]
        return {str(thing): (str(board), str(channel)) for thing, (board, channel) in channels.items()}
    except (KeyError, TypeError, AttributeError, json.JSONDecodeError, RecursionError) as error:
        raise ValueError(f"not a plan as frogfeed writes it: {error}") from error


def _board(b: BoardPlan) -> Json:
    return {
        "name": b.name,
        "profile": b.profile.name,
        "serial": b.serial,
        "implied": b.implied,
        "wire_mm": round(b.wire_mm),
        "drives": [
            {
                "drive": d.need.name,
                "settings": list(d.need.settings),
                "channel": d.channel.name if d.channel is not None else None,
                "inputs": dict(zip(d.need.contacts, (i.name for i in d.inputs), strict=True)),
                "pulse_us": list(d.linkage.pulse_us) if d.linkage is not None else None,
                "home": d.need.settings[d.home] if d.home is not None else None,
            }
            for d in b.drives
        ],
        "feeds": [_feed(b, f) for f in b.feeds],
        "buttons": [
            {
                "button": x.need.name,
                "input": x.channel.name,
                "does": x.need.does,
                "moves": [list(m) for m in x.need.moves],
                "route": x.need.route,
            }
            for x in b.buttons
        ],
        "lamps": [
            {
                "lamp": x.need.name,
                "channel": x.channel.name,
                "shows": x.need.shows,
                "moves": [list(m) for m in x.need.moves],
                "route": x.need.route,
                "feed": x.need.feed,
            }
            for x in b.lamps
        ],
    }


def _feed(b: BoardPlan, f: FeedPlan) -> Json:
    return {
        "output": f.need.output,
        "rails": list(f.need.rails),
        "district": f.need.district,
        "channel": f.channel.name,
        "kind": b.profile.switch(f.channel).kind,
        "enable": f.channel.enable,
        "rest": f.rest,
        "sensor": f.sensor.name if f.sensor is not None else None,
        "trip": f.trip.name if f.trip is not None else None,
        "table": [{"when": dict(term), "feed": side} for term, side in f.need.rows],
        "undecided": when_to_json(f.need.undecided),
        "after_trip": {
            "try_other": f.need.after_trip.try_other,
            "retries": f.need.after_trip.retries,
            "retry_ms": f.need.after_trip.retry_ms,
        },
        "moves": [_move(m) for m in f.moves],
    }


def _move(m: MovePlan) -> Json:
    w = m.window
    return {
        "drive": m.drive,
        "to": m.to,
        **asdict(w.move),
        "stretch_ms": round(w.stretch.ms, 1) if w.stretch is not None else None,
        "needed_ms": round(w.needed_ms, 1),
        "off_ms": round(w.off_begin_ms, 1),
        "off_sure_ms": round(w.off_sure_ms, 1),
        "on_ms": round(w.on_ms, 1),
        "done_ms": round(w.done_ms, 1),
        "shortest_travel_ms": round(w.shortest_travel_ms, 1),
    }


def _make_up(m: MakeUp) -> Json:
    return {
        "name": m.name,
        "kind": m.kind,
        "make": m.make.value if m.make is not None else None,
        "facts": dict(zip(("links", "blades", "frog"), (f.value for f in m.facts), strict=True)) if m.facts else None,
        "drives": list(m.drives),
        "follows": list(m.follows),
        "steps": [_step(s) for s in m.steps],
    }


def _step(s: Step) -> Json:
    body = asdict(s)
    if isinstance(s, FitSwitched):
        body["table"] = [{"when": when_to_json(when), "wire": wire} for when, wire in s.table]
    return {"do": STEP_NAMES[type(s)], **body}


def _finding(f: Finding) -> Json:
    return {
        "code": f.code,
        "severity": f.severity.value,
        "subject": f.subject,
        "what": f.what,
        "cure": f.cure,
        "where": str(f.where) if f.where is not None else None,
    }
