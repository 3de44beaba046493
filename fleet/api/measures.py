"""The numbers by which one sees whether an installation keeps up."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import connection
from django.db.models import Count, Min, Q, QuerySet

from fleet.analysis import days
from fleet.api.open_metrics import Gauge
from fleet.ingest import arrival
from fleet.models import DueDay, Standing, System, Upload, UploadState, Window

COUNTED_BELOW = 100_000
"""Windows up to which they are counted one by one; above, the database's estimate is near."""

SILENT_AFTER = timedelta(days=1)


def measures(now: datetime) -> list[Gauge]:
    """All gauges; totals of the installation, so that they name no site."""
    return [*_uploads(now), _due_days(), *_systems(now), _windows()]


def _uploads(now: datetime) -> list[Gauge]:
    states = dict.fromkeys(UploadState.values, 0)
    counted = Upload.objects.order_by().values_list("state").annotate(Count("pk"))
    states |= dict(counted)
    waiting = Upload.objects.filter(state=UploadState.STORED)
    set_aside = Upload.objects.set_aside()
    taken_in = Upload.objects.filter(state=UploadState.TAKEN_IN)
    return [
        Gauge("millrace_uploads", "Uploads by state.", states, "state"),
        Gauge(
            "millrace_queue_age_seconds",
            "Age of the oldest upload not yet taken in; 0 when none waits.",
            {"": _oldest_s(waiting, now)},
            unit="seconds",
        ),
        Gauge(
            "millrace_analysis_lag_seconds",
            "Age of the oldest upload that is taken in and not yet analysed; 0 when none waits.",
            {"": _oldest_s(taken_in, now)},
            unit="seconds",
        ),
        Gauge(
            "millrace_uploads_set_aside",
            "Uploads given up after failures that are not the sender's.",
            {"": set_aside.count()},
        ),
    ]


def _oldest_s(uploads: QuerySet[Upload], now: datetime) -> float:
    first = uploads.aggregate(first=Min("received_at"))["first"]
    return max(0.0, (now - first).total_seconds()) if first else 0.0


def _due_days() -> Gauge:
    counts = DueDay.objects.aggregate(
        parked=Count("pk", filter=days.PARKED),
        analysed=Count("pk", filter=days.ANALYSED),
        failing=Count("pk", filter=~Q(failure="") & ~days.PARKED),
        all=Count("pk"),
    )
    waiting = counts.pop("all") - sum(counts.values())
    return Gauge(
        "millrace_due_days",
        "Days of systems to be analysed: waiting, failing and tried again, parked after "
        "failing too often, or analysed and about to be settled.",
        {"waiting": waiting, **counts},
        "condition",
    )


def _systems(now: datetime) -> list[Gauge]:
    silent = Standing.objects.filter(last_sample__lt=now - SILENT_AFTER)
    ahead = Standing.objects.filter(last_sample__gt=now + arrival.TOLERANCE)
    return [
        Gauge("millrace_systems", "Registered systems.", {"": System.objects.count()}),
        Gauge(
            "millrace_systems_silent",
            "Systems that have sent data, the newest more than a day old.",
            {"": silent.count()},
        ),
        Gauge(
            "millrace_systems_ahead",
            "Systems whose newest data lie in the future: the logger's clock or zone is wrong.",
            {"": ahead.count()},
        ),
    ]


def _windows() -> Gauge:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT reltuples::bigint FROM pg_class WHERE oid = %s::regclass",
            [Window._meta.db_table],
        )
        estimate = int(cursor.fetchone()[0])
    return Gauge(
        "millrace_windows",
        "Stored windows of 15 minutes; estimated where there are many.",
        {"": estimate if estimate >= COUNTED_BELOW else Window.objects.count()},
    )
