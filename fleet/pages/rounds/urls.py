"""Address of the rounds."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.pages.rounds import page

urlpatterns: list[URLPattern] = [
    path("rounds/", page.rounds, name="rounds"),
]
