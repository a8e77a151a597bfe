"""The board's `machine`, over the bench's simulated lines. What the firmware may use of it, as on the RP2 port."""

MYPY = False
"""True for the type checker alone, which knows the modules here by their package; a board by their bare names."""

if MYPY:
    from collections.abc import Callable, Iterable
    from typing import Any, NoReturn

    from frogfeed.bench.shapes import Data, Space
    from frogfeed.bench.sim.bench_state import KERNEL as _K
    from frogfeed.bench.sim.bench_state import LIFE as _LIFE
    from frogfeed.bench.sim.bench_state import WORLD as _W
    from frogfeed.bench.sim.kernel import CALL_US as _COST
    from frogfeed.bench.sim.physics.chip import Chip
    from frogfeed.bench.sim.physics.chips import Bus
else:
    from bench_state import KERNEL as _K
    from bench_state import LIFE as _LIFE
    from bench_state import WORLD as _W
    from kernel import CALL_US as _COST

PWRON_RESET = 1
HARD_RESET = 2
WDT_RESET = 3
DEEPSLEEP_RESET = 4
SOFT_RESET = 5

_BOARD = _W.board
_LINES = 48


def _number(pin: "Pin | str | int") -> int:
    if isinstance(pin, Pin):
        return pin.number
    if isinstance(pin, str):
        pin = 25 if pin == "LED" else int(pin[2:] if pin.startswith("GP") else pin)
    if not 0 <= pin < _LINES:
        raise ValueError("invalid pin")
    return pin


class Pin:
    """A pin. Not open-drain capable pins are not modelled: all can."""

    IN = 0
    OUT = 1
    OPEN_DRAIN = 2
    ALT = 3
    PULL_UP = 1
    PULL_DOWN = 2
    IRQ_RISING = 8
    IRQ_FALLING = 4

    def __init__(
        self,
        id: "Pin | str | int",
        mode: int = -1,
        pull: int = -1,
        *,
        value: "int | None" = None,
        drive: int = 0,
        alt: int = -1,
    ) -> None:
        self.number = _number(id)
        self._mode = 1 if _BOARD.driving[self.number] else 0
        if mode != -1 or pull != -1 or value is not None:
            self.init(mode, pull, value=value)

    def init(
        self, mode: int = -1, pull: int = -1, *, value: "int | None" = None, drive: int = 0, alt: int = -1
    ) -> None:
        """Set mode, pull and (first) the value to be driven."""
        n = self.number
        _BOARD.pull[n] = 1 if pull == 1 else 0 if pull == 2 else -1
        if mode == -1:
            mode = self._mode
        self._mode = mode
        out = _BOARD.out[n] if value is None else 1 if value else 0
        if mode == 1:
            _BOARD.set_line(n, 1, out)
        elif mode == 2:
            _BOARD.set_line(n, 0 if out else 1, out)
        else:
            _BOARD.set_line(n, 0, out)
        _K.spend(_COST)

    def value(self, x: "int | None" = None) -> "int | None":
        """Read the level, or drive one."""
        at = _K.now + 1
        if at < _K.next:
            _K.now = at
        else:
            _K.spend(1)
        if x is None:
            return _BOARD.level(self.number)
        if self._mode == 1:
            _BOARD.set_line(self.number, 1, 1 if x else 0)
        elif self._mode == 2:
            _BOARD.set_line(self.number, 0 if x else 1, 1 if x else 0)
        else:
            _BOARD.out[self.number] = 1 if x else 0
        return None

    def __call__(self, x: "int | None" = None) -> "int | None":
        return self.value(x)

    def on(self) -> None:
        """Drive high."""
        self.value(1)

    def off(self) -> None:
        """Drive low."""
        self.value(0)

    high = on
    low = off

    def toggle(self) -> None:
        """Drive the other level."""
        self.value(1 - _BOARD.out[self.number])

    def mode(self, mode: "int | None" = None) -> int:
        """The mode, or a new one."""
        if mode is not None:
            self.init(mode)
        return self._mode

    def irq(
        self,
        handler: "Callable[[Pin], None] | None" = None,
        trigger: int = 12,
        *,
        priority: int = 1,
        wake: "int | None" = None,
        hard: bool = False,
    ) -> "Pin":
        """Call `handler(pin)` at edges; None stops it."""
        _BOARD.watch_line(self.number, trigger & 8, trigger & 4, handler, self)
        return self


class PWM:
    """A PWM output as a servo sees it: the length of its pulses. Takes effect at the servo's next frame."""

    def __init__(
        self, dest: "Pin | str | int", *, freq: int = 0, duty_u16: int = -1, duty_ns: int = -1, invert: bool = False
    ) -> None:
        self._line = _number(dest)
        self._freq = 0
        self._ns = 0
        self.init(freq=freq, duty_u16=duty_u16, duty_ns=duty_ns)

    def init(self, *, freq: int = 0, duty_u16: int = -1, duty_ns: int = -1, invert: bool = False) -> None:
        """Set the frequency in Hz, and the duty as a part of 65535 or in nanoseconds."""
        if freq:
            self._freq = freq
        if duty_ns >= 0:
            self.duty_ns(duty_ns)
        elif duty_u16 >= 0:
            self.duty_u16(duty_u16)

    def freq(self, value: "int | None" = None) -> "int | None":
        """The frequency, or a new one."""
        if value is None:
            return self._freq
        self._freq = value
        return None

    def duty_ns(self, value: "int | None" = None) -> "int | None":
        """The pulse in nanoseconds, or a new one."""
        if value is None:
            return self._ns
        at = _K.now + 4
        if at < _K.next:
            _K.now = at
        else:
            _K.spend(4)
        if self._freq <= 0:
            raise ValueError("freq must be set first")
        self._ns = value
        # 50 Hz has a 0.3055 us tick there (65465 counts a period)
        _BOARD.pulse(self._line, value)
        return None

    def duty_u16(self, value: "int | None" = None) -> "int | None":
        """The duty as a part of 65535, or a new one."""
        period = 1000000000 // self._freq if self._freq else 0
        if value is None:
            return self._ns * 65535 // period if period else 0
        self.duty_ns(value * period // 65535)
        return None

    def deinit(self) -> None:
        """Stop pulsing."""
        self._ns = 0
        _BOARD.pulse(self._line, 0)


class WDT:
    """The watchdog. Once started it can't be stopped; 8388 ms is its longest time."""

    def __init__(self, id: int = 0, timeout: int = 5000) -> None:
        if not 1 <= timeout <= 8388:
            raise ValueError("timeout exceeds 8388")
        self._us = timeout * 1000
        _LIFE.feed(self._us)

    def feed(self) -> None:
        """Hold it off for another timeout."""
        _LIFE.feed(self._us)


class Timer:
    """A software timer whose callback runs at its time."""

    ONE_SHOT = 0
    PERIODIC = 1

    def __init__(self, id: int = -1, **settings: "Any") -> None:
        self._slot = _K.slot(self._fire)
        self._period_us = 0
        self._mode = 1
        self._callback: "Callable[[Timer], None] | None" = None
        if settings:
            self.init(**settings)

    def init(
        self,
        *,
        mode: int = 1,
        freq: int = -1,
        period: int = -1,
        tick_hz: int = 1000,
        callback: "Callable[[Timer], None] | None" = None,
        hard: bool = False,
    ) -> None:
        """Start it."""
        self._period_us = int(1000000 / freq) if freq > 0 else period * 1000000 // tick_hz
        self._mode = mode
        self._callback = callback
        _K.at(_K.now + self._period_us, self._slot)

    def deinit(self) -> None:
        """Stop it."""
        _K.cancel(self._slot)

    def _fire(self, _: int) -> None:
        if self._mode:
            _K.at(_K.now + self._period_us, self._slot)
        if self._callback is not None:
            self._callback(self)


class I2C:
    """An I2C bus of the board, found by its pins (or its number). A byte takes nine clocks; start and stop one each."""

    def __init__(
        self,
        id: int = 0,
        *,
        scl: "Pin | str | int | None" = None,
        sda: "Pin | str | int | None" = None,
        freq: int = 400000,
        timeout: int = 50000,
    ) -> None:
        self._bus: "Bus | None" = None
        for bus in _W.buses:
            if sda is not None and scl is not None and _number(sda) == bus.sda and _number(scl) == bus.scl:
                self._bus = bus
        if self._bus is None and sda is None and isinstance(id, int) and id < len(_W.buses):
            self._bus = _W.buses[id]
        self._freq = freq
        self._timeout = timeout

    def _chip(self, address: int, count: int) -> "Chip":
        """The chip, after the time the transfer takes."""
        bits = 9 * (count + 1) + 2
        if self._bus is None:
            _K.spend(bits * 1000000 // self._freq)
            raise OSError(5)
        if self._bus.stuck:
            _K.spend(self._timeout)
            return self._bus.chip(address)
        try:
            chip = self._bus.chip(address)
        except OSError:
            _K.spend(11 * 1000000 // self._freq + 10)
            raise
        _K.spend(bits * 1000000 // self._freq + 10)
        return chip

    def scan(self) -> "list[int]":
        """Addresses that answer."""
        found = []
        for address in range(8, 120):
            try:
                self._chip(address, 0)
            except OSError:
                continue
            found.append(address)
        return found

    def writeto(self, addr: int, buf: "Data", stop: bool = True) -> int:
        """Send bytes; how many were acknowledged."""
        if addr == 0 and self._bus is not None:
            self._bus.general_call(buf)
            return len(buf)
        self._chip(addr, len(buf)).write(buf)
        return len(buf)

    def writevto(self, addr: int, vector: "Iterable[Data]", stop: bool = True) -> int:
        """Send several buffers as one transfer."""
        return self.writeto(addr, b"".join([bytes(v) for v in vector]))

    def readfrom(self, addr: int, nbytes: int, stop: bool = True) -> bytes:
        """Receive bytes."""
        return bytes(self._chip(addr, nbytes).read(nbytes))

    def readfrom_into(self, addr: int, buf: "Space", stop: bool = True) -> None:
        """Receive as many bytes as the buffer holds."""
        buf[:] = self._chip(addr, len(buf)).read(len(buf))

    def writeto_mem(self, addr: int, memaddr: int, buf: "Data", *, addrsize: int = 8) -> None:
        """Write registers."""
        self.writeto(addr, bytes([memaddr]) + bytes(buf))

    def readfrom_mem(self, addr: int, memaddr: int, nbytes: int, *, addrsize: int = 8) -> bytes:
        """Read registers."""
        self.writeto(addr, bytes([memaddr]), False)
        return self.readfrom(addr, nbytes)

    def readfrom_mem_into(self, addr: int, memaddr: int, buf: "Space", *, addrsize: int = 8) -> None:
        """Read registers into a buffer."""
        self.writeto(addr, bytes([memaddr]), False)
        self.readfrom_into(addr, buf)


SoftI2C = I2C


class ADC:
    """An analogue input."""

    def __init__(self, pin: "Pin | str | int") -> None:
        self._line = _number(pin)

    def read_u16(self) -> int:
        """A reading, 0 to 65535."""
        _K.spend(4)
        return _W.analogue(self._line)


def reset() -> "NoReturn":
    """Start the board again."""
    _LIFE.end("reset")


def soft_reset() -> "NoReturn":
    """Start the program again."""
    _LIFE.end("soft")


def reset_cause() -> int:
    """Why the board started."""
    return _LIFE.cause


def unique_id() -> bytes:
    """Eight bytes that no other board has."""
    return _LIFE.unique


def freq(hz: "int | None" = None) -> int:
    """The processor's clock in Hz."""
    return 125000000


def idle() -> None:
    """Wait a moment."""
    _K.spend(100)


def lightsleep(ms: int = 0) -> None:
    """Sleep."""
    _K.sleep(ms * 1000)


def disable_irq() -> int:
    """Interrupts wait."""
    return _BOARD.mask(1)


def enable_irq(state: int) -> None:
    """Interrupts are served again, if they were before."""
    _BOARD.mask(state)


def bootloader(timeout: int = 0) -> "NoReturn":
    """Leave the firmware for the boot drive: the bench ends the board's life."""
    _LIFE.end("bootloader")
