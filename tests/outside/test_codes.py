"""The codes of link and settings against other sources than ourselves.

Published check value: CRC-32/ISO-HDLC gives cbf43926 over the digits 123456789, as the CRC catalogue at
reveng.sourceforge.io lists it; the residue follows from the algorithm.
Any other input: the crcmod package, which has its own implementation.
"""

import zlib

import crcmod
from hypothesis import given
from hypothesis import strategies as st

from frogboard import frame, settings, store

crc32_of_crcmod = crcmod.mkCrcFun(0x104C11DB7, initCrc=0, rev=True, xorOut=0xFFFFFFFF)
CHECK = b"123456789"


def test_published_check_values() -> None:
    assert frame.tail(CHECK) == b" cbf43926\n"
    assert store.crc_text(CHECK) == "cbf43926"
    assert store.crc_text(b"") == "00000000"


def test_it_is_not_one_of_the_look_alikes() -> None:
    assert store.crc_text(CHECK) not in ("fc891918", "e3069283", "0376e6e7")  # BZIP2, ISCSI, MPEG-2


@given(st.binary(max_size=300))
def test_crc32_is_that_of_crcmod(data: bytes) -> None:
    assert store.crc_text(data) == f"{crc32_of_crcmod(data):08x}"
    assert zlib.crc32(data + crc32_of_crcmod(data).to_bytes(4, "little")) == 0x2144DF1C


@given(st.dictionaries(st.text(max_size=20), st.text(max_size=40) | st.integers(), min_size=1, max_size=8))
def test_the_tail_of_a_line_is_the_crc32_of_its_json(message: dict[str, object]) -> None:
    line = frame.pack(message)
    assert line.endswith(b" %08x\n" % crc32_of_crcmod(line[:-10]))
    assert all(0x20 <= byte <= 0x7E for byte in line[:-1])


@given(st.dictionaries(st.text("abc", min_size=1, max_size=5), st.integers(), min_size=1, max_size=5))
def test_the_seal_of_a_settings_document_is_the_crc32_of_what_follows_it(body: dict[str, int]) -> None:
    import json

    sealed = settings.seal(json.dumps(body))
    assert sealed[10:18].decode() == f"{crc32_of_crcmod(sealed[20:]):08x}"
    assert json.loads(sealed) == {"crc32": sealed[10:18].decode(), **body}


@given(st.binary(min_size=1, max_size=200), st.data())
def test_any_one_or_two_wrong_bits_are_seen(data: bytes, draw: st.DataObject) -> None:
    """CRC-32 with this polynomial finds all one- and two-bit errors in lines of this length (a known property)."""
    bits = draw.draw(st.sets(st.integers(0, len(data) * 8 - 1), min_size=1, max_size=2))
    wrong = bytearray(data)
    for bit in bits:
        wrong[bit // 8] ^= 1 << bit % 8
    assert frame.tail(wrong) != frame.tail(data)
