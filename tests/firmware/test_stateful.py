"""Random walks through bigger boards than can be walked through whole: every rule checked after every tick."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

sys.path.insert(0, str(Path(__file__).parent / "plain"))

import documents
from explorer import World

from frogboard import frame, guard
from frogboard import settings as board_settings
from frogboard.drive import WAIT

ENDS = (1000, 1040)


def _moves(drive: int) -> list[dict[str, int]]:
    return documents.strict_moves(drive, ENDS, lead_ms=30, lag_ms=60)


def _drives(count: int, rest: str) -> list[dict[str, Any]]:
    return [documents.servo(f"D{i}", i, ENDS, travel_ms=200, lag_ms=60, rest=rest) for i in range(count)]


def _pair(i: int, drive: int, **more: Any) -> dict[str, Any]:
    values: dict[str, Any] = {"dead_ms": 30, "release_ms": 30, "operate_ms": 20, "bounce_ms": 0, "retry_ms": 100}
    return documents.pair(f"F{i}", 16 + 2 * i, 17 + 2 * i, documents.follow(drive), _moves(drive), **{**values, **more})


def _document(rest: str, moving: int, third_kind: str, try_other: bool) -> dict[str, Any]:
    """Three servos: a pair each for two of them, and one feed that all three decide, of any kind."""
    rows = [
        {"when": [[0, 0], [1, 0]], "feed": "A"},
        {"when": [[0, 0], [1, 1], [2, 0]], "feed": "B"},
        {"when": [[0, 1], [2, 1]], "feed": "B"},
    ]
    moves = [m for d in range(3) for m in _moves(d)]
    enable = third_kind == "enable"
    if third_kind == "bare":
        over = [m for d in range(3) for m in documents.middle_moves(d, ENDS)]
        third = documents.changeover("X", 22, "B", rows, over, release_ms=30, operate_ms=20, bounce_ms=0, bonded=True)
    elif enable:
        third = documents.changeover("X", 22, "B", rows, moves, release_ms=30, operate_ms=20, bounce_ms=0, enable=0)
    else:
        third = documents.pair("X", 22, 23, rows, moves, dead_ms=30, release_ms=30, operate_ms=0, bounce_ms=0)
    return documents.document(
        _drives(3, rest),
        [_pair(0, 0, try_other=try_other, bonded=try_other), _pair(1, 1), third],
        tick_ms=20,
        max_moving=moving,
        groups=[{"name": "E", "out": {"pin": 26}, "release_ms": 30, "operate_ms": 20}] if enable else [],
        trips=[{"name": "K", "input": {"pin": 20}, "watches": [0, 1, 2] if third_kind == "bare" else [0, 1]}],
    )


class Railway(RuleBasedStateMachine):
    """Somebody throws, cuts, trips and resets as they like."""

    world: World

    @initialize(
        rest=st.sampled_from(["hold", "release"]),
        moving=st.integers(1, 3),
        third=st.sampled_from(["pair", "enable", "bare"]),
        try_other=st.booleans(),
        known=st.booleans(),
    )
    def begin(self, rest: str, moving: int, third: str, try_other: bool, known: bool) -> None:
        guard.GOOD_MS = 60
        self.world = World(_document(rest, moving, third, try_other), speed_us=6, known=known)
        self.moving = moving

    @rule(ticks=st.integers(1, 25))
    def wait(self, ticks: int) -> None:
        for _ in range(ticks):
            self.world.tick()

    @rule(drive=st.integers(0, 2), to=st.integers(0, 1))
    def throw(self, drive: int, to: int) -> None:
        self.world.control.orders.throw(drive, to)

    @rule()
    def flash_fails(self) -> None:
        self.world.flash_works = False
        self.world.tick()

    @rule()
    def power_cut(self) -> None:
        self.world.cut()

    @rule()
    def trip(self) -> None:
        self.world.strike(0)
        self.world.tick()

    @rule()
    def all_off(self) -> None:
        self.world.control.orders.turn_all_off()

    @rule()
    def reset(self) -> None:
        self.world.control.orders.reset()

    @precondition(lambda self: hasattr(self, "world"))
    @rule()
    def comes_to_rest(self) -> None:
        for _ in range(600):
            self.world.tick()
            if self.world.control.idle:
                break
        else:
            raise AssertionError("it never comes to rest")
        control = self.world.control
        for f, feed in enumerate(control.feeds):
            if feed.fault or feed.all_off or feed.flipped:
                continue
            assert self.world.told(f) == feed.want or not feed.out.has_off, "at rest and not at what its table says"

    @invariant()
    def budget(self) -> None:
        if hasattr(self, "world"):
            moving = sum(1 for d in self.world.control.drives if d.phase > 1)
            assert moving <= self.moving

    @invariant()
    def no_long_wait(self) -> None:
        if hasattr(self, "world"):
            for drive in self.world.control.drives:
                assert drive.phase != WAIT or drive._done_ms < 1000, "waits for what never is"


TestRailway = Railway.TestCase
LONGER = 10 if os.environ.get("FROGFEED_LONG", "0") not in ("", "0") else 1
TestRailway.settings = settings(max_examples=50 * LONGER, stateful_step_count=30, deadline=None)

SOUND = documents.sealed(documents.simple(3))


@given(st.data())
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_settings_changed_anywhere_are_taken_whole_or_refused_with_a_reason(data: st.DataObject) -> None:
    """The document is sealed again after the change, so that the check behind the CRC is what answers."""
    doc = json.loads(SOUND)
    del doc["crc32"]
    values = st.one_of(
        st.none(), st.booleans(), st.integers(-(2**70), 2**70), st.floats(allow_nan=False), st.text(max_size=5),
        st.lists(st.integers(0, 40), max_size=3), st.just({}),
    )  # fmt: skip
    for _ in range(data.draw(st.integers(1, 3))):
        at: Any = doc
        while True:
            keys = sorted(at) if isinstance(at, dict) else list(range(len(at)))
            if not keys:
                break
            key = data.draw(st.sampled_from(keys))
            deeper = isinstance(at[key], (dict, list)) and len(at[key]) and data.draw(st.integers(0, 3))
            if not deeper:
                if data.draw(st.booleans()):
                    at[key] = data.draw(values)
                elif isinstance(at, dict):
                    del at[key]
                break
            at = at[key]
    checked, reason = board_settings.load(board_settings.seal(json.dumps(doc or {"x": 0})))
    assert (checked is None) != (reason is None)
    if reason is not None:
        assert ": " in reason and len(reason) < 300


@given(st.binary(max_size=200), st.integers(0, 10**6))
@settings(max_examples=100, deadline=None)
def test_no_bytes_between_lines_are_taken_for_a_line(noise: bytes, number: int) -> None:
    line = frame.pack({"jsonrpc": "2.0", "id": number, "method": "hello"})
    reader = frame.LineReader()
    taken = [reader.text() for byte in noise.replace(b"\n", b" ") + b"\n" + line if reader.put(byte)]
    assert len(taken) == 1 and json.loads(taken[0])["id"] == number
