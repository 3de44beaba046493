"""How often a token may ask, and how many large bodies are stored at once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from math import ceil
from threading import BoundedSemaphore, Lock
from time import monotonic

from django.db import connection

from fleet.api.problems import Problem, ProblemError

PER_SECOND = 10.0
BURST = 100.0
"""A site of ten systems backfilling a year of days takes six minutes."""

LARGE_BYTES = 5 << 20
LARGE_WAIT_S = 20.0
LARGE_RETRY_AFTER_S = 10


class RateLimit:
    """Requests by key: a bucket that fills steadily and empties by one each.

    Counted in this process: several web processes allow several times that.
    """

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


class RoomForLarge:
    """Lets one large body be read and stored at a time.

    On its way into the database it takes nine times its size (580 MiB for 64 MiB, measured),
    which the threads of a web server must not do all at once.
    """

    def __init__(self) -> None:
        self._free = BoundedSemaphore(1)

    @contextmanager
    def taken(self, length: int) -> Iterator[None]:
        """Hold the room while the block runs. Raises ProblemError: 503, others took too long."""
        if length <= LARGE_BYTES:
            yield
            return
        if not self._free.acquire(timeout=LARGE_WAIT_S):
            headers = {"Retry-After": str(LARGE_RETRY_AFTER_S)}
            raise ProblemError(
                Problem.UNAVAILABLE, "Other large uploads are being stored.", headers
            )
        try:
            yield
        finally:
            # libpq keeps a buffer of the largest statement for as long as the connection lives.
            if not connection.in_atomic_block:
                connection.close()
            self._free.release()


REQUESTS = RateLimit()
ROOM = RoomForLarge()
