"""What the firmware uses of MicroPython's own module, for the fallback under CPython."""

if False:
    from collections.abc import Callable
    from typing import Any, TypeVar

    T = TypeVar("T")
    F = TypeVar("F", bound=Callable[..., Any])


def const(value: "T") -> "T":
    """A constant is its value."""
    return value


def native(function: "F") -> "F":
    """No native code here."""
    return function


viper = native


def schedule(function: "Callable[[T], object]", argument: "T") -> None:
    """Run it soon: here at once."""
    function(argument)


def kbd_intr(character: int) -> None:
    """The port's interrupt character is of no account here."""


def alloc_emergency_exception_buf(size: int) -> None:
    """Exceptions always find room here."""


def heap_lock() -> int:
    """The heap can't be locked here."""
    return 0


def heap_unlock() -> int:
    """Nor unlocked."""
    return 0


def opt_level(level: int = 0) -> int:
    """No levels here."""
    return 0


def mem_info(verbose: int = 0) -> None:
    """Nothing to tell."""


def stack_use() -> int:
    """Nothing to tell."""
    return 0
