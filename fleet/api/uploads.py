"""Taking uploads from gateways, and telling what became of them."""

from __future__ import annotations

import logging
from uuid import UUID

from django.http import HttpResponse, JsonResponse
from django.urls import reverse
from ninja import Router

from fleet.api import access, body, describe, limits
from fleet.api.credentials import ApiRequest, Bearer, SignedIn
from fleet.api.doorbell import DOORBELL
from fleet.api.keeping import keep
from fleet.api.schemas import Receipt, UploadStatus
from fleet.models import UploadState

logger = logging.getLogger(__name__)
router = Router()


@router.post(
    "/sites/{slug:site}/systems/{slug:system}/uploads",
    auth=Bearer(),
    response={202: Receipt, 200: Receipt},
    operation_id="sendUpload",
    summary="Send an upload",
    openapi_extra=describe.UPLOAD,
)
def send(request: ApiRequest, site: str, system: str) -> HttpResponse:
    """Keeps a CSV file of one system: 202 once it is durably stored, 200 if it is known already."""
    target = access.system_or_404(request.auth, site, system)
    with limits.ROOM.taken(body.declared_length(request) or 0):
        upload, created = keep(target, body.receive(request))
    if upload.state == UploadState.STORED:
        DOORBELL.ring(upload.pk)
    logger.info("Upload %s of %s: %s", upload.pk, target, "new" if created else "known")
    status_url = request.build_absolute_uri(reverse("api:upload-status", args=[upload.pk]))
    receipt = {"upload": str(upload.pk), "status": status_url}
    return JsonResponse(receipt, status=202 if created else 200)


@router.get(
    "/uploads/{uuid:upload_id}",
    auth=[Bearer(), SignedIn()],
    response=UploadStatus,
    operation_id="getUpload",
    summary="What became of an upload",
    url_name="upload-status",
    openapi_extra=describe.problems(401, 403, 404, 429, 503),
)
def status(request: ApiRequest, upload_id: UUID) -> UploadStatus:
    """State, counts and the first 100 reasons of an upload."""
    upload = access.upload_or_404(request.auth, upload_id)
    return UploadStatus(
        upload=upload.pk,
        site=upload.system.site.code,
        system=upload.system.code,
        name=upload.name,
        received_at=upload.received_at,
        state=UploadState(upload.state),
        rows_accepted=upload.rows_accepted,
        rows_left_out=upload.rows_left_out,
        cells_left_out=upload.cells_left_out,
        cells_differing=upload.cells_differing,
        unknown_columns=upload.unknown_columns,
        reasons=upload.reasons,
    )
