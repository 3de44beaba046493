"""A service company that works with this installation: its people see nothing of another's."""

from __future__ import annotations

from django.db import models

DEFAULT_CODE = "default"
"""The organisation that commands use when none is named; it is made when first asked for."""


class OrganisationManager(models.Manager["Organisation"]):
    """Finds the default organisation, and gives it what belongs to nobody."""

    def default(self) -> Organisation:
        """The default organisation."""
        found, _ = self.get_or_create(code=DEFAULT_CODE, defaults={"name": "Service company"})
        return found


class Organisation(models.Model):
    """One service company. Clients and people belong to exactly one."""

    code = models.SlugField(max_length=48, unique=True)
    name = models.CharField(max_length=200)

    objects = OrganisationManager()

    class Meta:
        """Organisations are listed by name."""

        ordering = ("name",)

    def __str__(self) -> str:
        """The name people use."""
        return self.name

    @property
    def is_default(self) -> bool:
        """Whether it is the one the installation itself is named after."""
        return self.code == DEFAULT_CODE


def default_pk() -> int:
    """Primary key of the default organisation: the default of columns that point to one."""
    return Organisation.objects.default().pk
