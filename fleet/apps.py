"""The one Django application: a fleet of buildings and what is known of them."""

from __future__ import annotations

from django.apps import AppConfig

from fleet import checks  # noqa: F401  they register themselves


class FleetConfig(AppConfig):
    """Registers models, checks and tasks under the label ``fleet``."""

    name = "fleet"
    verbose_name = "Fleet"
    default_auto_field = "django.db.models.BigAutoField"
