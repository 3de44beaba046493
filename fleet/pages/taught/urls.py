"""Addresses of what visits taught."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.pages.taught import page

urlpatterns: list[URLPattern] = [
    path("taught/", page.taught, name="taught"),
    path("taught/<int:pk>/count", page.count, name="taught-count"),
]
