"""Addresses of the API and of the probes."""

from __future__ import annotations

from django.urls import URLPattern, URLResolver, path, re_path

from fleet.api import interface, probes

urlpatterns: list[URLPattern | URLResolver] = [
    path("api/v1/problems/<slug:slug>", interface.problem_type, name="problem-type"),
    path("api/v1/", interface.guarded_urls()),
    re_path(r"^api/", interface.nothing_here, name="api-nothing"),
    path("readyz", probes.readyz, name="readyz"),
    path("metrics", probes.metrics, name="metrics"),
]
