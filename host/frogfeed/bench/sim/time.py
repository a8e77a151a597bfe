"""The board's `time`, on the bench's clock. Ticks wrap at 2^30 as they do on the board."""

from bench_state import KERNEL as _K
from bench_state import REAL as _REAL
from bench_state import TICK_US as _TICK_US
from bench_state import TICKS_START_US as _START
from kernel import CALL_US as _COST

TICKS_MASK = (1 << 30) - 1
_HALF = 1 << 29

if _REAL:

    def sleep_us(us):
        """Sleep for whole microseconds."""
        _K.sleep_real(us if us > 0 else 0)

    def ticks_us():
        """Microseconds, wrapping."""
        return (_K.sync() + _START) & TICKS_MASK

    def ticks_ms():
        """Milliseconds, wrapping."""
        return (_K.sync() + _START) // 1000 & TICKS_MASK

else:

    def sleep_us(us):
        """Sleep for whole microseconds."""
        at = _K.now + (us if us > 0 else 0)
        if at < _K.next:
            _K.now = at
        else:
            _K.advance(at)

    def sleep_idle_ms(ms):
        """For a clock that can skip: sleep to the firmware's own next deadline, or until something comes in."""
        _K.sleep_idle(ms * 1000, _TICK_US)

    def ticks_us():
        """Microseconds, wrapping."""
        at = _K.now + _COST
        if at < _K.next:
            _K.now = at
        else:
            _K.advance(at)
        return (at + _START) & TICKS_MASK

    def ticks_ms():
        """Milliseconds, wrapping."""
        at = _K.now + _COST
        if at < _K.next:
            _K.now = at
        else:
            _K.advance(at)
        return (at + _START) // 1000 & TICKS_MASK


def sleep_ms(ms):
    """Sleep for whole milliseconds."""
    sleep_us(ms * 1000)


def sleep(seconds):
    """Sleep for seconds, fractions allowed."""
    sleep_us(int(seconds * 1000000))


def ticks_cpu():
    """The finest ticks there are: microseconds."""
    return ticks_us()


def ticks_add(ticks, delta):
    """Ticks so much later (or earlier), wrapped."""
    return (ticks + delta) & TICKS_MASK


def ticks_diff(end, start):
    """The signed distance of two ticks less than half the period apart."""
    return ((end - start + _HALF) & TICKS_MASK) - _HALF


def time():
    """Seconds since power-on: the board has no calendar."""
    return _K.now // 1000000


def time_ns():
    """Nanoseconds since power-on."""
    return _K.now * 1000


def gmtime(seconds=None):
    """The calendar of a board that was never told the date."""
    total = time() if seconds is None else seconds
    return (1970, 1, 1 + total // 86400, total // 3600 % 24, total // 60 % 60, total % 60, 3, 1)


localtime = gmtime
