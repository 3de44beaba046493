"""Addresses of foreign logs and their mappings."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.pages.logs import page

urlpatterns: list[URLPattern] = [
    path("logs/", page.logs, name="logs"),
    path("logs/systems", page.systems_like, name="log-systems"),
    path("logs/<int:pk>/", page.mapping_page, name="log"),
    path("logs/<int:pk>/change", page.change, name="log-change"),
]
