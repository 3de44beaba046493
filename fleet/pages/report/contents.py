"""A client's or a building's report over months: how it did, what was found, what was done."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from itertools import groupby

import numpy as np
from django.db.models import Count, Prefetch, Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet.analysis import day_rows
from fleet.instants import midnight
from fleet.models import Event, Site, SiteVisit, System, VisitOutcome
from fleet.pages import words
from fleet.pages.days import past, strips
from fleet.pages.days.event_line import EventLine
from fleet.pages.days.past import Past
from fleet.pages.days.strips import Chart, Frame
from fleet.pages.report import compare
from fleet.pages.report.compare import Comparison, Row
from fleet.pages.units import Preference

MONTHS = {
    1: gettext_lazy("1 month"),
    3: gettext_lazy("3 months"),
    6: gettext_lazy("6 months"),
    12: gettext_lazy("12 months"),
}
DAYS_A_MONTH = 30.5
SYSTEMS_A_PAGE = 7
"""A page of more would be long to read and slow to make; a client can have hundreds."""


@dataclass(frozen=True)
class Period:
    """The whole days told about, in UTC, both ends included."""

    first: date
    last: date

    @classmethod
    def before(cls, now: datetime, months: int) -> Period:
        """So many months up to yesterday: today is not over yet."""
        last = now.astimezone(UTC).date() - timedelta(days=1)
        return cls(last - timedelta(days=round(DAYS_A_MONTH * months) - 1), last)


@dataclass(frozen=True)
class Visit:
    """A visit, what it found, and the system before and after it."""

    number: int
    visit: SiteVisit
    comparison: Comparison

    @property
    def result(self) -> str:
        """The outcome in words; the technician's remark is not among them."""
        said = str(VisitOutcome(self.visit.outcome).label)
        cause = self.visit.found_condition
        return f"{said}: {words.suspicion(cause).name}" if cause else said


@dataclass(frozen=True)
class SystemReport:
    """One system over the period; ``found``: suspicions that came up or lasted in it."""

    system: System
    past: Past
    period: Period
    prefer: Preference
    found: tuple[EventLine, ...]
    waiting: bool = False
    """Some of its days wait to be judged by a newer version of the method."""

    @cached_property
    def ends(self) -> Comparison:
        """The period's beginning beside its end, from the first day with data on."""
        return compare.ends(self.past, self._first, self.period.last)

    @cached_property
    def visits(self) -> tuple[Visit, ...]:
        """Visits in the period, oldest first."""
        made = (visit for found in self.found for visit in found.event.visits.all())
        inside = [v for v in made if self.period.first <= v.visited_on <= self.period.last]
        inside.sort(key=lambda visit: (visit.visited_on, visit.pk))
        return tuple(
            Visit(i, visit, compare.around(self.past, visit.visited_on))
            for i, visit in enumerate(inside, start=1)
        )

    @property
    def comparisons(self) -> tuple[Row, ...]:
        """What can be compared: the period's ends, and every visit's before and after."""
        items = [(_("Start and end of the period"), self.ends)] if self.ends.told else []
        around = _("Visit %(n)s, before and after")
        items += [(around % {"n": it.number}, it.comparison) for it in self.visits]
        return compare.table(items, self.prefer)

    @property
    def short(self) -> tuple[str, str]:
        """Degree-hours a week that rooms were short, at the period's ends."""
        return compare.table([("", self.ends)], self.prefer)[0].short

    @property
    def now(self) -> words.Suspicion:
        """The leading suspicion today."""
        standing = getattr(self.system, "standing", None)
        return words.suspicion(standing.leading if standing else "not_enough_data")

    @cached_property
    def chart(self) -> Chart | None:
        """What is drawn; None without data."""
        frame = Frame(self._first, self.period.last, self.prefer)
        spans = [found.span(UTC, self.period.last) for found in self.found]
        days = [visit.visit.visited_on for visit in self.visits]
        return strips.chart(
            self.past, frame, [span for span in spans if span.last >= frame.first], days
        )

    @property
    def judged_days(self) -> tuple[str, str]:
        """On how many days enough could be judged: under a heading, and in a sentence."""
        inside = self._inside
        judged = int(np.isfinite(self.past.fault[inside]).sum())
        days = (self.period.last - self._first).days + 1
        counts = {"judged": judged, "days": days}
        return _("%(judged)s of %(days)s") % counts, _("%(judged)s of %(days)s days") % counts

    @property
    def cover(self) -> str:
        """Share of running time that could be judged."""
        inside = self._inside
        running = float(self.past.running_h[inside].sum())
        return words.percent(float(self.past.judged_h[inside].sum()) / running) if running else "–"

    @property
    def drift(self) -> str:
        """What the subcooling does against the system's own past, where that can be told."""
        return self.past.drift_text(self.prefer)

    @property
    def _inside(self) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        return self.past.within(self.period.first, self.period.last)

    @property
    def begins(self) -> date | None:
        """The first day that holds data; None without."""
        day: date | None = self.past.day[0].item() if self.past.day.size else None
        return day

    @cached_property
    def _first(self) -> date:
        """The period's first day, or the first that holds data."""
        return min(max(self.begins or self.period.first, self.period.first), self.period.last)


@dataclass(frozen=True)
class BuildingReport:
    """One building's systems."""

    site: Site
    systems: tuple[SystemReport, ...]


@dataclass(frozen=True)
class Report:
    """The whole report."""

    period: Period
    buildings: tuple[BuildingReport, ...]

    @property
    def systems(self) -> list[SystemReport]:
        """All systems."""
        return [system for building in self.buildings for system in building.systems]

    @property
    def begins(self) -> date | None:
        """The first day with data, where it lies in the period; None where all of it may be told.

        Systems without data say so themselves.
        """
        known = [system.begins for system in self.systems if system.begins]
        first = min(known, default=self.period.first)
        return first if first > self.period.first else None

    @property
    def answer(self) -> str:
        """How it went, in counts."""
        counts = Counter(system.ends.code for system in self.systems)
        if not counts:
            return _("No system is registered here yet.")
        ways = {
            "better": _("better at the end than at the start"),
            "about-the-same": _("about the same"),
            "worse": _("worse"),
            "cannot-be-told": _("cannot be told"),
        }
        said = ", ".join(f"{counts[way]} {text}" for way, text in ways.items() if counts[way])
        systems = ngettext("%(n)s system", "%(n)s systems", len(self.systems))
        return f"{systems % {'n': len(self.systems)}}: {said}."

    @property
    def work(self) -> str:
        """What was found and done, in counts."""
        found = [item for system in self.systems for item in system.found]
        lasting = sum(item.is_open for item in found)
        visits = sum(len(system.visits) for system in self.systems)
        done = ngettext("%(n)s visit recorded.", "%(n)s visits recorded.", visits)
        done = done % {"n": visits} if visits else _("no visits recorded.")
        if not found:
            return f"{_('No suspicion in the period')}; {done}"
        came = ngettext(
            "%(n)s suspicion in the period", "%(n)s suspicions in the period", len(found)
        ) % {"n": len(found)}
        last = _("none still there")
        if lasting:
            last = ngettext("%(n)s of them still there", "%(n)s of them still there", lasting) % {
                "n": lasting
            }
        if lasting == len(found):
            last = _("still there") if lasting == 1 else _("all still there")
        return f"{came}, {last}; {done}"


@dataclass(frozen=True)
class Parts:
    """Sites page by page; how many systems and how many suspicions open today they have in all."""

    pages: list[list[int]]
    systems: int
    lasting: int


def parts(systems: QuerySet[System]) -> Parts:
    """Sites of the systems, by name, in pages of at most SYSTEMS_A_PAGE systems; whole sites."""
    sites = Site.objects.filter(systems__in=systems.order_by()).order_by("name", "pk")
    seen = Q(systems__in=systems.order_by())
    lasts = seen & Q(systems__events__closed_at=None, systems__events__withdrawn=False)
    counted = sites.annotate(
        n=Count("systems", filter=seen, distinct=True),
        lasting=Count("systems__events", filter=lasts, distinct=True),
    )
    found: list[list[int]] = []
    room = of_systems = of_events = 0
    for site, number, lasting in counted.values_list("pk", "n", "lasting"):
        if number > room or not found:
            found.append([])
            room = SYSTEMS_A_PAGE
        found[-1].append(site)
        room -= number
        of_systems, of_events = of_systems + number, of_events + lasting
    return Parts(found, of_systems, of_events)


def gather(systems: QuerySet[System], period: Period, prefer: Preference) -> Report:
    """The report of these systems. Seven queries, however many they are."""
    events = Event.objects.filter(withdrawn=False).defer("verdict")
    events = events.exclude(closed_at__lt=midnight(period.first))
    read = systems.select_related("site__client", "standing").defer("standing__verdict")
    read = read.prefetch_related(
        "indoor_units", Prefetch("events", events.order_by("opened_at")), "events__visits"
    )
    listed = sorted(set(read), key=lambda it: (it.site.name, it.site.pk, it.code))
    pasts = past.load(listed, period.first)  # no probability of earlier days is drawn
    waiting = day_rows.outdated(pasts)
    parts = [
        SystemReport(it, pasts[it.pk], period, prefer, _found(it, period), it.pk in waiting)
        for it in listed
    ]
    buildings = tuple(
        BuildingReport(group[0].system.site, tuple(group))
        for _, it in groupby(parts, key=lambda part: part.system.site_id)
        if (group := list(it))
    )
    return Report(period, buildings)


def _found(system: System, period: Period) -> tuple[EventLine, ...]:
    return tuple(
        EventLine(event)
        for event in system.events.all()
        if event.opened_at.astimezone(UTC).date() <= period.last
    )
