"""The service company's picture for what clients read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import FileResponse, Http404, HttpRequest
from django.views.decorators.http import require_GET

from fleet.models import Client

KINDS = {".svg": "image/svg+xml", ".png": "image/png", ".jpg": "image/jpeg"}


def has_logo() -> bool:
    """Whether there is a picture to show."""
    path = Path(settings.COMPANY_LOGO)
    return bool(settings.COMPANY_LOGO) and path.suffix.lower() in KINDS and path.is_file()


def letterhead(client: Client) -> dict[str, Any]:
    """Who looks after a client: the installation's company, or the organisation it belongs to."""
    organisation = client.organisation
    if organisation is None or organisation.is_default:
        return {"company": settings.COMPANY_NAME, "logo": has_logo()}
    return {"company": organisation.name, "logo": False}


@login_not_required
@require_GET
def logo(request: HttpRequest) -> FileResponse:  # noqa: ARG001
    """The picture named in the settings, or 404."""
    if not has_logo():
        raise Http404
    path = Path(settings.COMPANY_LOGO)
    kind = KINDS[path.suffix.lower()]
    return FileResponse(
        path.open("rb"), content_type=kind, headers={"Cache-Control": "public, max-age=3600"}
    )
