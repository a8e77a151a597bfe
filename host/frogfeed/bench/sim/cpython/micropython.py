"""What the firmware uses of MicroPython's own module, for the fallback under CPython."""


def const(value):
    """A constant is its value."""
    return value


def native(function):
    """No native code here."""
    return function


viper = native


def schedule(function, argument):
    """Run it soon: here at once."""
    function(argument)


def kbd_intr(character):
    """The port's interrupt character is of no account here."""


def alloc_emergency_exception_buf(size):
    """Exceptions always find room here."""


def heap_lock():
    """The heap can't be locked here."""
    return 0


def heap_unlock():
    """Nor unlocked."""
    return 0


def opt_level(level=0):
    """No levels here."""
    return 0


def mem_info(verbose=0):
    """Nothing to tell."""


def stack_use():
    """Nothing to tell."""
    return 0
