import binascii
import json

from frogboard import frame, methods, packing
from frogboard.board import Board
from frogboard.link import Link
from frogboard.store import Store

from documents import document, sealed, servo, simple
from fake_flash import fresh


class Port:
    """A serial port: what the laptop wrote, and room for what the board writes."""

    def __init__(self):
        self.incoming = bytearray()
        self.outgoing = bytearray()
        self.room = 1 << 30
        self._line = b""
        self._sent = 0

    def receive(self, into, at, most):
        while most and self.incoming:
            byte = self.incoming[0]
            self.incoming = self.incoming[1:]
            into[at] = byte
            at += 1
            most -= 1
            if byte == 10:
                break
        return at

    @property
    def sending(self):
        return self._sent < len(self._line)

    def send(self, line):
        assert not self.sending, "a message is sent over another"
        assert len(line) <= methods.MAX_LINE and line[-1] == 10
        self._line, self._sent = line, 0

    def push(self, most):
        taken = min(most, self.room, len(self._line) - self._sent)
        if taken:
            self.room -= taken
            self.outgoing += self._line[self._sent : self._sent + taken]
            self._sent += taken
        return taken


class Bench:
    """A board with a control that runs, a link, and a laptop that talks to it."""

    def __init__(self, doc=None, root=None):
        self.root = fresh("link") if root is None else root
        self.store = Store(self.root)
        if doc is not None:
            self.store.commit_settings(sealed(doc))
        self.start()
        self.next_id = 1
        self.notes = []

    def start(self):
        self.board = Board(self.store, "e6614103e7452d2f", "power")
        self.board.load()
        self.port = Port()
        self.reader = frame.LineReader()
        self.link = Link(self.port, self.board)
        self.board.lines = lambda: self.link.counts()

    def tick(self):
        if self.board.control is not None:
            self.board.control.step(5)
            self.board.save()
        self.board.tick(5)
        self.link.step(False)

    def run(self, ms):
        for _ in range(ms // 5):
            self.tick()

    def lines(self):
        data = bytes(self.port.outgoing)
        self.port.outgoing = bytearray()
        reader = self.reader
        found = [json.loads(reader.text()) for byte in data if reader.put(byte)]
        assert reader.bad == 0
        return found

    def ask(self, method, **params):
        """The result, or the code of the error."""
        ident, self.next_id = self.next_id, self.next_id + 1
        request = {"jsonrpc": "2.0", "id": ident, "method": method, "params": params}
        self.port.incoming += frame.pack(request)
        for _ in range(400):
            self.tick()
            for line in self.lines():
                if "id" in line:
                    assert line["id"] == ident
                    self.error = line.get("error")
                    return line["error"]["code"] if "error" in line else line["result"]
                self.notes.append(line)
        raise AssertionError("no answer to " + method)

    def push(self, what, text, chunk=methods.CHUNK_BYTES):
        crc = "%08x" % (binascii.crc32(text) & 0xFFFFFFFF)
        at = self.ask("push.begin", what=what, size=len(text), crc32=crc)["at"]
        while at < len(text):
            data = binascii.b2a_base64(text[at : at + chunk]).decode().strip()
            at = self.ask("push.chunk", at=at, data=data)["at"]
        return self.ask("push.commit", crc32=crc)

    def pull(self, what):
        found = b""
        while True:
            part = self.ask("pull", what=what, at=len(found))
            found += binascii.a2b_base64(part["data"])
            if len(found) >= part["size"]:
                return found


def known(doc):
    bench = Bench(doc)
    for d in range(len(doc["drives"])):
        bench.ask("throw", drive="D%d" % (d + 1), to="left")
    bench.run(5000)
    return bench


def test_an_empty_board_says_hello_and_takes_a_push():
    bench = Bench()
    hello = bench.ask("hello")
    assert hello["settings"] is None and hello["reason"] == "none stored" and hello["board"] is None
    assert bench.ask("throw", drive="D1", to="left") == methods.NO_SETTINGS
    assert bench.ask("state", part="drives") == methods.NO_SETTINGS
    assert bench.ask("state", part="board")["items"][0]["name"] is None
    text = sealed(simple(2))
    assert bench.push("settings", text)["committed"] == "settings"
    assert bench.board.restart == "reload"
    bench.start()
    hello = bench.ask("hello")
    assert hello["settings"] == text[10:18].decode() and hello["board"] == "B1"
    assert bench.pull("settings") == text


def test_every_result_has_the_keys_of_the_table():
    bench = known(simple(1))
    calls = {
        "hello": {},
        "state": {"part": "drives"},
        "throw": {"drive": "D1", "to": "left"},
        "trim": {"drive": "D1", "setting": "left", "pulse_us": 1010, "keep": True},
        "watch": {"every_ms": 0},
        "all_off": {},
        "feed.reset": {},
        "push.begin": {"what": "layout", "size": 3, "crc32": "352441c2"},
        "push.chunk": {"at": 0, "data": "YWJj"},
        "push.commit": {"crc32": "352441c2"},
        "push.status": {},
        "pull": {"what": "layout", "at": 0},
        "maintenance": {},
        "reset": {},
    }
    for method in methods.METHODS:
        bench.run(3000)
        result = bench.ask(method.name, **calls[method.name])
        assert type(result) is dict, (method.name, bench.error)
        assert sorted(result) == sorted(key for key, _ in method.result), method.name
        bench.board.restart = ""
    parts = {}
    for part, key, _ in methods.STATE_ITEMS:
        parts.setdefault(part, []).append(key)
    for part in methods.PARTS:
        for item in bench.ask("state", part=part)["items"]:
            assert sorted(item) == sorted(parts[part]), part


def test_events_have_the_parameters_of_the_table():
    bench = known(simple(1))
    bench.ask("all_off")
    bench.run(50)
    bench.ask("feed.reset")
    bench.ask("throw", drive="D1", to="right")
    bench.run(3000)
    bench.notes += bench.lines()
    table = {kind: [p for p, _ in params] for kind, _, params in methods.EVENTS}
    seen = [n["params"] for n in bench.notes if n["method"] == "event"]
    for params in seen:
        assert sorted(params) == sorted(table[params["kind"]] + ["seq", "ms", "kind"]), params
    kinds = [p["kind"] for p in seen]
    for kind in ("start", "move", "rest", "feed", "all_off"):
        assert kind in kinds, kind
    numbers = [p["seq"] for p in seen]
    assert numbers == list(range(1, len(numbers) + 1)), "running numbers without a gap"


def test_throws_are_queued_or_refused_with_a_reason():
    bench = known(simple(2))
    assert bench.ask("throw", drive="D9", to="left") == methods.UNKNOWN_NAME
    assert bench.ask("throw", drive="D1", to="up") == methods.UNKNOWN_NAME
    assert "left and right" in bench.error["message"]
    assert bench.ask("throw", drive="D1") == methods.BAD_PARAMS
    assert bench.ask("throw", drive="D1", to=3) == methods.BAD_PARAMS
    assert bench.ask("throw", drive="D1", to="right", now=True) == methods.BAD_PARAMS
    assert bench.ask("throw", drive="D1", to="right") == {"queued": 1}
    assert bench.ask("throw", drive="D2", to="right")["queued"] == 2
    bench.run(200)
    assert bench.ask("trim", drive="D2", setting="left", pulse_us=1010, keep=False) == methods.BUSY
    assert bench.ask("reset") == methods.BUSY
    bench.run(4000)
    items = bench.ask("state", part="drives")["items"]
    assert [i["at"] for i in items] == ["right", "right"]


def test_a_flipped_feed_state():
    bench = known(simple(1))
    assert bench.ask("state", part="feeds")["items"] == [
        {"name": "T1.F", "is": "B", "want": "B", "fault": None, "trips": 0}
    ]
    assert bench.ask("all_off") == {"off": 1, "held": 0}
    assert bench.ask("state", part="feeds")["items"][0]["is"] == "off"
    assert bench.ask("feed.reset", feed="T9") == methods.UNKNOWN_NAME


def test_state_comes_in_pages_that_fit_the_line():
    drives = [
        servo("drive-with-a-rather-long-name-%02d" % i, out={"kind": "pca9685", "chip": 0, "channel": i})
        for i in range(16)
    ]
    doc = document(drives, [])
    doc["buses"] = [{"sda": 4, "scl": 5, "hz": 400000}]
    doc["chips"] = [{"kind": "pca9685", "bus": 0, "address": 0x40, "oe_pin": 6}]
    bench = Bench(doc)
    names = []
    start = 0
    while start >= 0:
        page = bench.ask("state", part="drives", start=start)
        names += [item["name"] for item in page["items"]]
        start = page["next"]
    assert names == [d["name"] for d in drives]


def test_a_push_goes_on_where_it_was_cut_off():
    bench = Bench()
    text = sealed(simple(3))
    crc = "%08x" % (binascii.crc32(text) & 0xFFFFFFFF)
    begin = {"what": "settings", "size": len(text), "crc32": crc}
    assert bench.ask("push.begin", **begin)["at"] == 0
    data = binascii.b2a_base64(text[:480]).decode().strip()
    assert bench.ask("push.chunk", at=0, data=data) == {"at": 480}
    assert bench.ask("push.chunk", at=0, data=data) == {"at": 480}, "a second time does no harm"
    assert bench.ask("push.chunk", at=500, data=data) == methods.OUT_OF_ORDER
    assert bench.ask("push.commit", crc32=crc) == methods.OUT_OF_ORDER
    assert bench.ask("push.status") == {"what": "settings", "size": len(text), "crc32": crc, "at": 480}
    bench.link = Link(bench.port, bench.board)
    assert bench.ask("push.begin", **begin)["at"] == 480
    assert bench.push("settings", text)["crc32"] == crc


def test_wrong_bytes_are_refused_and_leave_the_old_settings():
    old = sealed(simple(1))
    bench = Bench(simple(1))
    new = bytearray(sealed(simple(2)))
    crc = "%08x" % (binascii.crc32(new) & 0xFFFFFFFF)
    new[100] ^= 1
    bench.ask("push.begin", what="settings", size=len(new), crc32=crc)
    for at in range(0, len(new), 480):
        bench.ask("push.chunk", at=at, data=binascii.b2a_base64(new[at : at + 480]).decode().strip())
    assert bench.ask("push.commit", crc32=crc) == methods.BAD_CRC
    bad = simple(2)
    bad["feeds"][1]["dead_ms"] = 1
    assert bench.push("settings", sealed(bad)) == methods.BAD_SETTINGS
    assert "feeds[1].dead_ms" in bench.error["message"]
    assert bench.push("settings", b"no settings at all") == methods.BAD_SETTINGS
    assert bench.pull("settings") == old and not bench.board.restart


def test_the_layout_text_comes_back_byte_for_byte():
    bench = known(simple(1))
    text = "".join("# Kai \xe4 %d\n" % i for i in range(300)).encode()
    before = bench.ask("state", part="feeds")["items"][0]["is"]
    assert bench.push("layout", text)["committed"] == "layout"
    assert bench.pull("layout") == text
    bench.run(200)
    assert bench.ask("state", part="feeds")["items"][0]["is"] == before == "B"


def test_what_is_pulled_is_what_was_pushed_last():
    bench = Bench(simple(1))
    for text in (b"one\n" * 300, b"two\n" * 200):
        bench.push("layout", text)
        assert bench.ask("pull", what="layout", at=480)["size"] == len(text)
        assert bench.pull("layout") == text
        assert bench.pull("settings") == sealed(simple(1))


TEXT = b"[turnout.T1]\nmake = 'live-frog'\n" * 60
PACKED = binascii.a2b_base64("SMeLLiktyssvLdELMYzlyk3MTlWwVVDPySxL1U0ryk9X54oelR+VH5UflR+VH5Uflae6PAB/GHrP")
PACKED_ONE_MORE = binascii.a2b_base64(
    "SMeLLiktyssvLdELMYzlyk3MTlWwVVDPySxL1U0ryk9X54oelR+VH5UflR+VH5Uflae6vDIA+gp68g=="
)
PACKED_ZEROS = binascii.a2b_base64("SMftwQEBAAAAgJD+r+4ICgAAAAAAAAAYH0AAAQ==")
"""TEXT, TEXT with a # behind it, and 8000 zero bytes, packed by zlib with a window of 4 KB."""


def push_packed(bench, text, stream, crc=None):
    crc = "%08x" % (binascii.crc32(text) & 0xFFFFFFFF) if crc is None else crc
    begun = bench.ask("push.begin", what="layout", size=len(text), crc32=crc, packed=len(stream))
    if not isinstance(begun, dict):
        return begun
    at = begun["at"]
    while at < len(stream):
        data = binascii.b2a_base64(stream[at : at + methods.CHUNK_BYTES]).decode().strip()
        at = bench.ask("push.chunk", at=at, data=data)["at"]
    return bench.ask("push.commit", crc32=crc)


def test_a_push_may_come_packed_where_the_board_can_unpack():
    bench = known(simple(1))
    assert bench.ask("hello")["packs"] == packing.able()
    if not packing.able():
        assert push_packed(bench, TEXT, PACKED) == methods.REFUSED
        return
    assert push_packed(bench, TEXT, PACKED)["committed"] == "layout"
    assert bench.pull("layout") == TEXT
    for text, stream in (
        (TEXT[:-1], PACKED),
        (TEXT + b"x", PACKED),
        (TEXT, PACKED[:-9]),
        (TEXT, bytes((n * 97 + 13) & 255 for n in range(500))),
        (TEXT, PACKED_ONE_MORE),
        (bytes(100), PACKED_ZEROS),
    ):
        assert push_packed(bench, text, stream) == methods.BAD_CRC
        assert bench.pull("layout") == TEXT, "what was there is there still"
    assert push_packed(bench, TEXT + b"#", PACKED_ONE_MORE)["committed"] == "layout"


def test_what_is_asked_after_a_commit_is_answered_by_the_new_settings():
    bench = known(simple(1))
    new = sealed(simple(2))
    crc = "%08x" % (binascii.crc32(new) & 0xFFFFFFFF)
    bench.ask("push.begin", what="settings", size=len(new), crc32=crc)
    for at in range(0, len(new), methods.CHUNK_BYTES):
        data = binascii.b2a_base64(new[at : at + methods.CHUNK_BYTES]).decode().strip()
        bench.ask("push.chunk", at=at, data=data)
    for ident, method, params in ((900, "push.commit", {"crc32": crc}), (901, "hello", {})):
        message = {"jsonrpc": "2.0", "id": ident, "method": method, "params": params}
        bench.port.incoming += frame.pack(message)
    answers = []
    for _ in range(400):
        bench.tick()
        answers += [line["id"] for line in bench.lines() if "id" in line]
    assert answers == [900] and bench.board.restart, "the loop has to start anew before the next one"
    bench.board.restart = ""
    bench.board.load()
    bench.run(100)
    hello = [line["result"] for line in bench.lines() if line.get("id") == 901]
    assert hello and hello[0]["settings"] == new[10:18].decode()


def test_no_commit_while_a_drive_moves():
    bench = known(simple(1))
    bench.ask("throw", drive="D1", to="right")
    bench.run(100)
    assert bench.push("settings", sealed(simple(2))) == methods.BUSY
    bench.run(3000)
    assert bench.ask("push.status")["at"] > 0, "kept for another try"


def test_bad_requests_are_answered_and_noise_is_not():
    bench = Bench(simple(1))

    def raw(text):
        data = text.encode()
        bench.port.incoming += data + frame.tail(data)
        bench.run(50)
        return [line for line in bench.lines() if "error" in line]

    cases = (
        ("not json", methods.PARSE),
        ("[]", methods.NO_REQUEST),
        ("{}", methods.NO_REQUEST),
        ('{"jsonrpc":"2.0","method":"hello"}', methods.NO_REQUEST),
        ('{"jsonrpc":"2.0","method":"hello","id":"1"}', methods.NO_REQUEST),
        ('{"jsonrpc":"2.0","method":"hello","id":1.5}', methods.NO_REQUEST),
        ('{"jsonrpc":"2.0","method":"hello","id":99999999999}', methods.NO_REQUEST),
        ('{"jsonrpc":"2.0","method":"_about","id":1}', methods.NO_METHOD),
        ('{"jsonrpc":"2.0","method":"hello","id":1,"params":[1]}', methods.BAD_PARAMS),
        ("[" * 900, methods.PARSE),
    )
    for text, code in cases:
        errors = raw(text)
        assert len(errors) == 1 and errors[0]["error"]["code"] == code, (text, errors)
    bench.port.incoming += b"hello\n\x00\xff\x03\n" + b"y" * 3000 + b"\n"
    bench.run(200)
    assert bench.lines() == []
    assert bench.ask("state", part="board")["items"][0]["bad_lines"] == 3


def test_a_laptop_that_does_not_read_stops_nothing():
    bench = known(simple(1))
    bench.ask("watch", every_ms=50)
    bench.lines()
    last = bench.board.log.seq
    bench.port.room = 0
    for i in range(60):
        bench.port.incoming += frame.pack({"jsonrpc": "2.0", "id": i, "method": "hello"})
    control = bench.board.control
    for i in range(40):
        control.orders.throw(0, i % 2)
        bench.run(3000)
        assert control.drives[0].at == i % 2
    assert len(bench.board.log) == 64 and bench.board.log.dropped > 50
    bench.port.room = 1 << 30
    bench.run(5000)
    lines = bench.lines()
    answers = [line["id"] for line in lines if "id" in line]
    assert answers == list(range(60))
    numbers = [line["params"]["seq"] for line in lines if "method" in line]
    assert numbers == sorted(numbers)
    assert numbers[0] - last > 50, "a gap in the numbers tells of what was dropped"


def test_measurements_come_as_often_as_asked():
    doc = simple(1)
    doc["sensors"] = [{"name": "C1", "kind": "adc", "pin": 26, "na_per_count": 408000}]
    bench = known(doc)
    assert bench.ask("watch", every_ms=10) == {"every_ms": 50}
    bench.board.control.guard.reading[0] = 1000
    bench.lines()
    bench.run(1000)
    found = [line["params"] for line in bench.lines() if line.get("method") == "measure"]
    assert 15 <= len(found) <= 20
    assert sorted(found[0]) == sorted(key for key, _ in methods.MEASURE_PARAMS)
    assert found[-1]["ma"] == [408]
    bench.board.control.guard.reading[0] = -1
    bench.run(100)
    assert bench.lines()[-1]["params"]["ma"] == [None]


def test_trims_survive_a_restart_and_new_settings_end_them():
    bench = known(simple(1))
    assert bench.ask("trim", drive="D1", setting="left", pulse_us=1201, keep=True) == methods.REFUSED
    assert bench.ask("trim", drive="D1", setting="left", pulse_us=1050, keep=True) == {"pulse_us": 1050}
    bench.run(3000)
    bench.start()
    assert bench.ask("state", part="trims")["items"] == [{"drive": "D1", "setting": "left", "pulse_us": 1050}]
    assert bench.ask("state", part="drives")["items"][0]["at"] == "left"
    bench.push("settings", sealed(simple(1)))
    bench.start()
    assert bench.ask("state", part="trims")["items"] == []
