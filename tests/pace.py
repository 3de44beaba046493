"""How slow this machine is just now, against the one the limits of time were written for.

A shared machine runs at half its speed for hours. A limit in seconds then says more of the
machine than of the code, so it is read as so many times a fixed piece of work done beside it.
"""

from __future__ import annotations

from collections.abc import Callable

REFERENCE_S = 0.010
"""What :func:`work` takes at the speed the limits are meant for: two shared cores, Python 3.11."""
ITEMS = 20_000


def work() -> int:
    """Look up, format and join, as the making of a page does."""
    known = {f"name {i}": i for i in range(ITEMS)}
    return len("".join(f"<li>{name}: {known[name]:5d}</li>" for name in sorted(known)))


def slowness(taken_s: list[float]) -> float:
    """How many times slower than meant, by the middle one of some timings; never below 1."""
    return max(1.0, sorted(taken_s)[len(taken_s) // 2] / REFERENCE_S)


def timed_work_s(now: Callable[[], float]) -> float:
    """How long one piece of work takes by the clock given [s]."""
    began = now()
    work()
    return now() - began
