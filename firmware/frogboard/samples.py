"""Mean and root mean square of a burst of ADC readings, in whole numbers below 2**30. No hardware."""

if False:
    import array

SHIFT = 4
"""Readings are of 16 bits, the converter has 12: the rest is dropped before squaring."""


def isqrt(n: int) -> int:
    """The whole part of the square root of 0 <= n < 2**30."""
    root = 0
    bit = 1 << 28
    while bit:
        if n >= root + bit:
            n -= root + bit
            root = (root >> 1) + bit
        else:
            root >>= 1
        bit >>= 2
    return root


def mean(readings: "array.array[int]", zero: int) -> int:
    """Distance of the mean from `zero`, in counts of 65536, at most 32767."""
    total = 0
    for i in range(len(readings)):
        total += readings[i] - zero
    total //= len(readings)
    return min(32767, -total if total < 0 else total)


def rms(readings: "array.array[int]", zero: int) -> int:
    """Root mean square of the distance from `zero`, in counts of 65536, at most 32767.

    At most 64 readings: (65535 >> 4) ** 2 * 64 is just under 2**30.
    """
    total = 0
    for i in range(len(readings)):
        x = (readings[i] - zero) >> SHIFT
        total += x * x
    return min(32767, isqrt(total // len(readings)) << SHIFT)
