"""Address of the first page."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.pages.ranking import page

urlpatterns: list[URLPattern] = [
    path("", page.ranking, name="ranking"),
]
