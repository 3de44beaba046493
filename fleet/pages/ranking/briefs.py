"""The whole fleet in few columns: enough to order, count and narrow it, whatever its size.

Ordering and counting take columns; a site's brief is made when somebody asks for it, so that a page
of thirty does not pay for thousands.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import chain
from typing import NamedTuple

import numpy as np
from django.db.models import Case, F, FloatField, QuerySet, When
from django.db.models.functions import Coalesce, Collate

from diagnostics.weighing.weigh import CONDITIONS
from fleet.analysis.ranking import site_scores
from fleet.models import Event, Site, System
from fleet.models.site import area_of
from fleet.pages import handling, words

_URGENCY = {kind.code: i for i, kind in enumerate(words.ATTENTIONS)}


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
    """One system; its open events newest first."""

    pk: int
    code: str
    score: float
    leading: str
    probability: float
    urgent: bool
    events: tuple[OpenEvent, ...]

    @property
    def attention(self) -> words.Attention:
        """How much it asks for a person's eye."""
        return words.attention(
            self.leading, self.probability, urgent=self.urgent, open_events=bool(self.events)
        )

    @property
    def event(self) -> OpenEvent | None:
        """The open event to go to."""
        return handling.to_go_to(self.events, self.leading)


@dataclass(frozen=True, eq=False)
class SiteBrief:
    """One site with its score; ``systems`` highest score first."""

    site: Place
    systems: tuple[SystemBrief, ...]
    score: float

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
        texts += [words.suspicion(system.leading).name for system in self.systems]
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


@dataclass(frozen=True)
class Occurring:
    """What occurs among some sites: clients by code and name, areas, suspicions, handling."""

    clients: set[tuple[str, str]]
    areas: set[str]
    conditions: set[str]
    handled: set[str]

    @classmethod
    def among(cls, sites: Sequence[SiteBrief]) -> Occurring:
        """Among these."""
        return cls(
            {(it.site.client, it.site.client_name) for it in sites},
            {it.site.area for it in sites},
            set().union(*(it.conditions for it in sites)),
            set().union(*(it.handled for it in sites)),
        )


class Rung(NamedTuple):
    """Where a site stands in the list: its rank from 1 on, its key, its score, what it asks for."""

    rank: int
    site: int
    score: float
    attention: words.Attention


class _Row(NamedTuple):
    """A system as the query gives it; a system never analysed has a score of 0."""

    pk: int
    site: int
    code: str
    score: float
    leading: str
    probability: float
    urgent: bool


class Fleet:
    """Sites of some systems, highest score first."""

    def __init__(self, systems: QuerySet[System]) -> None:
        """Read systems and open events: two queries, however many they are."""
        self._seen = systems
        self._rows, self._events = _rows(systems), _events(systems)
        kinds = np.array([_URGENCY[self._attention(row).code] for row in self._rows], np.intp)
        of_site = np.array([row.site for row in self._rows], np.int64)
        starts = np.flatnonzero(np.diff(of_site, prepend=-1))
        score = site_scores(np.array([row.score for row in self._rows], np.float64), starts)
        order = np.argsort(-score, kind="stable")  # of the same score by code, as the rows are
        self._starts, self._scores = starts[order], score[order]
        self._ends = np.append(starts, len(self._rows))[order + 1]
        self._leads = kinds[self._starts]
        self._kinds = np.minimum.reduceat(kinds, starts)[order] if starts.size else kinds

    def __len__(self) -> int:
        """Number of sites."""
        return int(self._starts.size)

    def counts(self) -> list[tuple[words.Attention, int]]:
        """How many sites ask for what."""
        counted = np.bincount(self._kinds, minlength=len(words.ATTENTIONS)).tolist()
        return list(zip(words.ATTENTIONS, counted, strict=True))

    def first(self) -> int:
        """Rank of the first site that asks for a visit nobody has put off; 0 without one."""
        for place in np.flatnonzero(self._leads == _URGENCY[words.ACT.code]).tolist():
            event = self._system(self._rows[self._starts[place]]).event
            if event is None or event.handled != "shelved":
                return int(place) + 1
        return 0

    def rungs(self, ranks: Iterable[int]) -> list[Rung]:
        """The sites of these ranks, without a query."""
        return [
            Rung(
                rank,
                self._rows[self._starts[rank - 1]].site,
                float(self._scores[rank - 1]),
                words.ATTENTIONS[self._kinds[rank - 1]],
            )
            for rank in ranks
        ]

    def all(self) -> list[SiteBrief]:
        """Every site with all its systems; one query."""
        of_site = _places(self._seen)
        spans = zip(self._starts.tolist(), self._ends.tolist(), strict=True)
        return [
            SiteBrief(
                of_site[self._rows[start].site],
                tuple(self._system(row) for row in self._rows[start:end]),
                float(score),
            )
            for (start, end), score in zip(spans, self._scores, strict=True)
        ]

    def order(self) -> dict[int, int]:
        """Where each system stands in the list, by its key."""
        spans = zip(self._starts.tolist(), self._ends.tolist(), strict=True)
        listed = chain.from_iterable(range(*span) for span in spans)
        return {self._rows[row].pk: place for place, row in enumerate(listed)}

    def occurring(self) -> Occurring:
        """What occurs in the whole fleet; one query."""
        columns = ("client__code", "client__name", "region", "timezone")
        sites = self._seen.order_by().values_list(*(f"site__{name}" for name in columns))
        found = set(sites.distinct())
        events = list(chain.from_iterable(self._events.values()))
        return Occurring(
            {(code, name) for code, name, _, _ in found},
            {region or area_of(timezone) for _, _, region, timezone in found},
            {row.leading for row in self._rows} | {event.condition for event in events},
            {event.handled for event in events},
        )

    def _attention(self, row: _Row) -> words.Attention:
        open_events = row.pk in self._events
        return words.attention(
            row.leading, row.probability, urgent=row.urgent, open_events=open_events
        )

    def _system(self, row: _Row) -> SystemBrief:
        events = tuple(self._events.get(row.pk, ()))
        return SystemBrief(
            row.pk, row.code, row.score, row.leading, row.probability, row.urgent, events
        )


def _rows(systems: QuerySet[System]) -> list[_Row]:
    """Systems by the code of their site, those of one site highest score first, then by code."""
    shares = (
        When(standing__leading=name, then=F(f"standing__conditions__{i}"))
        for i, name in enumerate(CONDITIONS)
    )
    found = systems.order_by(
        Collate("site__code", "C"), Coalesce("standing__score", 0.0).desc(), Collate("code", "C")
    ).values_list(
        "pk",
        "site_id",
        "code",
        "standing__score",
        "standing__leading",
        Case(*shares, output_field=FloatField()),
        "standing__urgent",
    )
    rows = {
        pk: _Row(
            pk, site, code, score or 0.0, leading or "not_enough_data", share or 0.0, bool(urgent)
        )
        for pk, site, code, score, leading, share, urgent in found
    }
    return list(rows.values())


def _events(systems: QuerySet[System]) -> dict[int, list[OpenEvent]]:
    """Open events by system, newest first."""
    found = Event.objects.filter(system__in=systems.order_by(), closed_at=None, withdrawn=False)
    columns = ("pk", "system_id", "condition", "state", "assignee_id", "visit_planned_on")
    events: dict[int, list[OpenEvent]] = {}
    for row in found.order_by("-opened_at").values_list(*columns):
        event = OpenEvent(*row)
        events.setdefault(event.system, []).append(event)
    return events


def _places(systems: QuerySet[System]) -> dict[int, Place]:
    columns = ("pk", "code", "name", "client__code", "client__name", "region", "timezone")
    sites = Site.objects.filter(pk__in=systems.order_by().values("site")).order_by()
    found = sites.values_list(*columns, "latitude_deg", "longitude_deg")
    return {row[0]: Place(*row) for row in found}
