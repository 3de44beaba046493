"""Writing lines into the record of who saw and changed what."""

from __future__ import annotations

from ipaddress import ip_address
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.dispatch import receiver
from django.http import HttpRequest

from fleet import access
from fleet.models import AuditEntry, ShareLink


def address_of(request: HttpRequest) -> str | None:
    """Where the request comes from: behind a proxy, what the proxy itself has added."""
    forwarded = request.headers.get("X-Forwarded-For", "") if settings.HTTPS else ""
    said = forwarded.split(",")[-1].strip() or request.META.get("REMOTE_ADDR", "")
    try:
        return str(ip_address(said))
    except ValueError:
        return None


def note(request: HttpRequest, what: str, about: object = "", who: User | None = None) -> None:
    """Write a line about what this request's person did; ``who`` where nobody is signed in."""
    user = who or request.user
    AuditEntry.objects.create(
        organisation_id=access.organisation_of(user),
        who_id=user.pk,
        name=user.get_username(),
        what=what,
        about=str(about)[:300],
        address=address_of(request),
    )


def note_opening(request: HttpRequest, link: ShareLink) -> None:
    """Write down that a shared report was opened; nobody is signed in then."""
    AuditEntry.objects.create(
        organisation_id=link.client.organisation_id,
        name=f"link for {link.reader}",
        what="opened the shared report of",
        about=link.client.name,
        address=address_of(request),
    )


@receiver(user_logged_in)
def _signed_in(request: HttpRequest, user: User, **_: Any) -> None:
    note(request, "signed in", who=user)


@receiver(user_logged_out)
def _signed_out(request: HttpRequest, user: User | None, **_: Any) -> None:
    if user is not None:
        note(request, "signed out", who=user)
