"""A scheduler that goes on when the clock is put back.

Celery's own waits until the clock has caught up with the times it had planned, be it for hours.
"""

from __future__ import annotations

from typing import Any

from celery import beat


class Scheduler(beat.Scheduler):  # type: ignore[misc]
    """Keeps its state in memory: what is due is in the database."""

    def tick(self, *args: Any, **kwargs: Any) -> float:
        """Run what is due; the seconds until the next look."""
        for entry in self.schedule.values():
            now = entry.default_now()
            if entry.last_run_at > now:
                entry.last_run_at = now
                self._heap = None  # planned by a clock that was ahead: plan anew
        delay: float = super().tick(*args, **kwargs)
        return delay
