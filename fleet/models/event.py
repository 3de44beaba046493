"""A suspicion that lasted: when, what, who takes it, and what the visit found."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models.functions import Now
from django.utils.translation import gettext_lazy as _

from fleet.models.system import System


class EventState(models.TextChoices):
    """Alarm states in the vocabulary of ISA-18.2 / IEC 62682."""

    UNACKNOWLEDGED_ACTIVE = "unack_active", _("active, unacknowledged")
    ACKNOWLEDGED_ACTIVE = "ack_active", _("active, acknowledged")
    RETURNED_UNACKNOWLEDGED = "rtn_unack", _("returned to normal, unacknowledged")
    NORMAL = "normal", _("returned to normal")
    SHELVED = "shelved", _("shelved")
    OUT_OF_SERVICE = "out_of_service", _("out of service")


class Event(models.Model):
    """Windows of one system joined with hysteresis under one leading condition.

    ``opened_at`` and ``condition`` identify the event when it is derived again from the windows;
    what people did with it stays. ``verdict`` is the dump of the verdict at its strongest. An
    event whose evidence is gone (late data, a better method) is ``withdrawn`` if anyone has
    touched it.
    """

    system = models.ForeignKey(System, on_delete=models.CASCADE, related_name="events")
    condition = models.CharField(max_length=24)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    last_window = models.DateTimeField()
    peak_probability = models.FloatField()
    peak_at = models.DateTimeField()
    state = models.CharField(
        max_length=16, choices=EventState.choices, default=EventState.UNACKNOWLEDGED_ACTIVE
    )
    assignee = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="events",
    )
    verdict = models.JSONField(default=dict)
    why = models.CharField(max_length=300, default="")
    method_version = models.PositiveIntegerField(default=0)
    visit_planned_on = models.DateField(null=True, blank=True)
    shelved_until = models.DateTimeField(null=True, blank=True)
    shelved_reason = models.CharField(max_length=300, blank=True)
    withdrawn = models.BooleanField(default=False)

    class Meta:
        """Newest first."""

        ordering = ("-opened_at",)
        constraints = (
            # Deferred: openings may move past each other while late data is taken in.
            models.UniqueConstraint(
                fields=("system", "condition", "opened_at"),
                name="event_unique",
                deferrable=models.Deferrable.DEFERRED,
            ),
        )
        indexes = (
            # The list asks for these alone, and closed ones pile up over the years.
            models.Index(
                fields=("-opened_at",),
                condition=models.Q(closed_at=None, withdrawn=False),
                name="event_open",
            ),
        )

    def __str__(self) -> str:
        """What was suspected where."""
        return f"{self.system}: {self.condition} since {self.opened_at:%Y-%m-%d}"


class EventNote(models.Model):
    """What somebody wrote under an event."""

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="notes")
    author = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    written_at = models.DateTimeField(auto_now_add=True)
    text = models.TextField(max_length=4000)

    class Meta:
        """Oldest first."""

        ordering = ("written_at",)

    def __str__(self) -> str:
        """The beginning of the note."""
        return self.text[:60]


class EventChange(models.Model):
    """Who changed what of an event, and when; written once, never changed."""

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="changes")
    who = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    at = models.DateTimeField(auto_now_add=True)
    what = models.CharField(max_length=400)

    class Meta:
        """Oldest first."""

        ordering = ("at", "pk")

    def __str__(self) -> str:
        """What was done."""
        return self.what


class VisitOutcome(models.TextChoices):
    """What the technician found."""

    CONFIRMED = "confirmed", _("suspicion confirmed")
    OTHER_CAUSE = "other_cause", _("other cause found")
    NOTHING_FOUND = "nothing_found", _("nothing found")


READINGS = (
    "subcooling_k",
    "discharge_superheat_k",
    "discharge_pressure_pa",
    "liquid_temperature_outdoor_side_k",
    "liquid_temperature_indoor_side_k",
    "recovered_kg",
    "charged_kg",
)
"""What a visitor may have measured; pressure is absolute."""


class SiteVisit(models.Model):
    """A visit because of an event, and its outcome.

    ``readings`` are what the visitor measured, in SI units by the names of ``READINGS``.
    ``suspected`` and ``judged_at`` are the event's condition and peak when the visit was recorded:
    what is learned from it must not move with the event, which what is learned moves. ``said`` is
    what the plain table of weights says at that moment (see ``fleet.analysis.learning``), empty
    until it is worked out. A visit teaches while it ``counts``.
    """

    event = models.ForeignKey(Event, on_delete=models.CASCADE, related_name="visits")
    visitor = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    visited_on = models.DateField()
    outcome = models.CharField(max_length=16, choices=VisitOutcome.choices)
    found_condition = models.CharField(max_length=24, blank=True)
    readings = models.JSONField(default=dict, blank=True)
    remark = models.TextField(max_length=4000, blank=True)
    suspected = models.CharField(max_length=24, blank=True, default="", db_default="")
    judged_at = models.DateTimeField(null=True, blank=True)
    said = models.JSONField(null=True, blank=True)
    counts = models.BooleanField(default=True, db_default=True)
    not_counted_because = models.CharField(max_length=300, blank=True, default="", db_default="")
    changed_at = models.DateTimeField(auto_now=True, db_default=Now())

    class Meta:
        """Newest first."""

        ordering = ("-visited_on",)

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Keep what the visit went for as it is now."""
        if self.judged_at is None:
            self.suspected, self.judged_at = self.event.condition, self.event.peak_at
        super().save(*args, **kwargs)

    def __str__(self) -> str:
        """The outcome and its day."""
        return f"{self.outcome} on {self.visited_on}"
