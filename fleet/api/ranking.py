"""The ranking, for programs."""

from __future__ import annotations

from django.http import JsonResponse
from django.utils import timezone
from ninja import Router

from fleet.analysis.ranking import as_json, ranking
from fleet.api import access, describe
from fleet.api.credentials import ApiRequest, Bearer, SignedIn
from fleet.api.schemas import Ranking

router = Router()


@router.get(
    "/ranking",
    auth=[Bearer(), SignedIn()],
    response=Ranking,
    operation_id="getRanking",
    summary="Where to look next",
    openapi_extra=describe.problems(401, 403, 429, 503),
)
def ranked(request: ApiRequest) -> JsonResponse:
    """Sites and systems the caller may see, highest score first, as of now."""
    now = timezone.now()
    return JsonResponse(as_json(now, ranking(now, access.visible_systems(request.auth))))
