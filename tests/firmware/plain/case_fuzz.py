"""Lines and documents damaged in many ways: never taken for something else, never an exception."""

import json

from frogboard import frame, settings
from frogboard.link import _request
from frogboard.push import LinkError

from documents import sealed, simple

COUNT = 30000
"""Damaged lines in the ordinary run; `test_fuzz.py` makes it a million."""


class Random:
    """The same numbers under every interpreter (a linear congruence, Knuth's constants)."""

    def __init__(self, seed):
        self.state = seed

    def below(self, n):
        self.state = (self.state * 1664525 + 1013904223) & 0xFFFFFFFF
        return (self.state >> 8) % n


def damaged(random, line):
    """The line with one to four bytes changed, lost, doubled or swapped, or a burst of them."""
    data = bytearray(line)
    for _ in range(1 + random.below(4)):
        at = random.below(len(data))
        kind = random.below(5)
        if kind == 0:
            data[at] ^= 1 << random.below(8)
        elif kind == 1:
            data[at] = random.below(256)
        elif kind == 2:
            data = data[:at] + data[at + 1 + random.below(4) :]
        elif kind == 3:
            data = data[:at] + data[at : at + 3] + data[at:]
        else:
            data = data[:at] + bytes([random.below(256) for _ in range(random.below(6))]) + data[at:]
        if not data:
            return b"\n"
    return bytes(data)


def mutate(count, seed):
    """(damaged lines sent, lines whose CRC fits all the same, those of them that are other requests).

    A sound line after a damaged one must be taken.
    """
    random = Random(seed)
    lines = [
        frame.pack({"jsonrpc": "2.0", "id": 7, "method": "throw", "params": {"drive": "T1", "to": "left"}}),
        frame.pack({"jsonrpc": "2.0", "id": 8, "method": "all_off"}),
        frame.pack({"jsonrpc": "2.0", "id": 9, "method": "push.chunk", "params": {"at": 0, "data": "QUJD" * 8}}),
    ]
    reader = frame.LineReader()
    put = reader.put
    taken = commands = 0
    for i in range(count):
        line = lines[i % 3]
        bad = damaged(random, line)
        if bad == line:
            continue
        for byte in bad:
            if put(byte) and reader.text().encode() != line[: -frame.TAIL_BYTES]:
                taken += 1
                commands += is_request(reader.text())
        put(10)
        if i % 64 == 0:
            found = 0
            for byte in line:
                found += put(byte)
            assert found == 1, "a sound line after a damaged one is lost"
    return count, taken, commands


def is_request(text):
    try:
        _request(json.loads(text))
    except (ValueError, LinkError):
        return False
    return True


def test_damaged_lines():
    count, taken, commands = mutate(COUNT, 1)
    print("  %d damaged lines: the CRC fits %d, %d of them requests" % (count, taken, commands))
    assert taken == commands == 0


def test_damaged_documents():
    text = sealed(simple(2))
    random = Random(2)
    for _ in range(300):
        bad = damaged(random, text)
        doc, reason = settings.load(bad)
        assert (doc is None) == (reason is not None)
        assert doc is None or bad == text
        body = b"{" + bad[20:]
        if len(body) > 4:
            doc, reason = settings.load(settings.seal(body))
            assert (doc is None) == (reason is not None)
