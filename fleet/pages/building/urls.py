"""Addresses of a building and of its systems."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.pages.building import charge, data, page, place

urlpatterns: list[URLPattern] = [
    path("sites/<slug:code>/", page.building, name="building"),
    path("sites/<slug:code>/place", place.place, name="building-place"),
    path("sites/<slug:code>/<str:system>/charge/", charge.charge, name="charge"),
    path("sites/<slug:code>/<str:system>/data", data.data, name="system-data"),
]
