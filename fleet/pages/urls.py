"""Addresses of the pages."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.pages import (
    arrange,
    building,
    charge,
    company,
    event,
    event_actions,
    health,
    logs,
    months,
    offline,
    ranking,
    rounds,
    share,
    sign_in,
    taught,
    units,
)

urlpatterns: list[URLPattern] = [
    path("", ranking.ranking, name="ranking"),
    path("sites/<slug:code>/", building.building, name="building"),
    path("sites/<slug:code>/place", rounds.place, name="building-place"),
    path("sites/<slug:code>/months/", months.building, name="building-months"),
    path("sites/<slug:code>/<str:system>/charge/", charge.charge, name="charge"),
    path("clients/", months.clients, name="clients"),
    path("clients/<slug:code>/", months.client, name="client"),
    path("clients/<slug:code>/share", share.make, name="share"),
    path("share-links/<int:pk>/revoke", share.revoke, name="share-revoke"),
    path("shared/<str:token>/", share.shared, name="shared"),
    path("logs/", logs.logs, name="logs"),
    path("logs/<int:pk>/", logs.mapping_page, name="log"),
    path("logs/<int:pk>/change", logs.change, name="log-change"),
    path("events/<int:pk>/", event.event, name="event"),
    path("events/<int:pk>/series.json", event.series, name="event-series"),
    path("events/<int:pk>/acknowledge", event_actions.acknowledge, name="event-acknowledge"),
    path("events/<int:pk>/assign", event_actions.assign, name="event-assign"),
    path("events/<int:pk>/shelve", event_actions.shelve, name="event-shelve"),
    path("events/<int:pk>/unshelve", event_actions.unshelve, name="event-unshelve"),
    path("events/<int:pk>/note", event_actions.note, name="event-note"),
    path("events/<int:pk>/visit", event_actions.visit, name="event-visit"),
    path("events/together", arrange.together, name="events-together"),
    path("rounds/", rounds.rounds, name="rounds"),
    path("taught/", taught.taught, name="taught"),
    path("taught/<int:pk>/count", taught.count, name="taught-count"),
    path("company-logo", company.logo, name="company-logo"),
    path("units", units.choose, name="units"),
    path("sign-in", sign_in.SignIn.as_view(), name="sign-in"),
    path("sign-out", offline.SignOut.as_view(), name="sign-out"),
    path("offline-worker.js", offline.worker, name="offline-worker"),
    path("offline", offline.fallback, name="offline"),
    path("healthz", health.healthz, name="healthz"),
]
