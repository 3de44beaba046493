"""The web application for a WSGI server: ``fleet.wsgi:application``."""

from __future__ import annotations

import gc
import os
from collections.abc import Iterable
from typing import Any

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver
from django.utils.http import parse_header_parameters

from fleet import ahead

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")

_django = get_wsgi_application()


def application(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
    """Django, which fails before any view can answer where the Content-Type cannot be read."""
    try:
        parse_header_parameters(environ.get("CONTENT_TYPE", ""))
    except ValueError:
        environ["CONTENT_TYPE"] = ""
    answer: Iterable[bytes] = _django(environ, start_response)
    return answer


def settle() -> None:
    """Load every page, and keep the garbage collector from walking what stays for good.

    Walking it took up to a third of a second in the middle of an answer.
    """
    assert get_resolver().url_patterns
    ahead.load()
    gc.collect()
    gc.freeze()


settle()
