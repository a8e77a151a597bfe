"""The board's `time`, on the bench's clock. Ticks wrap at 2^30 as they do on the board."""

MYPY = False
"""True for the type checker alone, which knows the modules here by their package; a board by their bare names."""

if MYPY:
    from frogfeed.bench.sim.bench_state import KERNEL as _K
    from frogfeed.bench.sim.bench_state import REAL as _REAL
    from frogfeed.bench.sim.bench_state import TICK_US as _TICK_US
    from frogfeed.bench.sim.bench_state import TICKS_START_US as _START
    from frogfeed.bench.sim.kernel import CALL_US as _COST
else:
    from bench_state import KERNEL as _K
    from bench_state import REAL as _REAL
    from bench_state import TICK_US as _TICK_US
    from bench_state import TICKS_START_US as _START
    from kernel import CALL_US as _COST

TICKS_MASK = (1 << 30) - 1
_HALF = 1 << 29

if _REAL:

    def sleep_us(us: int) -> None:
        """Sleep for whole microseconds."""
        _K.sleep_real(us if us > 0 else 0)

    def ticks_us() -> int:
        """Microseconds, wrapping."""
        return (_K.sync() + _START) & TICKS_MASK

    def ticks_ms() -> int:
        """Milliseconds, wrapping."""
        return (_K.sync() + _START) // 1000 & TICKS_MASK

else:

    def sleep_us(us: int) -> None:
        """Sleep for whole microseconds."""
        at = _K.now + (us if us > 0 else 0)
        if at < _K.next:
            _K.now = at
        else:
            _K.advance(at)

    def sleep_idle_ms(ms: int) -> None:
        """For a clock that can skip: sleep to the firmware's own next deadline, or until something comes in."""
        _K.sleep_idle(ms * 1000, _TICK_US)

    def ticks_us() -> int:
        """Microseconds, wrapping."""
        at = _K.now + _COST
        if at < _K.next:
            _K.now = at
        else:
            _K.advance(at)
        return (at + _START) & TICKS_MASK

    def ticks_ms() -> int:
        """Milliseconds, wrapping."""
        at = _K.now + _COST
        if at < _K.next:
            _K.now = at
        else:
            _K.advance(at)
        return (at + _START) // 1000 & TICKS_MASK


def sleep_ms(ms: int) -> None:
    """Sleep for whole milliseconds."""
    sleep_us(ms * 1000)


def sleep(seconds: float) -> None:
    """Sleep for seconds, fractions allowed."""
    sleep_us(int(seconds * 1000000))


def ticks_cpu() -> int:
    """The finest ticks there are: microseconds."""
    return ticks_us()


def ticks_add(ticks: int, delta: int) -> int:
    """Ticks so much later (or earlier), wrapped."""
    return (ticks + delta) & TICKS_MASK


def ticks_diff(end: int, start: int) -> int:
    """The signed distance of two ticks less than half the period apart."""
    return ((end - start + _HALF) & TICKS_MASK) - _HALF


def time() -> int:
    """Seconds since power-on: the board has no calendar."""
    return _K.now // 1000000


def time_ns() -> int:
    """Nanoseconds since power-on."""
    return _K.now * 1000


def gmtime(seconds: "int | None" = None) -> "tuple[int, int, int, int, int, int, int, int]":
    """The calendar of a board that was never told the date."""
    total = time() if seconds is None else seconds
    return (1970, 1, 1 + total // 86400, total // 3600 % 24, total // 60 % 60, total % 60, 3, 1)


localtime = gmtime
