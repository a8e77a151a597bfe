from frogboard import frame
from frogboard.methods import MAX_LINE


def feed(reader, data):
    """The texts of the good lines in `data`."""
    return [reader.text() for byte in data if reader.put(byte)]


def test_published_check_values():
    assert frame.crc16(b"123456789") == 0x29B1
    assert frame.crc16(b"") == 0xFFFF
    assert frame.crc16(b"\0") == 0xE1F0
    whole = b"any message"
    crc = frame.crc16(whole)
    assert frame.crc16(whole + bytes([crc >> 8, crc & 255])) == 0


def test_a_packed_message_is_read_back():
    reader = frame.LineReader()
    lines = b"".join(frame.pack({"jsonrpc": "2.0", "id": i, "method": "hello"}) for i in range(3))
    texts = feed(reader, lines)
    assert len(texts) == 3 and '"id":2' in texts[2]
    assert (reader.good, reader.bad) == (3, 0)


def test_what_is_not_ascii_is_escaped():
    line = frame.pack({"name": "M\xf6we \U0001f682"})
    assert all(32 <= b <= 126 or b == 10 for b in line)
    import json

    text = feed(frame.LineReader(), line)[0]
    assert json.loads(text)["name"][1] == "\xf6"


def test_any_single_changed_byte_spoils_a_line():
    line = frame.pack({"jsonrpc": "2.0", "id": 1, "method": "all_off"})
    for at in range(len(line) - 1):
        for new in (line[at] ^ 1, line[at] ^ 0x20, 48, 0, 255):
            if new in (line[at], 10):
                continue
            reader = frame.LineReader()
            mutated = line[:at] + bytes([new]) + line[at + 1 :]
            texts = feed(reader, mutated + line)
            assert texts == feed(frame.LineReader(), line), "damage at %d was taken" % at
            assert reader.bad == 1


def test_noise_half_lines_and_boot_text_are_dropped_and_the_next_line_is_taken():
    line = frame.pack({"jsonrpc": "2.0", "id": 1, "method": "hello"})
    for junk in (b"", b"MicroPython v1.25\r\n>>> ", bytes(range(256)), line[:20], b"x" * 5000, b"\n\n\n", b" 29b1"):
        reader = frame.LineReader()
        assert len(feed(reader, junk + b"\n" + line)) == 1


def test_the_longest_line_is_taken_and_one_byte_more_is_not():
    for extra, taken in ((0, 1), (1, 0)):
        text = b"a" * (MAX_LINE - 6 + extra)
        line = text + b" %04x\n" % frame.crc16(text)
        assert len(line) == MAX_LINE + extra
        assert len(feed(frame.LineReader(), line)) == taken


def test_lengths_around_the_blocks_of_a_usb_port():
    for n in (1, 2, 57, 58, 59, 63, 64, 65, 127, 128, 129):
        text = b"b" * n
        assert feed(frame.LineReader(), text + b" %04x\n" % frame.crc16(text)) == ["b" * n]


def test_a_message_too_long_is_refused():
    try:
        frame.pack({"data": "a" * MAX_LINE})
    except ValueError:
        return
    raise AssertionError("packed")
