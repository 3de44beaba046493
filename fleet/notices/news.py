"""What changed since it was last looked: rows written once, from the state as it is stored.

Whatever leads to a change - late data, a better method, people - shows in the events and standings,
so those are compared with what was noted last. Looking twice notes nothing twice.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from fleet.models import Event, News, NewsKind, Standing

FRESH = timedelta(days=7)
"""What began longer ago is history that was loaded, and is remembered without being told."""

SETTLED = timedelta(hours=12)
"""A suspicion is told when it has lasted so long: the next data may take it back."""

AGAIN_AFTER = timedelta(days=14)
"""The same suspicion of the same system that comes up again sooner is not told again."""

SILENT_AFTER = timedelta(days=2)
CALM_AFTER = timedelta(days=1)
"""Common practice, no source, as are the spans above; the notices benchmark shows what they do."""

_CAME_UP = (NewsKind.OPENED, NewsKind.CHANGED)


def note(now: datetime) -> list[News]:
    """Write down what is new and return it. The caller holds the transaction and the lock."""
    found = [*_came_up(now), *_closed(now), *_urgency(now), *_data(now)]
    News.objects.bulk_create(found, ignore_conflicts=True)
    return list(News.objects.filter(key__in=[it.key for it in found]).select_related("system"))


def _came_up(now: datetime) -> Iterable[News]:
    """Suspicions that came up; those that take the place of one that vanished have changed it."""
    lost = {it.system_id: it for it in _lost()}
    noted = News.objects.filter(event=OuterRef("pk"), kind__in=_CAME_UP)
    fresh = Event.objects.filter(~Exists(noted), withdrawn=False).defer("verdict")
    replaced: set[int] = set()
    for event in fresh.order_by("opened_at"):
        if event.closed_at is None and event.last_window - event.opened_at < SETTLED:
            continue
        before = lost.get(event.system_id) if event.closed_at is None else None
        told = (
            event.closed_at is None
            and event.opened_at >= now - FRESH
            and not _told_of_late(event, now)
        )
        kind = NewsKind.CHANGED if before else NewsKind.OPENED
        replaced |= {before.pk} if before else set()
        yield _of_event(f"opened:{event.pk}", kind, event, now, told=told)
    for it in lost.values():
        yield News(
            key=f"retracted:{it.pk}",
            kind=NewsKind.RETRACTED,
            system_id=it.system_id,
            condition=it.condition,
            since=it.since,
            at=now,
            told=it.pk not in replaced,
        )


def _lost() -> QuerySet[News]:
    """What was told of events that are there no more, and not taken back yet; the last a system."""
    told = News.objects.filter(Q(event=None) | Q(event__withdrawn=True), told=True)
    later = News.objects.filter(system=OuterRef("system"), pk__gt=OuterRef("pk"))
    settled = later.filter(
        Q(kind=NewsKind.RETRACTED) | Q(kind=NewsKind.CLOSED, condition=OuterRef("condition"))
    )
    return told.filter(~Exists(settled), kind__in=_CAME_UP).order_by("pk")


def _told_of_late(event: Event, now: datetime) -> bool:
    same = News.objects.filter(system=event.system_id, condition=event.condition, told=True)
    return same.filter(kind__in=_CAME_UP, at__gte=now - AGAIN_AFTER).exists()


def _closed(now: datetime) -> Iterable[News]:
    """Suspicions that are gone; told where their beginning was."""
    began = News.objects.filter(event=OuterRef("pk"), kind__in=_CAME_UP)
    ended = News.objects.filter(event=OuterRef("pk"), kind=NewsKind.CLOSED)
    over = Event.objects.filter(Exists(began), ~Exists(ended), withdrawn=False)
    over = over.exclude(closed_at=None).defer("verdict")
    for event in over.annotate(was_told=Subquery(began.values("told")[:1])):
        yield _of_event(f"closed:{event.pk}", NewsKind.CLOSED, event, now, told=event.was_told)


def _of_event(key: str, kind: NewsKind, event: Event, now: datetime, *, told: bool) -> News:
    return News(
        key=key,
        kind=kind,
        system_id=event.system_id,
        event=event,
        condition=event.condition,
        probability=event.peak_probability,
        why=event.why,
        since=(kind is NewsKind.CLOSED and event.closed_at) or event.opened_at,
        at=now,
        told=told,
    )


def _standings(*kinds: NewsKind) -> QuerySet[Any]:
    """Standings with the last news of these kinds of their system: ``before``, ``before_…``."""
    last = News.objects.filter(system=OuterRef("system"), kind__in=kinds).order_by("-pk")
    return Standing.objects.defer("verdict").annotate(
        before=Coalesce(Subquery(last.values("kind")[:1]), Value("")),
        before_pk=Subquery(last.values("pk")[:1]),
        before_at=Subquery(last.values("at")[:1]),
        before_since=Subquery(last.values("since")[:1]),
    )


def _urgency(now: datetime) -> Iterable[News]:
    """Compressors that came into danger, and those that have been out of it for a while."""
    standings = _standings(NewsKind.URGENT, NewsKind.CALM)
    in_danger = standings.filter(urgent=True, at__gte=now - FRESH)
    for it in in_danger.exclude(before=NewsKind.URGENT):
        yield _of_standing(f"urgent:{it.system_id}:{it.before_pk or 0}", NewsKind.URGENT, it, now)
    over = standings.filter(urgent=False, before=NewsKind.URGENT, before_at__lt=now - CALM_AFTER)
    for it in over:
        yield _of_standing(f"calm:{it.before_pk}", NewsKind.CALM, it, now)


def _data(now: datetime) -> Iterable[News]:
    """Systems whose data stopped of late, and those whose data came again."""
    standings = _standings(NewsKind.SILENT, NewsKind.BACK)
    stopped = standings.filter(
        last_sample__lt=now - SILENT_AFTER, last_sample__gte=now - SILENT_AFTER - FRESH
    )
    for it in stopped.exclude(before=NewsKind.SILENT):
        yield _of_standing(f"silent:{it.system_id}:{it.before_pk or 0}", NewsKind.SILENT, it, now)
    back = standings.filter(before=NewsKind.SILENT, last_sample__gt=F("before_since"))
    for it in back.filter(last_sample__gte=now - SILENT_AFTER):
        yield _of_standing(f"back:{it.before_pk}", NewsKind.BACK, it, now)


def _of_standing(key: str, kind: NewsKind, standing: Standing, now: datetime) -> News:
    about_data = kind in (NewsKind.SILENT, NewsKind.BACK)
    lasting = Event.objects.filter(system=standing.system_id, closed_at=None, withdrawn=False)
    strongest = lasting.defer("verdict").order_by("-peak_probability")
    return News(
        key=key,
        kind=kind,
        system_id=standing.system_id,
        # The page to go to from the mail.
        event=strongest.first() if kind is NewsKind.URGENT else None,
        condition="" if about_data else standing.leading,
        why="" if about_data else standing.why,
        since=(standing.last_sample or standing.at) if about_data else standing.at,
        at=now,
    )
