"""Addresses of an event and of what people do with it."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.pages.event import actions, arrange, page
from fleet.pages.event.plot import view

urlpatterns: list[URLPattern] = [
    path("events/<int:pk>/", page.event, name="event"),
    path("events/<int:pk>/series.json", view.series, name="event-series"),
    path("events/<int:pk>/acknowledge", actions.acknowledge, name="event-acknowledge"),
    path("events/<int:pk>/assign", actions.assign, name="event-assign"),
    path("events/<int:pk>/shelve", actions.shelve, name="event-shelve"),
    path("events/<int:pk>/unshelve", actions.unshelve, name="event-unshelve"),
    path("events/<int:pk>/note", actions.note, name="event-note"),
    path("events/<int:pk>/visit", actions.visit, name="event-visit"),
    path("events/together", arrange.together, name="events-together"),
]
