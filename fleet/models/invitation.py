"""Invitations: a link by which somebody makes an account with the role a manager chose."""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

from django.conf import settings
from django.db import models
from django.utils import timezone

from fleet.models.access import Role
from fleet.models.client import Client
from fleet.models.organisation import Organisation

SECRET_BYTES = 32
LASTS = timedelta(days=7)
"""Common practice, no source: long enough for a week away."""


class InvitationManager(models.Manager["Invitation"]):
    """Makes invitations and recognises their links."""

    def make(self, organisation_id: int, email: str, role: Role) -> tuple[Invitation, str]:
        """A new invitation, and the text of its link, which is kept nowhere."""
        text = secrets.token_urlsafe(SECRET_BYTES)
        made = self.create(
            organisation_id=organisation_id,
            email=email,
            role=role,
            sha256=_digest(text),
            expires_at=timezone.now() + LASTS,
        )
        return made, text

    def opened_by(self, text: str, now: datetime) -> Invitation | None:
        """The invitation of that link, or None: unknown, used, revoked or expired."""
        usable = self.filter(accepted_at=None, revoked_at=None, expires_at__gt=now)
        return usable.select_related("organisation").filter(sha256=_digest(text)).first()


class Invitation(models.Model):
    """An invitation. Only the SHA-256 of its 256 random bits is kept, which is looked up whole."""

    organisation = models.ForeignKey(
        Organisation, on_delete=models.CASCADE, related_name="invitations"
    )
    email = models.EmailField()
    role = models.CharField(max_length=16, choices=Role.choices)
    clients = models.ManyToManyField(Client, blank=True, related_name="+")
    sha256 = models.CharField(max_length=64, unique=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    made_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    accepted_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = InvitationManager()

    class Meta:
        """Newest first."""

        ordering = ("-made_at",)

    def __str__(self) -> str:
        """Whom it was sent to, and as what."""
        return f"{self.email} ({self.role})"

    @property
    def waiting(self) -> bool:
        """Neither used, revoked nor expired."""
        return (
            self.accepted_at is None
            and self.revoked_at is None
            and self.expires_at > timezone.now()
        )


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
