"""Time and memory of one call, and a table of them."""

from __future__ import annotations

import gc
import resource
import time
import tracemalloc
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


def cpu_s() -> float:
    """Processor time of this process and of the children it has waited for, in seconds: other work does not count."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


def seconds(call: Callable[[], T], runs: int = 3) -> tuple[float, T]:
    """The least processor time of several runs in seconds, and the last result."""
    best = float("inf")
    result: T
    for _ in range(runs):
        gc.collect()
        began = cpu_s()
        result = call()
        best = min(best, cpu_s() - began)
    return best, result


def megabytes(call: Callable[[], object]) -> float:
    """The peak of what Python allocates during the call, in MB."""
    gc.collect()
    tracemalloc.start()
    call()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6
