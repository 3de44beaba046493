"""Addresses of the pages: those of every room, and of what belongs to none."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, include, path

from fleet.pages import health, offline, units

urlpatterns: list[URLPattern | URLResolver] = [
    path("", include("fleet.pages.ranking.urls")),
    path("", include("fleet.pages.rounds.urls")),
    path("", include("fleet.pages.building.urls")),
    path("", include("fleet.pages.event.urls")),
    path("", include("fleet.pages.report.urls")),
    path("", include("fleet.pages.people.urls")),
    path("", include("fleet.pages.taught.urls")),
    path("", include("fleet.pages.logs.urls")),
    path("units", units.choose, name="units"),
    path("sign-out", offline.SignOut.as_view(), name="sign-out"),
    path("offline-worker.js", offline.worker, name="offline-worker"),
    path("offline", offline.fallback, name="offline"),
    path("healthz", health.healthz, name="healthz"),
]
