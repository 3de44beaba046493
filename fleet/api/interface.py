"""The API as a whole: its operations, its description, its failures."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, URLResolver
from ninja import NinjaAPI
from ninja.errors import HttpError, ValidationError
from ninja.openapi.schema import OpenAPISchema

from fleet.api import ranking, uploads
from fleet.api.guard import explain, guarded
from fleet.api.problems import Problem, answer
from fleet.api.schemas import ProblemDetails


class Api(NinjaAPI):
    """An API whose description also defines the problem document, which no operation returns."""

    def get_openapi_schema(self, **kwargs: Any) -> OpenAPISchema:
        """The description."""
        described = super().get_openapi_schema(**kwargs)
        described["components"]["schemas"]["ProblemDetails"] = ProblemDetails.model_json_schema()
        return described


api = Api(
    title="Millrace",
    version="1",
    description="Uploads from the gateways of buildings, and the ranking of the fleet. "
    "A verdict is a suspicion with its evidence, never an order to act.",
    docs_url=None,
    urls_namespace="api",
)
api.add_router("", uploads.router)
api.add_router("", ranking.router)
for failure in (Exception, Http404, HttpError, ValidationError):
    api.add_exception_handler(failure, explain)


def guarded_urls() -> tuple[list[URLPattern | URLResolver], str, str]:
    """The addresses of the API, every view of it guarded."""
    patterns, application, namespace = api.urls
    for pattern in patterns:
        if not (isinstance(pattern, URLPattern) and pattern.callback is not None):
            raise TypeError(f"{pattern} is no view, so it cannot be guarded.")
        pattern.callback = guarded(pattern.callback)
    return patterns, application, namespace


@guarded
def nothing_here(_request: HttpRequest, **_: str) -> HttpResponse:
    """An address that is none of the API's."""
    return answer(Problem.NOT_FOUND, "There is no such address.")


@guarded
def problem_type(_request: HttpRequest, slug: str) -> HttpResponse:
    """What a problem's type means, for people who look it up."""
    problem = next((each for each in Problem if each.slug == slug), None)
    if problem is None:
        raise Http404
    text = f"{problem.status.value} {problem.title}\n{problem.remedy}\n"
    return HttpResponse(text, content_type="text/plain")
