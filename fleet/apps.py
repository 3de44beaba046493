"""The one Django application: a fleet of buildings and what is known of them."""

from __future__ import annotations

from django.apps import AppConfig

# Imported for their effect: shared tasks need the configured app, checks register themselves.
from fleet import celery, checks  # noqa: F401


class FleetConfig(AppConfig):
    """Registers models, checks and tasks under the label ``fleet``."""

    name = "fleet"
    verbose_name = "Fleet"
    default_auto_field = "django.db.models.BigAutoField"
