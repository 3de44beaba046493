"""News of systems, whom they are told to, and the messages on their way: the rows are the queue."""

from __future__ import annotations

import secrets

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from fleet.models.event import Event
from fleet.models.organisation import Organisation
from fleet.models.system import System


class NewsKind(models.TextChoices):
    """What can be new."""

    OPENED = "opened", "suspicion came up"
    CHANGED = "changed", "suspicion changed"
    CLOSED = "closed", "suspicion is gone"
    RETRACTED = "retracted", "suspicion was taken back"
    URGENT = "urgent", "compressor in danger"
    CALM = "calm", "compressor no longer in danger"
    SILENT = "silent", "data stopped"
    BACK = "back", "data came again"


class News(models.Model):
    """Something that changed, written once: ``key`` says what, so it is never noted twice.

    ``told`` is false for what is only remembered: history that was loaded later, and flapping.
    ``at`` is when it was noted; ``since`` is when it began, by the data.
    """

    key = models.CharField(max_length=100, unique=True)
    kind = models.CharField(max_length=10, choices=NewsKind.choices)
    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="news")
    event = models.ForeignKey(Event, null=True, on_delete=models.SET_NULL, related_name="news")
    condition = models.CharField(max_length=24, blank=True)
    probability = models.FloatField(null=True)
    why = models.CharField(max_length=300, blank=True)
    since = models.DateTimeField()
    at = models.DateTimeField(db_index=True)
    told = models.BooleanField(default=True)

    class Meta:
        """Oldest first; the last of a kind for a system or an event is looked up."""

        ordering = ("pk",)
        indexes = (models.Index(fields=("system", "kind"), name="news_of_system"),)

    def __str__(self) -> str:
        """What happened where."""
        return f"{self.system}: {self.kind}"


def new_secret() -> str:
    """What a webhook is signed with: 256 random bits."""
    return secrets.token_urlsafe(32)


class Webhook(models.Model):
    """An address that programs of an organisation are told news at.

    ``secret`` is kept in clear: it is needed to sign with.
    """

    organisation = models.ForeignKey(
        Organisation, on_delete=models.CASCADE, related_name="webhooks"
    )
    address = models.URLField(max_length=500)
    secret = models.CharField(max_length=64, default=new_secret)
    urgent_only = models.BooleanField(default=False)
    active = models.BooleanField(default=True)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    made_at = models.DateTimeField(default=timezone.now)
    told_up_to = models.PositiveBigIntegerField(default=0)

    class Meta:
        """Newest first."""

        ordering = ("-made_at", "-pk")

    def __str__(self) -> str:
        """Where it goes."""
        return self.address


class Outgoing(models.Model):
    """A mail or a webhook's call on its way. ``key`` makes it one, however often it is asked for.

    A mail goes to ``to``, or to the address ``person`` has when it leaves; a ``secret`` one is
    emptied when it is gone. It is tried until ``sent_at`` or ``given_up_at`` is set; ``retry_at``
    holds it back.
    """

    key = models.CharField(max_length=100, unique=True)
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.CASCADE, related_name="+"
    )
    webhook = models.ForeignKey(
        Webhook, null=True, on_delete=models.CASCADE, related_name="outgoing"
    )
    to = models.EmailField(blank=True, db_default="")
    secret = models.BooleanField(db_default=False)
    headers = models.JSONField(null=True)
    subject = models.CharField(max_length=200, blank=True)
    text = models.TextField()
    made_at = models.DateTimeField(default=timezone.now)
    retry_at = models.DateTimeField(default=timezone.now)
    attempts = models.PositiveSmallIntegerField(default=0)
    sent_at = models.DateTimeField(null=True, blank=True)
    given_up_at = models.DateTimeField(null=True, blank=True)
    failure = models.CharField(max_length=300, blank=True)

    class Meta:
        """Newest first; those still to be sent are found by their time."""

        ordering = ("-pk",)
        indexes = (
            models.Index(
                fields=("retry_at",),
                condition=Q(sent_at=None, given_up_at=None),
                name="outgoing_waiting",
            ),
        )

    def __str__(self) -> str:
        """What it is about."""
        return self.subject or self.key
