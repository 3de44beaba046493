"""What was suspected of a system before, and what visits to it found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date

from diagnostics.units import atmospheric_pressure_pa
from fleet.models import Event, SiteVisit, System
from fleet.pages import words
from fleet.pages.days.axes import EventSpan
from fleet.pages.days.event_line import EventLine
from fleet.pages.event import readings
from fleet.pages.units import Preference

MOST = 30
"""Visits and events shown; the building's page over months has all."""


@dataclass(frozen=True)
class Made:
    """A visit as printed."""

    visit: SiteVisit
    suspected: words.Suspicion
    found: words.Suspicion | None
    readings: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class History:
    """Newest first."""

    visits: Sequence[Made]
    events: Sequence[EventLine]

    def spans(self, first: date, last: date) -> list[EventSpan]:
        """The events that touch these days, for a chart."""
        spans = [line.span(UTC, last) for line in self.events]
        return [span for span in spans if span.last >= first and span.first <= last]


def load(system: System, prefer: Preference) -> History:
    """The history of one system with its site. Two queries."""
    atmosphere_pa = atmospheric_pressure_pa(system.site.altitude_m)
    visits = SiteVisit.objects.filter(event__system=system, event__withdrawn=False)
    visits = visits.select_related("visitor", "event").defer("event__verdict")
    made = [
        Made(
            visit,
            words.suspicion(visit.event.condition),
            words.suspicion(visit.found_condition) if visit.found_condition else None,
            readings.printed(visit.readings or {}, prefer, atmosphere_pa),
        )
        for visit in visits.order_by("-visited_on", "-pk")[:MOST]
    ]
    events = Event.objects.filter(system=system, withdrawn=False).defer("verdict")
    return History(made, [EventLine(event) for event in events[:MOST]])
