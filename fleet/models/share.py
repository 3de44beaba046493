"""Links that show one client's report to somebody without an account."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta

from django.conf import settings
from django.core import signing
from django.db import models
from django.utils import timezone

from fleet.models.client import Client

SALT = "millrace.share"
KEY_BYTES = 16
OPENING_NOTED_EVERY = timedelta(minutes=1)


def new_key() -> str:
    """What identifies a link: 128 random bits."""
    return secrets.token_urlsafe(KEY_BYTES)


class ShareLinkManager(models.Manager["ShareLink"]):
    """Finds links by what stands in their address."""

    def opened_by(self, token: str, now: datetime) -> ShareLink | None:
        """The link of a signed token, or None: forged, unknown, revoked or expired."""
        try:
            key = signing.Signer(salt=SALT).unsign(token)
        except signing.BadSignature:
            return None
        usable = self.filter(key=key, revoked_at=None, expires_at__gt=now)
        return usable.select_related("client").first()


class ShareLink(models.Model):
    """A link to one client's report. ``reader`` says for whom it was made.

    The signature keeps guesses away from the database; the row can be revoked.
    """

    client = models.ForeignKey(Client, on_delete=models.CASCADE, related_name="share_links")
    key = models.CharField(max_length=32, unique=True, default=new_key, editable=False)
    reader = models.CharField(max_length=120)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    made_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    opened_at = models.DateTimeField(null=True, blank=True)

    objects = ShareLinkManager()

    class Meta:
        """Newest first."""

        ordering = ("-made_at",)

    def __str__(self) -> str:
        """What it shows, and to whom."""
        return f"{self.client} for {self.reader}"

    @property
    def token(self) -> str:
        """What stands in the address."""
        return signing.Signer(salt=SALT).sign(self.key)

    @property
    def usable(self) -> bool:
        """Neither revoked nor expired."""
        return self.revoked_at is None and self.expires_at > timezone.now()

    def note_opening(self, now: datetime) -> bool:
        """Remember the last opening, to the minute; whether it was a new one."""
        if self.opened_at is not None and now - self.opened_at < OPENING_NOTED_EVERY:
            return False
        ShareLink.objects.filter(pk=self.pk).update(opened_at=now)
        return True

    def revoke(self, now: datetime) -> None:
        """Open no more."""
        if self.revoked_at is None:
            self.revoked_at = now
            self.save(update_fields=("revoked_at",))
