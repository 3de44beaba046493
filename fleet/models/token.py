"""Upload tokens: what a gateway shows to send and read data of one site."""

from __future__ import annotations

import hashlib
import re
import secrets
from datetime import datetime, timedelta

from django.db import models, transaction
from django.db.models import Q
from django.utils import timezone

from fleet.models.site import Site

SECRET_BYTES = 32
PREFIX_BYTES = 4
SHAPE = re.compile(r"millrace_([0-9a-f]{8})_([A-Za-z0-9_-]{43})")
"""A fixed word first, so that a token left in a file can be found; then prefix and secret."""

USE_NOTED_EVERY = timedelta(minutes=1)
ROTATED_LASTS = timedelta(hours=24)
"""What a token that was replaced still lasts unless said otherwise: time to visit the gateway."""


class UploadTokenManager(models.Manager["UploadToken"]):
    """Makes tokens and recognises them."""

    def make(self, site: Site, expires_at: datetime | None = None) -> tuple[UploadToken, str]:
        """A new token, and its text, which is kept nowhere."""
        token = UploadToken(site=site, expires_at=expires_at)
        text = token.draw()
        token.save()
        return token, text

    @transaction.atomic
    def rotate(
        self, token: UploadToken, now: datetime, lasts: timedelta
    ) -> tuple[UploadToken, str]:
        """A token in the place of another, which lasts so much longer at most."""
        made = self.make(token.site)
        end = now + lasts
        self.filter(Q(expires_at=None) | Q(expires_at__gt=end), pk=token.pk).update(expires_at=end)
        token.refresh_from_db(fields=["expires_at"])
        return made

    def recognise(self, text: str, now: datetime) -> UploadToken | None:
        """The token of that text with its site, or None: unknown, revoked or expired."""
        match = SHAPE.fullmatch(text)
        if match is None:
            return None
        usable = self.filter(Q(expires_at=None) | Q(expires_at__gt=now), revoked_at=None)
        token = usable.select_related("site").filter(prefix=match[1]).first()
        if token is None or not secrets.compare_digest(token.sha256, _digest(text)):
            return None
        token.note_use(now)
        return token


class UploadToken(models.Model):
    """A token of one site. Only its SHA-256 is kept: 256 random bits need no slow hash."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="tokens")
    prefix = models.CharField(max_length=2 * PREFIX_BYTES, unique=True)
    sha256 = models.CharField(max_length=64)
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField(null=True, blank=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    text = ""
    """While it is shown the only time; never stored."""

    objects = UploadTokenManager()

    class Meta:
        """Newest first."""

        ordering = ("-created_at",)

    def __str__(self) -> str:
        """Site and prefix; the prefix is no secret."""
        return f"{self.site.code} {self.prefix}"

    def draw(self) -> str:
        """Draw prefix and secret; the text of the token, which is kept nowhere."""
        self.prefix = secrets.token_hex(PREFIX_BYTES)
        text = f"millrace_{self.prefix}_{secrets.token_urlsafe(SECRET_BYTES)}"
        self.sha256 = _digest(text)
        return text

    def note_use(self, now: datetime) -> None:
        """Remember when it was last used, to the minute: not every request is a write."""
        if self.last_used_at is None or now - self.last_used_at >= USE_NOTED_EVERY:
            UploadToken.objects.filter(pk=self.pk).update(last_used_at=now)

    def revoke(self, now: datetime) -> None:
        """Refuse it from the next request on. Revoking again keeps the first time."""
        UploadToken.objects.filter(pk=self.pk, revoked_at=None).update(revoked_at=now)
        self.refresh_from_db(fields=["revoked_at"])


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("ascii")).hexdigest()
