"""A push: bytes collected in RAM in chunks that can be sent again, kept over a lost link until they are committed.

Nothing here touches flash. No hardware.
"""

import binascii

from frogboard import methods, packing
from frogboard.reason import Refused, shown


class LinkError(Exception):
    """An answer of the link that is an error: its code (see `methods.ERRORS`) and the message."""

    def __init__(self, code: int, message: str) -> None:
        super().__init__(code, message)
        self.code = code
        self.message = message


class Push:
    """At most one push at a time; `what` is None where there is none."""

    def __init__(self) -> None:
        self.what: "str | None" = None
        self.size = 0
        """Bytes to come."""
        self.crc32 = ""
        self.at = 0
        self._data = bytearray(0)
        self._whole = 0
        """Bytes of all, unpacked."""

    def begin(self, what: str, size: int, crc32: str, packed: int) -> int:
        """Begin, or go on with the same: `size` bytes, or so many `packed` ones (0: not packed). How many are held.

        Raises LinkError.
        """
        if packed and not packing.able():
            raise LinkError(methods.REFUSED, "this firmware can't unpack")
        coming = packed or size
        if (what, coming, size, crc32) == (self.what, self.size, self._whole, self.crc32):
            return self.at
        try:
            data = bytearray(coming)
        except MemoryError:
            raise LinkError(methods.REFUSED, "no room for %d bytes" % coming)
        self._data = data
        self.what, self.size, self._whole = what, coming, size
        self.crc32, self.at = crc32, 0
        return 0

    def chunk(self, at: int, data: str) -> int:
        """Take base64 `data` at `at`. How many bytes are held. Raises LinkError."""
        if self.what is None:
            raise LinkError(methods.OUT_OF_ORDER, "no push has begun")
        try:
            part = binascii.a2b_base64(data)
        except ValueError:
            raise LinkError(methods.BAD_PARAMS, "data: not base64")
        if len(part) > methods.CHUNK_BYTES or at + len(part) > self.size:
            raise LinkError(methods.OUT_OF_ORDER, "more than was announced, or a chunk too long")
        if at > self.at:
            raise LinkError(methods.OUT_OF_ORDER, "expected at %d" % self.at)
        self._data[at : at + len(part)] = part
        self.at = max(self.at, at + len(part))
        return self.at

    def whole(self, crc32: str) -> bytearray:
        """All bytes, if they are there and fit. Raises LinkError."""
        if self.what is None:
            raise LinkError(methods.OUT_OF_ORDER, "no push has begun")
        if crc32 != self.crc32:
            raise LinkError(methods.OUT_OF_ORDER, "the push under way has another CRC")
        if self.at < self.size:
            raise LinkError(methods.OUT_OF_ORDER, "only %d of %d bytes are here" % (self.at, self.size))
        data = self._data
        try:
            if self.size != self._whole:
                data = packing.unpack(data, self._whole)
            fits = "%08x" % (binascii.crc32(data) & 0xFFFFFFFF) == crc32
        except ValueError:
            fits = False
        except MemoryError:
            raise LinkError(methods.REFUSED, "no room for %d bytes" % self._whole)
        if not fits:
            self.drop()
            raise LinkError(methods.BAD_CRC, "the bytes do not have that CRC; begin again")
        return data

    def drop(self) -> None:
        """Forget it."""
        self.what = None
        self.size = self._whole = 0
        self.crc32 = ""
        self.at = 0
        self._data = bytearray(0)


def check_params(method: "methods.Method", raw: object) -> "dict[str, object]":
    """The parameters, each of its kind and in its range; optional ones that are missing are left out.

    Raises Refused with the parameter's name.
    """
    params = {} if raw is None else raw
    if not isinstance(params, dict):
        raise Refused("params", "not an object")
    known = [p.name for p in method.params]
    for key in params:
        if key not in known:
            raise Refused(shown(key), "no such parameter")
    for p in method.params:
        if p.name not in params:
            if not p.optional:
                raise Refused(p.name, "missing")
            continue
        value = params[p.name]
        if p.kind == "int":
            good = type(value) is int and p.low <= value <= p.high
        elif p.kind == "flag":
            good = type(value) is bool
        elif p.kind == "choice":
            good = value in p.options
        else:
            good = type(value) is str and p.low <= len(value) <= p.high
        if not good:
            raise Refused(p.name, "not " + expected(p))
    return params


def expected(p: "methods.Param") -> str:
    """What a parameter may be, in words."""
    if p.kind == "int":
        return "a whole number from %d to %d" % (p.low, p.high)
    if p.kind == "flag":
        return "true or false"
    if p.kind == "choice":
        return "one of " + ", ".join(p.options)
    return "a text of %d to %d characters" % (p.low, p.high)
