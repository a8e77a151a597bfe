"""What may come down the cable, or not: noise, floods, silence, a cable that is pulled."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from typing import Any

from frogboard import frame, methods, settings
from frogfeed.bench.cases.base import (
    Case,
    Outcome,
    again,
    changed_turnouts,
    ready,
    throw_and_wait,
    two_turnouts,
    verdict,
    wrongs,
)
from frogfeed.bench.link import client_of
from frogfeed.bench.setup import opened, seal_document
from frogfeed.board.errors import BoardError, PushFailed
from frogfeed.board.lines import request_line
from frogfeed.board.transfer import push

LINES = 1_000_000
SETTINGS = 10_000


def _lines(chance: random.Random) -> list[bytes]:
    """True requests of every kind."""
    return [
        request_line(chance.randrange(1 << 20), m.name, params)
        for m, params in (
            (next(m for m in methods.METHODS if m.name == name), p)
            for name, p in (
                ("hello", {}),
                ("state", {"part": "drives", "start": 0}),
                ("throw", {"drive": "T1", "to": "right"}),
                ("all_off", {}),
                ("feed.reset", {"feed": "T1.F"}),
                ("push.begin", {"what": "settings", "size": 1234, "crc32": "00000000"}),
                ("watch", {"every_ms": 500}),
            )
        )
    ]


def _mutated(line: bytes, chance: random.Random) -> bytes:
    """The line with some bytes changed, lost, doubled, or cut off."""
    data = bytearray(line)
    for _ in range(chance.randrange(1, 5)):
        at = chance.randrange(len(data)) if data else 0
        what = chance.randrange(5)
        if not data:
            break
        if what == 0:
            data[at] ^= 1 << chance.randrange(8)
        elif what == 1:
            data[at] = chance.randrange(256)
        elif what == 2:
            del data[at]
        elif what == 3:
            data.insert(at, chance.randrange(256))
        else:
            del data[at:]
    return bytes(data)


def mutated_lines() -> Outcome:
    """A million damaged lines through the firmware's own reader."""
    chance = random.Random(4)
    lines = _lines(chance)
    texts = {line[: -frame.TAIL_BYTES] for line in lines}
    reader = frame.LineReader()
    passed = 0
    problems: list[str] = []
    for _ in range(LINES):
        for byte in _mutated(chance.choice(lines), chance) + b"\n":
            if reader.put(byte):
                text = reader.text().encode()
                if text not in texts:
                    passed += 1
    sane = reader.put
    good = [sane(b) for b in lines[0]]
    if good[-1] is not True:
        problems.append("after the noise a true line is not taken any more")
    if passed:
        problems.append(f"{passed} wrong lines passed; chance alone lets one in {1 << 32} through")
    return verdict(problems, "none passed; chance alone lets one in 4,294,967,296 through", LINES)


def mutated_lines_on_the_board() -> Outcome:
    """Damaged lines of harmless requests poured into the real thing while it throws."""
    chance = random.Random(5)
    lines = [request_line(n, "hello", {}) for n in range(1, 40)]
    with two_turnouts().bench() as bench:
        client = ready(bench)
        client.request("throw", {"drive": "T2", "to": "right"})
        port = bench.serial()
        times = 0
        for _ in range(60):
            port.write(b"".join(_mutated(chance.choice(lines), chance) + b"\n" for _ in range(50)))
            times += 50
            bench.advance(60)
            port.read()
        bench.advance(25_000)  # a slow reader while drives move: the backlog takes its time
        port.read()
        port.write(b"\n")
        state = client.state()
        problems = wrongs(bench)
        if next(d.at for d in state.drives if d.name == "T2") != "right":
            problems.append("the throw under the noise did not arrive")
        return verdict(problems, f"the throw arrived; {state.board.bad_lines} lines dropped and counted", times)


def flood() -> Outcome:
    """Two thousand true requests at once while a drive moves."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        bench.serial().write(request_line(7, "throw", {"drive": "T2", "to": "right"}))
        bench.serial().write(b"".join(request_line(n, "state", {"part": "feeds"}) for n in range(1000, 3000)))
        began = bench.now_us
        bench.advance(4000)
        rests = [e for e in bench.log.where("rest", drive="T2") if e.t_us > began]
        problems = wrongs(bench)
        if not rests:
            problems.append("the throw did not arrive")
        bench.advance(60_000)
        bench.serial().read()
        state = client.state()
        late = state.board.late
        if late > 5:
            problems.append(f"{late} ticks came late")
        took = (rests[0].t_us - began) / 1e6 if rests else 0.0
        return verdict(problems, f"the throw took {took:.2f} s as ever, {late} ticks late", 2000)


def never_read() -> Outcome:
    """A program holds the port open, asks for measurements, and never reads, while the railway goes on."""
    with two_turnouts().bench() as bench:
        client = ready(bench)
        client.watch(50)
        port = bench.serial()
        port.listen(False)
        port.write(request_line(1, "throw", {"drive": "T2", "to": "right"}))
        bench.advance(20_000)
        arrived = bench.query()["drives"]["T2"] == 2
        button = bench.scenario["boards"][0]["inputs"][-1][0]
        for n in range(100):  # a finger on a button makes events without end
            bench.press(button, n % 2 == 0)
            bench.advance(100)
        problems = wrongs(bench)
        if not arrived:
            problems.append("the throw that was asked for before did not arrive")
        port.listen(True)
        bench.advance(5000)
        port.read()
        again(client)
        board = client.state().board
        if board.dropped == 0:
            problems.append("no event was dropped: the port was never full")
        if board.late:
            problems.append(f"{board.late} ticks came late")
        if bench.log.of("restart"):
            problems.append("the board was reset")
        return verdict(
            problems,
            f"the throw arrived, no tick late; {board.dropped} events dropped and counted; then the link answered",
        )


class _Recorder:
    """A serial side that keeps what is written to it."""

    def __init__(self) -> None:
        self.written: list[bytes] = []

    def __call__(self, data: bytes) -> bytes:
        self.written.append(data)
        return data


def cable_at_every_byte() -> Outcome:
    """A push of new settings, cut off after each of its bytes."""
    old, new = two_turnouts(), changed_turnouts()
    recorder = _Recorder()
    with old.bench() as bench:
        port = bench.serial()
        client = client_of(bench)
        client.connect()
        port.mangle(recorder)
        push(client, "settings", new.documents["B1"])
    stream = b"".join(recorder.written)
    was = old.documents["B1"][10:18].decode()
    problems: list[str] = []
    with old.bench() as bench:
        port = bench.serial()
        client = client_of(bench, step_ms=10)
        client.connect()
        # the last byte ends the commit's line, and so does the newline that every greeting begins with
        for count in range(len(stream) - 1):
            for at in range(0, count, 1500):
                port.write(stream[at : min(at + 1500, count)])
                bench.advance(40)
            port.plug(False)
            bench.advance(10)
            port.plug(True)
            hello = again(client)
            if hello.settings != was:
                problems.append(f"after {count} bytes: settings {hello.settings} ({hello.reason})")
                break
        problems += wrongs(bench)
    return verdict(problems, "the old settings stayed in force each time, and the link answered", len(stream))


def _damaged(document: dict[str, object], chance: random.Random) -> object:
    """The document with something changed, lost or added somewhere."""
    copy = json.loads(json.dumps(document))
    spots = list(_spots(copy))
    for _ in range(chance.randrange(1, 4)):
        owner, key = chance.choice(spots)
        values = [
            None,
            -1,
            0,
            1,
            2,
            47,
            1 << 31,
            -(1 << 40),
            0.5,
            "",
            "x" * 50,
            "T1",
            True,
            [],
            {},
            [[0, 0]],
            {"pin": 3},
        ]
        try:
            if chance.randrange(4) == 0:
                del owner[key]
            else:
                owner[key] = chance.choice(values)
        except (IndexError, KeyError, TypeError):
            continue
    return copy


def _spots(value: Any) -> Iterator[tuple[Any, Any]]:
    pairs = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in list(pairs):
        yield value, key
        yield from _spots(inner)


def mutated_settings() -> Outcome:
    """Ten thousand damaged settings documents, half of them with a CRC that fits, through the firmware's validator."""
    chance = random.Random(6)
    good = two_turnouts().documents["B1"]
    body = {k: v for k, v in json.loads(good).items() if k != "crc32"}
    problems: list[str] = []
    refused = taken = 0
    for n in range(SETTINGS):
        text = bytes(settings.seal(json.dumps(_damaged(body, chance)))) if n % 2 else _mutated(good, chance)
        try:
            document, reason = settings.load(text)
        except Exception as problem:
            problems.append(f"the validator raised {type(problem).__name__}: {problem}")
            continue
        if document is None:
            refused += 1
            if not reason or ":" not in reason:
                problems.append(f"refused without naming a key: {reason}")
        elif text != good and n % 2 == 0:
            problems.append("a damaged document passed its CRC")
        else:
            taken += 1
            again, _ = settings.load(seal_document(document))
            if again != document:
                problems.append("a document that was taken does not read back as itself")
    return verdict(problems, f"{refused} refused with the key named, {taken} harmlessly changed ones taken", SETTINGS)


def other_settings() -> Outcome:
    """Settings of another version, for another board, damaged, pushed to the real thing."""
    rig = two_turnouts()
    good = dict(opened(rig.documents["B1"]))
    with rig.bench() as bench:
        client = ready(bench)
        was = again(client).settings
        problems: list[str] = []
        seen = []
        cases = {
            "another version": seal_document({**good, "schema": settings.SCHEMA + 1}),
            "a pin used twice": seal_document({**good, "led_pin": 9}),
            "damaged": rig.documents["B1"][:-20] + b"x" * 20,
        }
        for name, text in cases.items():
            try:
                push(client, "settings", text)
                problems.append(f"settings of {name} were taken")
            except PushFailed as refusal:
                seen.append(f"{name}: {str(refusal).splitlines()[0]}")
            except (BoardError, ValueError) as refusal:
                seen.append(f"{name}: {str(refusal).splitlines()[0]}")
            if again(client).settings != was:
                problems.append(f"after settings of {name} the old ones are not in force")
        if throw_and_wait(bench, client, "T1", "right") != "right":
            problems.append("the board does not throw any more")
        problems += wrongs(bench)
        return verdict(problems, "refused, the old settings in force: " + "; ".join(seen), len(cases))


def settings_of_another_board() -> Outcome:
    """The laptop asks for one board's settings and meets another: nothing is sent."""
    from frogfeed.board.errors import WrongBoard
    from frogfeed.board.transfer import expected_from

    rig = two_turnouts()
    other = seal_document({**opened(rig.documents["B1"]), "board": "B9"})
    with rig.bench() as bench:
        client = client_of(bench)
        client.expected = expected_from(other)
        try:
            client.connect()
        except WrongBoard as refusal:
            return Outcome(True, str(refusal).splitlines()[0])
        return Outcome(False, "the client went on with the wrong board")


CASES = (
    Case("link", "1,000,000 mutated lines", "none is taken for another", mutated_lines),
    Case(
        "link", "mutated lines while a drive moves", "the throw goes on; they are dropped", mutated_lines_on_the_board
    ),
    Case("link", "a flood of valid requests while a drive moves", "the loop's timing does not depend on it", flood),
    Case(
        "link",
        "a host that holds the port open and never reads",
        "the railway goes on; the oldest events drop, counted",
        never_read,
    ),
    Case(
        "link", "cable pulled at every byte of a push", "the old settings stay, the link answers", cable_at_every_byte
    ),
    Case("settings", "mutated 10,000 ways", "refused with the key named; never an exception", mutated_settings),
    Case("settings", "another version, a clash of pins, damaged", "refused; the old ones in force", other_settings),
    Case("settings", "of another board", "the laptop refuses before anything is sent", settings_of_another_board),
)
