"""Time and memory of one call, and a table of them."""

from __future__ import annotations

import gc
import time
import tracemalloc
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


def seconds(call: Callable[[], T], runs: int = 3) -> tuple[float, T]:
    """The least of several runs in seconds, and the last result."""
    best = float("inf")
    result: T
    for _ in range(runs):
        gc.collect()
        began = time.perf_counter()
        result = call()
        best = min(best, time.perf_counter() - began)
    return best, result


def megabytes(call: Callable[[], object]) -> float:
    """The peak of what Python allocates during the call, in MB."""
    gc.collect()
    tracemalloc.start()
    call()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6
