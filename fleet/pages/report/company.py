"""The service company's picture for what clients read."""

from __future__ import annotations

from base64 import b64encode
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import FileResponse, Http404, HttpRequest
from django.views.decorators.http import require_GET

from fleet.models import Client

KINDS = {".svg": "image/svg+xml", ".png": "image/png", ".jpg": "image/jpeg"}


def picture() -> tuple[Path, str] | None:
    """The picture named in the settings and its kind; None where it names none."""
    path = Path(settings.COMPANY_LOGO)
    kind = KINDS.get(path.suffix.lower())
    return (path, kind) if settings.COMPANY_LOGO and kind and path.is_file() else None


def picture_itself() -> str:
    """The picture as an address that holds it (RFC 2397), for what is read without a server."""
    if (found := picture()) is None:
        return ""
    path, kind = found
    return f"data:{kind};base64,{b64encode(path.read_bytes()).decode()}"


def letterhead(client: Client) -> dict[str, Any]:
    """Who looks after a client: the installation's company, or the organisation it belongs to."""
    organisation = client.organisation
    if organisation is None or organisation.is_default:
        return {"company": settings.COMPANY_NAME, "logo": picture() is not None}
    return {"company": organisation.name, "logo": False}


@login_not_required
@require_GET
def logo(request: HttpRequest) -> FileResponse:  # noqa: ARG001
    """The picture named in the settings, or 404."""
    found = picture()
    if found is None:
        raise Http404
    path, kind = found
    return FileResponse(
        path.open("rb"), content_type=kind, headers={"Cache-Control": "public, max-age=3600"}
    )
