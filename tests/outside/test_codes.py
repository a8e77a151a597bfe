"""The codes of link and settings against other sources than ourselves.

Published check values: CRC-16/IBM-3740 (also called CCITT-FALSE) gives 29b1 and CRC-32/ISO-HDLC gives cbf43926 over the
digits 123456789, as the CRC catalogue at reveng.sourceforge.io lists them; the residues follow from the algorithms.
Any other input: the crcmod package, which has its own implementation.
"""

import zlib

import crcmod
from hypothesis import given
from hypothesis import strategies as st

from frogboard import frame, settings, store

crc16_of_crcmod = crcmod.mkCrcFun(0x11021, initCrc=0xFFFF, rev=False, xorOut=0)
crc32_of_crcmod = crcmod.mkCrcFun(0x104C11DB7, initCrc=0, rev=True, xorOut=0xFFFFFFFF)
CHECK = b"123456789"


def test_published_check_values() -> None:
    assert frame.crc16(CHECK) == 0x29B1
    assert store.crc_text(CHECK) == "cbf43926"
    assert frame.crc16(b"") == 0xFFFF
    assert frame.crc16(b"\x00") == 0xE1F0
    assert store.crc_text(b"") == "00000000"


def test_it_is_not_one_of_the_look_alikes() -> None:
    assert frame.crc16(CHECK) not in (0x31C3, 0xE5CC, 0x906E)  # XMODEM, start 1d0f, X-25


@given(st.binary(max_size=300))
def test_crc16_is_that_of_crcmod(data: bytes) -> None:
    crc = frame.crc16(data)
    assert crc == crc16_of_crcmod(data)
    assert frame.crc16(data + crc.to_bytes(2, "big")) == 0


@given(st.binary(max_size=300), st.binary(max_size=300))
def test_crc16_goes_on_from_an_earlier_part(one: bytes, other: bytes) -> None:
    assert frame.crc16(other, crc=frame.crc16(one)) == crc16_of_crcmod(one + other)


@given(st.binary(max_size=300))
def test_crc32_is_that_of_crcmod(data: bytes) -> None:
    assert store.crc_text(data) == f"{crc32_of_crcmod(data):08x}"
    assert zlib.crc32(data + crc32_of_crcmod(data).to_bytes(4, "little")) == 0x2144DF1C


@given(st.dictionaries(st.text(max_size=20), st.text(max_size=40) | st.integers(), min_size=1, max_size=8))
def test_the_tail_of_a_line_is_the_crc16_of_its_json(message: dict[str, object]) -> None:
    line = frame.pack(message)
    assert line.endswith(b" %04x\n" % crc16_of_crcmod(line[:-6]))
    assert all(0x20 <= byte <= 0x7E for byte in line[:-1])


@given(st.dictionaries(st.text("abc", min_size=1, max_size=5), st.integers(), min_size=1, max_size=5))
def test_the_seal_of_a_settings_document_is_the_crc32_of_what_follows_it(body: dict[str, int]) -> None:
    import json

    sealed = settings.seal(json.dumps(body))
    assert sealed[10:18].decode() == f"{crc32_of_crcmod(sealed[20:]):08x}"
    assert json.loads(sealed) == {"crc32": sealed[10:18].decode(), **body}


@given(st.binary(min_size=1, max_size=200), st.data())
def test_any_one_or_two_wrong_bits_are_seen(data: bytes, draw: st.DataObject) -> None:
    """CRC-16 with this polynomial finds all one- and two-bit errors in lines of this length (a known property)."""
    bits = draw.draw(st.sets(st.integers(0, len(data) * 8 - 1), min_size=1, max_size=2))
    wrong = bytearray(data)
    for bit in bits:
        wrong[bit // 8] ^= 1 << bit % 8
    assert frame.crc16(wrong) != frame.crc16(data)
