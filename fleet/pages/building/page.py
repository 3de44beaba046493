"""One building: is it getting better, system by system."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.db.models import Prefetch, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from diagnostics.weighing.weigh import CONDITIONS
from fleet import access
from fleet.models import Event, IndoorUnit, Role, System
from fleet.pages import standings, units, words
from fleet.pages.building import history, history_chart
from fleet.pages.building.data import DataForm
from fleet.pages.building.history import Change
from fleet.pages.building.history_chart import HistoryChart
from fleet.pages.building.place import PlaceForm
from fleet.pages.days import past
from fleet.pages.days.event_line import EventLine
from fleet.pages.days.past import Past
from fleet.pages.standings import SystemLine
from fleet.pages.units import Preference

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

DAYS = 56
RECENT = 6


@dataclass(frozen=True)
class SystemPart:
    """One system's part of the page."""

    line: SystemLine
    events: tuple[EventLine, ...]
    chart: HistoryChart | None
    trend: str
    drift: str
    why: str

    @property
    def capacity(self) -> str:
        """Cooling capacity as printed."""
        capacity = units.number(self.line.system.cooling_capacity_w / 1000, 1)
        return _("%(capacity)s kW cooling") % {"capacity": capacity}

    @property
    def indoor(self) -> list[tuple[IndoorUnit, str]]:
        """Indoor units with their capacities as printed."""
        return [
            (unit, f"{units.number(unit.cooling_capacity_w / 1000, 1)} kW")
            for unit in self.line.system.indoor_in_order()
        ]

    @property
    def data_form(self) -> DataForm:
        """To take the last week of data away."""
        zone = self.line.system.site.zone
        last = (self.line.last_sample or self.line.now).astimezone(zone).date()
        code = self.line.system.code
        initial = {"first": last - timedelta(days=6), "last": last}
        return DataForm(initial=initial, auto_id=f"{code}-%s")

    @property
    def recent(self) -> tuple[EventLine, ...]:
        """Open events and the newest of the others."""
        return tuple(e for i, e in enumerate(self.events) if e.is_open or i < RECENT)

    @property
    def older(self) -> tuple[EventLine, ...]:
        """The rest."""
        return tuple(e for i, e in enumerate(self.events) if not e.is_open and i >= RECENT)

    @property
    def event_words(self) -> str:
        """What the bars above the history stand for."""
        return ", ".join(dict.fromkeys(item.suspicion.name for item in self.events))

    @property
    def shares(self) -> list[tuple[words.Suspicion, float, str]]:
        """Every condition with its probability, likeliest first."""
        standing = self.line.standing
        if standing is None or not standing.conditions:
            return []
        pairs = zip(CONDITIONS, standing.conditions, strict=False)
        return [
            (words.suspicion(code), round(100 * share, 1), words.percent(share))
            for code, share in sorted(pairs, key=lambda pair: -pair[1])
        ]


def _trend(before_after: tuple[tuple[str, Change], ...], prefer: Preference) -> str:
    """This week against the week before, in numbers; no opinion on whether that is good."""
    parts = [
        _("%(now)s %(way)s in the last 7 days, %(before)s in the 7 days before")
        % {
            "now": units.difference(change.now_k, prefer),
            "way": way,
            "before": units.difference(change.before_k, prefer),
        }
        for way, change in before_after
        if change.now_k is not None and change.before_k is not None
    ]
    if not parts:
        return _("Too few days with a measured subcooling to compare two weeks.")
    return _("Subcooling before the subcooler: %(parts)s.") % {"parts": "; ".join(parts)}


def _part(
    line: SystemLine,
    days: list[history.Day],
    behind: Past,
    zone: ZoneInfo,
    prefer: Preference,
) -> SystemPart:
    events = tuple(EventLine(event) for event in line.system.events.all())
    last = (line.last_sample or line.now).astimezone(zone).date()
    spans = [item.span(zone, last) for item in events]
    first = days[0].day if days else last
    ways = (
        (_("with liquid to the rooms"), "to_indoor_k"),
        (_("with liquid to outdoor"), "to_outdoor_k"),
    )
    return SystemPart(
        line,
        events,
        history_chart.chart(
            days,
            [span for span in spans if span.last >= first],
            history_chart.Frame(last, prefer, _expected_k(line)),
        ),
        _trend(tuple((way, history.change(days, last, field)) for way, field in ways), prefer),
        behind.drift_text(prefer),
        units.text(line.why, prefer),
    )


def _expected_k(line: SystemLine) -> float | None:
    """The expected upstream subcooling in cooling [K], from the verdict's ledger."""
    ledger = line.standing.verdict.get("ledger") if line.standing else None
    for entry in ledger or ():
        if entry.get("finding") == "upstream_subcooling" and entry.get("expected") is not None:
            return float(entry["expected"])
    return None


def _verdict_on_events(parts: list[SystemPart], first: date | None, now: datetime) -> str:
    """Suspicions open now and four weeks ago: what an account rep tells the client.

    first: the first day with data; a time before it cannot be compared with.
    """
    then = now - standings.FOUR_WEEKS
    events = [item.event for part in parts for item in part.events]
    today = sum(event.closed_at is None for event in events)
    before = sum(
        event.opened_at <= then and (event.closed_at is None or event.closed_at > then)
        for event in events
    )
    if first is None or first > then.date():
        return _("Suspicions open: %(n)s now; no data from four weeks ago to compare with.") % {
            "n": today
        }
    said = _("Suspicions open: %(now)s now, as many as four weeks ago.")
    if today < before:
        said = _("Suspicions open: %(now)s now, fewer than the %(then)s of four weeks ago.")
    elif today > before:
        said = _("Suspicions open: %(now)s now, more than the %(then)s of four weeks ago.")
    return said % {"now": today, "then": before}


def _systems(request: HttpRequest, site_id: int) -> QuerySet[System]:
    events = Event.objects.filter(withdrawn=False).select_related("assignee").defer("verdict")
    systems = access.visible_systems(request.user).filter(site=site_id)
    return systems.prefetch_related("indoor_units", Prefetch("events", events))


@require_GET
def building(request: HttpRequest, code: str) -> HttpResponse:
    """A site the person may see, or 404."""
    site = access.site_or_404(request.user, code)
    now, prefer = timezone.now(), units.preference(request)
    lines = standings.system_lines(_systems(request, site.pk), now, ledgers=True)
    newest = max((line.last_sample for line in lines if line.last_sample), default=now)
    days = history.daily((line.system for line in lines), site.zone, newest - timedelta(days=DAYS))
    pasts = past.load([line.system for line in lines])
    parts = [
        _part(line, days.get(line.system.pk, []), pasts[line.system.pk], site.zone, prefer)
        for line in lines
    ]
    first = min((group[0].day for group in days.values()), default=None)
    role = access.role_of(request.user)
    context = {
        "site": site,
        "place_form": PlaceForm(instance=site) if role is Role.MANAGER else None,
        "parts": parts,
        "answer": _verdict_on_events(parts, first, now),
        "role": role,
        "now": now,
        "units": prefer,
    }
    return render(request, "building/page.html", context)
