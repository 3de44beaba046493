"""Addresses of reports over months, with their paper and their links for outsiders."""

from __future__ import annotations

from django.urls import URLPattern, path

from fleet.pages.report import clients, company, page, paper, share

urlpatterns: list[URLPattern] = [
    path("sites/<slug:code>/months/", page.building, name="building-months"),
    path("sites/<slug:code>/months/report.pdf", paper.building, name="building-months-pdf"),
    path("clients/", clients.clients, name="clients"),
    path("clients/<slug:code>/", page.client, name="client"),
    path("clients/<slug:code>/report.pdf", paper.client, name="client-pdf"),
    path("clients/<slug:code>/share", share.make, name="share"),
    path("share-links/<int:pk>/revoke", share.revoke, name="share-revoke"),
    path("shared/<str:token>/", share.shared, name="shared"),
    path("shared/<str:token>/report.pdf", paper.shared, name="shared-pdf"),
    path("company-logo", company.logo, name="company-logo"),
]
