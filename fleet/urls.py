"""Every address of the web server."""

from __future__ import annotations

from django.contrib import admin
from django.urls import URLPattern, URLResolver, include, path

urlpatterns: list[URLPattern | URLResolver] = [
    path("admin/", admin.site.urls),
    path("", include("fleet.api.urls")),
    path("", include("fleet.pages.urls")),
]
