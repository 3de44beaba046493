"""The owner of buildings that the service company looks after."""

from __future__ import annotations

from django.db import models


class Client(models.Model):
    """One client; ``code`` is what manifests call it."""

    code = models.SlugField(max_length=48, unique=True)
    name = models.CharField(max_length=200)

    class Meta:
        """Clients are listed by name."""

        ordering = ("name",)

    def __str__(self) -> str:
        """The name people use."""
        return self.name
