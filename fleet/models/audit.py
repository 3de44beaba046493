"""Who saw and changed what: written once, never changed."""

from __future__ import annotations

from typing import Any, NoReturn

from django.conf import settings
from django.db import models
from django.utils import timezone

from fleet.models.organisation import Organisation


class AuditEntryManager(models.Manager["AuditEntry"]):
    """Writes lines."""

    def by_command(self, what: str, about: object, organisation_id: int | None) -> None:
        """What somebody did on the command line, who has no account there."""
        self.create(
            organisation_id=organisation_id,
            name="command line",
            what=what,
            about=str(about)[:300],
        )


class AuditEntry(models.Model):
    """One line of the record. ``name`` stays when the account is gone."""

    at = models.DateTimeField(default=timezone.now, db_index=True)
    organisation = models.ForeignKey(
        Organisation, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    who = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    name = models.CharField(max_length=150, blank=True)
    what = models.CharField(max_length=60)
    about = models.CharField(max_length=300, blank=True)
    address = models.GenericIPAddressField(null=True)

    objects = AuditEntryManager()

    class Meta:
        """Newest first."""

        ordering = ("-pk",)

    def __str__(self) -> str:
        """Who did what."""
        return f"{self.name}: {self.what} {self.about}".rstrip()

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Written once. Raises TypeError when it is there already."""
        if self.pk is not None:
            raise TypeError("A line of the record is never changed.")
        super().save(*args, **kwargs)

    def delete(self, *_: Any, **__: Any) -> NoReturn:
        """Never. Raises TypeError."""
        raise TypeError("A line of the record is never removed.")
