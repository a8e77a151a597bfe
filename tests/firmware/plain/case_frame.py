from frogboard import frame
from frogboard.methods import MAX_LINE


def feed(reader, data):
    """The texts of the good lines in `data`."""
    return [reader.text() for byte in data if reader.put(byte)]


def test_published_check_values():
    assert frame.tail(b"123456789") == b" cbf43926\n"
    assert frame.tail(b"") == b" 00000000\n"
    assert len(frame.tail(b"any message")) == frame.TAIL_BYTES


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
    for junk in (b"", b"MicroPython v1.25\r\n>>> ", bytes(range(256)), line[:20], b"x" * 5000, b"\n\n\n", b" cbf43926"):
        reader = frame.LineReader()
        assert len(feed(reader, junk + b"\n" + line)) == 1


def test_the_longest_line_is_taken_and_one_byte_more_is_not():
    for extra, taken in ((0, 1), (1, 0)):
        text = b"a" * (MAX_LINE - frame.TAIL_BYTES + extra)
        line = text + frame.tail(text)
        assert len(line) == MAX_LINE + extra
        assert len(feed(frame.LineReader(), line)) == taken


def test_lengths_around_the_blocks_of_a_usb_port():
    for n in (1, 2, 57, 58, 59, 63, 64, 65, 127, 128, 129):
        text = b"b" * n
        assert feed(frame.LineReader(), text + frame.tail(text)) == ["b" * n]


def test_a_carriage_return_before_the_newline_is_nothing():
    line = frame.pack({"jsonrpc": "2.0", "id": 1, "method": "hello"})
    reader = frame.LineReader()
    assert len(feed(reader, line[:-1] + b"\r\n" + b"\r\n" + line)) == 2 and reader.bad == 0


def test_a_line_with_other_than_printable_ascii_is_dropped_whatever_its_crc():
    for strange in (0, 9, 13, 27, 31, 127, 128, 255):
        text = b"a" + bytes([strange]) + b"b"
        reader = frame.LineReader()
        assert feed(reader, text + frame.tail(text)) == [] and reader.bad == 1


def test_a_line_comes_in_pieces_of_any_size():
    line = frame.pack({"jsonrpc": "2.0", "id": 1, "method": "hello"})
    for size in (1, 2, 7, 63, 64, 65, MAX_LINE):
        reader = frame.LineReader()
        taken = 0
        for _ in range(3):
            at = 0
            while at < len(line):
                piece = line[at : at + size]
                begin = reader.length
                reader.buffer[begin : begin + len(piece)] = piece
                taken += reader.took(begin + len(piece))
                at += size
        assert (taken, reader.good, reader.bad, reader.length) == (3, 3, 0, 0)


def test_a_message_too_long_is_refused():
    try:
        frame.pack({"data": "a" * MAX_LINE})
    except ValueError:
        return
    raise AssertionError("packed")
