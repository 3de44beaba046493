"""Who may see what: a role, and for account reps the clients they look after."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.models.client import Client
from fleet.models.organisation import Organisation, default_pk


class Role(models.TextChoices):
    """The three readers."""

    MANAGER = "manager", _("service manager")
    ACCOUNT_REP = "account_rep", _("account rep")
    TECHNICIAN = "technician", _("technician")


class Membership(models.Model):
    """A person's organisation and role in it.

    Managers see all of their organisation; account reps their clients; technicians the systems
    they have an assigned event for.
    """

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="membership"
    )
    organisation = models.ForeignKey(
        Organisation,
        null=True,
        default=default_pk,
        on_delete=models.PROTECT,
        related_name="members",
    )
    role = models.CharField(max_length=16, choices=Role.choices)
    clients = models.ManyToManyField(Client, blank=True, related_name="members")

    def __str__(self) -> str:
        """Person and role."""
        return f"{self.user} ({self.role})"
