"""Every address of the web server."""

from __future__ import annotations

from django.contrib import admin
from django.contrib.auth.decorators import login_not_required
from django.urls import URLPattern, URLResolver, include, path
from django.views.generic import RedirectView

to_sign_in = RedirectView.as_view(pattern_name="sign-in", query_string=True)

urlpatterns: list[URLPattern | URLResolver] = [
    # One way to sign in, with its limit on wrong passwords.
    path("admin/login/", login_not_required(to_sign_in)),
    path("admin/", admin.site.urls),
    path("", include("fleet.api.urls")),
    path("", include("fleet.operations.runbook.views")),
    path("", include("fleet.pages.urls")),
]
