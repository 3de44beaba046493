"""The owner of buildings that the service company looks after."""

from __future__ import annotations

from django.db import models

from fleet.models.organisation import Organisation, default_pk


class Client(models.Model):
    """One client; ``code`` is what manifests call it, unique in its organisation.

    ``organisation`` may be empty for one release, for programs of the release before; such rows
    are nobody's until the next registration or migration gives them to the default organisation.
    """

    organisation = models.ForeignKey(
        Organisation,
        null=True,
        default=default_pk,
        on_delete=models.PROTECT,
        related_name="clients",
    )
    code = models.SlugField(max_length=48)
    name = models.CharField(max_length=200)

    class Meta:
        """Clients are listed by name."""

        ordering = ("name",)
        constraints = (
            models.UniqueConstraint(
                fields=("organisation", "code"), name="client_code_unique_in_organisation"
            ),
        )

    def __str__(self) -> str:
        """The name people use."""
        return self.name
