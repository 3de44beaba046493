"""The whole fleet in few columns: enough to order, count and narrow it, whatever its size."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import NamedTuple

from django.db.models import QuerySet

from diagnostics.weigh import CONDITIONS
from fleet.analysis.ranking import site_score
from fleet.models import Event, Site, System
from fleet.models.site import area_of
from fleet.pages import handling, words

_PLACE = {condition: i for i, condition in enumerate(CONDITIONS)}


class Place(NamedTuple):
    """A site, without its row."""

    pk: int
    code: str
    name: str
    client: str
    client_name: str
    region: str
    timezone: str
    latitude_deg: float | None
    longitude_deg: float | None

    @property
    def area(self) -> str:
        """The region, or what the time zone's name tells of it where nobody has given one."""
        return self.region or area_of(self.timezone)


class OpenEvent(NamedTuple):
    """An open event, as far as the list needs it."""

    pk: int
    system: int
    condition: str
    opened_at: datetime
    state: str
    assignee: int | None
    planned: date | None

    @property
    def handled(self) -> str:
        """How far it has come: a code of ``handling.STATES``."""
        sent, planned = self.assignee is not None, self.planned is not None
        return handling.state_of(self.state, sent=sent, planned=planned)


@dataclass(frozen=True, slots=True)
class SystemBrief:
    """One system."""

    pk: int
    code: str
    score: float
    leading: str
    probability: float
    urgent: bool
    last_sample: datetime | None
    events: tuple[OpenEvent, ...]

    @property
    def attention(self) -> words.Attention:
        """How much it asks for a person's eye."""
        return words.attention(
            self.leading, self.probability, urgent=self.urgent, open_events=bool(self.events)
        )

    @property
    def event(self) -> OpenEvent | None:
        """The open event to go to: the leading condition's, else the newest."""
        match = (event for event in self.events if event.condition == self.leading)
        return next(match, self.events[0] if self.events else None)


@dataclass(frozen=True, eq=False)
class SiteBrief:
    """One site; ``systems`` highest score first."""

    site: Place
    systems: tuple[SystemBrief, ...]

    @cached_property
    def score(self) -> float:
        """The site's score, from those of its systems."""
        return site_score([system.score for system in self.systems])

    @cached_property
    def attention(self) -> words.Attention:
        """The most urgent of its systems."""
        return min((it.attention for it in self.systems), key=words.ATTENTIONS.index)

    @property
    def lead(self) -> SystemBrief:
        """The system that gives the site its place."""
        return self.systems[0]

    @cached_property
    def said(self) -> str:
        """Everything a search looks through, in small letters."""
        site = self.site
        texts = [site.name, site.code, site.client_name, site.region, site.timezone]
        texts += [system.code for system in self.systems]
        texts += [str(words.suspicion(system.leading).name) for system in self.systems]
        return "\n".join(texts).lower()

    @property
    def handled(self) -> set[str]:
        """How far its open events have come."""
        return {event.handled for system in self.systems for event in system.events}

    @property
    def conditions(self) -> set[str]:
        """Leading conditions of its systems, and those of open events."""
        leading = {system.leading for system in self.systems}
        return leading | {event.condition for it in self.systems for event in it.events}


class _Row(NamedTuple):
    pk: int
    code: str
    site: int
    score: float | None
    leading: str | None
    urgent: bool | None
    last_sample: datetime | None
    conditions: list[float] | None


def load(systems: QuerySet[System]) -> list[SiteBrief]:
    """Sites of the systems, highest score first. Three queries, however many they are."""
    of_standing = (f"standing__{it}" for it in _Row._fields[3:])
    found = systems.order_by().values_list("pk", "code", "site_id", *of_standing)
    rows = {row[0]: _Row(*row) for row in found}
    events = _events(systems)
    grouped: dict[int, list[SystemBrief]] = {}
    for row in rows.values():
        grouped.setdefault(row.site, []).append(_brief(row, tuple(events.get(row.pk, ()))))
    briefs = [
        SiteBrief(place, tuple(sorted(grouped[place.pk], key=lambda it: (-it.score, it.code))))
        for place in _places(systems)
        if place.pk in grouped
    ]
    return sorted(briefs, key=lambda it: (-it.score, it.site.code))


def _brief(row: _Row, events: tuple[OpenEvent, ...]) -> SystemBrief:
    leading = row.leading or "not_enough_data"
    at = _PLACE.get(leading)
    share = row.conditions[at] if row.conditions and at is not None else 0.0
    return SystemBrief(
        row.pk,
        row.code,
        row.score or 0.0,
        leading,
        share,
        bool(row.urgent),
        row.last_sample,
        events,
    )


def _events(systems: QuerySet[System]) -> dict[int, list[OpenEvent]]:
    """Open events by system, newest first."""
    found = Event.objects.filter(system__in=systems.order_by(), closed_at=None, withdrawn=False)
    columns = ("pk", "system_id", "condition", "opened_at", "state", "assignee_id")
    events: dict[int, list[OpenEvent]] = {}
    for row in found.order_by("-opened_at").values_list(*columns, "visit_planned_on"):
        event = OpenEvent(*row)
        events.setdefault(event.system, []).append(event)
    return events


def _places(systems: QuerySet[System]) -> Iterable[Place]:
    columns = ("pk", "code", "name", "client__code", "client__name", "region", "timezone")
    sites = Site.objects.filter(pk__in=systems.order_by().values("site"))
    found = sites.order_by().values_list(*columns, "latitude_deg", "longitude_deg")
    return [Place(*row) for row in found]
