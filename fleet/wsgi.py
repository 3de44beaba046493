"""The web application for a WSGI server: ``fleet.wsgi:application``."""

from __future__ import annotations

import gc
import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

application = get_wsgi_application()


def settle() -> None:
    """Load every page, and keep the garbage collector from walking what stays for good.

    Walking it took up to a third of a second in the middle of an answer.
    """
    assert get_resolver().url_patterns
    gc.collect()
    gc.freeze()


settle()
