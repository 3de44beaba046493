"""An event as lists and charts show it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, tzinfo

from fleet.models import Event
from fleet.pages import words
from fleet.pages.days.axes import EventSpan


@dataclass(frozen=True)
class EventLine:
    """An event, and the words for it."""

    event: Event

    @property
    def suspicion(self) -> words.Suspicion:
        """What was suspected."""
        return words.suspicion(self.event.condition)

    @property
    def is_open(self) -> bool:
        """The suspicion lasts."""
        return self.event.closed_at is None

    @property
    def probability(self) -> str:
        """At its strongest."""
        return words.percent(self.event.peak_probability)

    def span(self, zone: tzinfo, last: date) -> EventSpan:
        """Its days in a time zone; while it lasts, up to ``last``."""
        closed = self.event.closed_at
        return EventSpan(
            self.event.opened_at.astimezone(zone).date(),
            closed.astimezone(zone).date() if closed else last,
            self.suspicion.name,
        )
