"""Addresses of what concerns people: settings, ways in, who else there is, what they are told."""

from __future__ import annotations

from django.contrib.auth.decorators import login_not_required
from django.urls import URLPattern, path
from django.views.generic import TemplateView

from fleet.pages.people import notices, own, page, recorded, second_factor, sign_in, way_in

sent = login_not_required(TemplateView.as_view(template_name="people/sent.html"))

urlpatterns: list[URLPattern] = [
    path("sign-in", sign_in.SignIn.as_view(), name="sign-in"),
    path("sign-in/code", sign_in.code, name="sign-in-code"),
    path("password/forgotten", way_in.Forgotten.as_view(), name="password-forgotten"),
    path("password/sent", sent, name="password-sent"),
    path(
        "password/new/<str:uidb64>/<str:token>/",
        way_in.NewPassword.as_view(),
        name="password-new",
    ),
    path("invitation/<str:token>/", way_in.invitation, name="invitation"),
    path("settings/", own.settings, name="settings"),
    path("settings/password", own.ChangePassword.as_view(), name="password-change"),
    path("settings/second-factor", second_factor.second_factor, name="second-factor"),
    path("people/", page.people, name="people"),
    path("people/invite", page.invite, name="invite"),
    path("people/<int:pk>/", page.person, name="person"),
    path("invitations/<int:pk>/revoke", page.revoke, name="invitation-revoke"),
    path("record/", recorded.recorded, name="record"),
    path("webhooks/", notices.webhooks, name="webhooks"),
    path("webhooks/<int:pk>/change", notices.change, name="webhook-change"),
    path("notices/stop/<str:token>/", notices.stop, name="notices-stop"),
]
