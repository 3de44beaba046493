"""What changed in the fleet since yesterday began: suspicions, silence, and what people did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from fleet.models import Event, SiteVisit, System
from fleet.pages import words
from fleet.pages.ranking.briefs import Fleet
from fleet.pages.standings import STALE

MOST_NAMED = 4


@dataclass(frozen=True)
class Named:
    """One thing that changed: where, what, and the page that tells more."""

    where: str
    what: str
    event: int | None = None


@dataclass(frozen=True)
class Kind:
    """Changes of one kind."""

    title: str
    items: Sequence[Named]

    @property
    def named(self) -> Sequence[Named]:
        """The first few."""
        return self.items[:MOST_NAMED]

    @property
    def more(self) -> int:
        """How many are not named."""
        return max(len(self.items) - MOST_NAMED, 0)


def yesterday(now: datetime) -> datetime:
    """When yesterday began, in UTC. Data may arrive a day late, so that 24 hours miss some."""
    today = now.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return today - timedelta(days=1)


def load(systems: QuerySet[System], fleet: Fleet, now: datetime) -> list[Kind]:
    """What changed, kinds without a change left out. Three queries."""
    since = yesterday(now)
    events = Event.objects.filter(system__in=systems.order_by(), withdrawn=False)
    moved = events.filter(Q(opened_at__gte=since) | Q(closed_at__gte=since))
    columns = ("pk", "condition", "closed_at", "system__code", "system__site__name")
    rows = list(moved.order_by("-opened_at").values_list(*columns))
    said = [
        (closed, Named(f"{site} {code}", words.suspicion(condition).name, pk))
        for pk, condition, closed, code, site in rows
    ]
    visits = SiteVisit.objects.filter(event__in=events, visited_on__gte=since.date())
    done = [
        Named(
            f"{it.event.system.site.name} {it.event.system.code}",
            it.get_outcome_display(),
            it.event_id,
        )
        for it in visits.select_related("event__system__site").defer("event__verdict")
    ]
    kinds = (
        Kind(_("New suspicions"), [named for closed, named in said if closed is None]),
        Kind(_("Gone"), [named for closed, named in said if closed is not None]),
        Kind(_("Data stopped"), _silent(systems, fleet, now)),
        Kind(_("Visits"), done),
    )
    return [kind for kind in kinds if kind.items]


def _silent(systems: QuerySet[System], fleet: Fleet, now: datetime) -> list[Named]:
    """Systems whose last sample became old since yesterday began, in the order of the list."""
    since, until = yesterday(now) - STALE, now - STALE
    silent = systems.filter(standing__last_sample__gte=since, standing__last_sample__lt=until)
    rows = silent.order_by().values_list("pk", "code", "site__name", "standing__last_sample")
    found = {pk: Named(f"{site} {code}", words.ago(last, now)) for pk, code, site, last in rows}
    if not found:
        return []
    order = fleet.order()
    return [found[pk] for pk in sorted(found, key=order.__getitem__)]
