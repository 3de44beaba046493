"""How often a token may ask: a bucket that fills steadily and empties by a request each."""

from __future__ import annotations

from math import ceil
from threading import Lock
from time import monotonic

from fleet.api.problems import Problem, ProblemError

PER_SECOND = 10.0
BURST = 100.0
"""A site of ten systems backfilling a year of days takes six minutes."""


class RateLimit:
    """Requests by key. Counted in this process: several web processes allow several times that."""

    def __init__(self, per_second: float = PER_SECOND, burst: float = BURST) -> None:
        self.per_second, self.burst = per_second, burst
        self._lock = Lock()
        self._left: dict[str, tuple[float, float]] = {}

    def take(self, key: str) -> None:
        """Count a request. Raises ProblemError: 429 with the time to wait."""
        now = monotonic()
        with self._lock:
            left, since = self._left.get(key, (self.burst, now))
            left = min(self.burst, left + (now - since) * self.per_second)
            allowed = left >= 1.0
            self._left[key] = (left - 1.0 if allowed else left, now)
        if not allowed:
            wait_s = ceil((1.0 - left) / self.per_second)
            raise ProblemError(
                Problem.TOO_MANY,
                f"This token may ask {self.per_second:g} times a second.",
                {"Retry-After": str(wait_s)},
            )


REQUESTS = RateLimit()
