"""Rows of the ranking: a page's sites with all that is said of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

from django.db.models import QuerySet

from fleet.models import Site, System
from fleet.pages import handling, standings, units
from fleet.pages.handling import Handling
from fleet.pages.ranking import since, urgency
from fleet.pages.ranking.briefs import Rung
from fleet.pages.ranking.urgency import Urgency, Week
from fleet.pages.standings import SystemLine
from fleet.pages.units import Preference


@dataclass(frozen=True)
class Row:
    """One site of the list; its systems highest score first."""

    rung: Rung
    systems: tuple[SystemLine, ...]
    weeks: Mapping[int, Week]
    handled: Mapping[int, Handling]
    prefer: Preference

    @property
    def site(self) -> Site:
        """The site."""
        return self.lead.system.site

    @property
    def lead(self) -> SystemLine:
        """The system that gives the site its place."""
        return self.systems[0]

    @property
    def why(self) -> str:
        """The reason in one line, in the reader's units."""
        return units.text(self.lead.why, self.prefer)

    @cached_property
    def urgency(self) -> Urgency:
        """How soon somebody should go."""
        return Urgency(self.weeks.get(self.lead.system.pk), self.lead.urgent, self.prefer)

    @cached_property
    def handling(self) -> Handling | None:
        """What the team did about the event to go to."""
        event = self.lead.event
        return self.handled.get(event.pk) if event else None

    @property
    def fresh(self) -> bool:
        """The event to go to began since yesterday."""
        event = self.lead.event
        return event is not None and event.opened_at >= since.yesterday(self.lead.now)

    @property
    def others(self) -> tuple[SystemLine, ...]:
        """The systems behind the leading one that ask for something too."""
        return tuple(line for line in self.systems[1:] if line.attention.code != "quiet")

    @property
    def thinnest(self) -> SystemLine:
        """The least covered system: a lack of data does not average away."""
        return min(self.systems, key=lambda it: it.coverage)

    @property
    def missing(self) -> str:
        """What the leading system's data lack."""
        return self.urgency.missing if self.lead.standing else ""

    @property
    def open_events(self) -> int:
        """Events open at the site."""
        return sum(len(line.open_events) for line in self.systems)


def of(
    rungs: Sequence[Rung],
    systems: QuerySet[System],
    now: datetime,
    prefer: Preference,
) -> list[Row]:
    """Rows of the sites as they come. Six queries, however many sites."""
    wanted = systems.filter(site__in=[rung.site for rung in rungs])
    lines = standings.system_lines(wanted, now)
    weeks = urgency.load(line.system.pk for line in lines)
    leading = [line.event for line in lines if line.event is not None]
    handled = handling.load(leading)
    of_site: dict[int, list[SystemLine]] = {}
    for line in lines:
        of_site.setdefault(line.system.site_id, []).append(line)
    return [
        Row(rung, tuple(of_site[rung.site]), weeks, handled, prefer)
        for rung in rungs
        if rung.site in of_site
    ]
