"""What a caller of the API may see: a token its site, a person what the pages show them."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404

from fleet import access
from fleet.api.credentials import Caller
from fleet.models import System, Upload, UploadToken


def visible_systems(caller: Caller) -> QuerySet[System]:
    """Systems of the token's site, or those the person may see."""
    if isinstance(caller, UploadToken):
        return System.objects.filter(site=caller.site)
    return access.visible_systems(caller)


def system_or_404(caller: Caller, site: str, code: str) -> System:
    """The system of that site and code.

    Raises Http404: there is none, or the caller may not see it.
    """
    systems = visible_systems(caller).select_related("site")
    return get_object_or_404(systems, site__code=site, code=code)


def upload_or_404(caller: Caller, upload_id: UUID) -> Upload:
    """The upload of that id, without its bytes.

    Raises Http404: there is none, or the caller may not see it.
    """
    uploads = Upload.objects.filter(system__in=visible_systems(caller)).defer("body")
    return get_object_or_404(uploads.select_related("system__site"), pk=upload_id)
