"""The OpenAPI description is valid, complete, and what the server does (by Schemathesis)."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
import schemathesis
from django.db import connections
from django.test import Client as Browser
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import Case, GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi import checks

from fleet.api import limits
from fleet.api.limits import RateLimit
from fleet.models import Upload
from fleet.wsgi import application
from tests.api.sender import CSV, Sender

DESCRIPTION = "/api/v1/openapi.json"
CONTRACT = {
    ("post", "/api/v1/sites/{site}/systems/{system}/uploads"): {
        "202", "200", "401", "403", "404", "409", "413", "415", "422", "429", "503",
    },
    ("get", "/api/v1/uploads/{upload_id}"): {"200", "401", "403", "404", "429", "503"},
    ("get", "/api/v1/ranking"): {"200", "401", "403", "429", "503"},
}  # fmt: skip

# Not "invalid data is rejected": any bytes are text, and what they say is judged after the answer.
CHECKS = [
    not_a_server_error,
    checks.status_code_conformance,
    checks.content_type_conformance,
    checks.response_headers_conformance,
    checks.response_schema_conformance,
    checks.allow_header_conformance,
    checks.unsupported_method,
    checks.ignored_auth,
]

few = settings(
    max_examples=50,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
    database=None,
    derandomize=True,
)


@pytest.fixture
def described(gateway: Sender, monkeypatch: pytest.MonkeyPatch) -> Any:
    """The schema as the running application gives it, its connection kept over requests."""
    monkeypatch.setattr(limits, "REQUESTS", RateLimit(per_second=1e6, burst=1e6))
    # Outside of Django's own test client, a request would end by closing the test's connection.
    monkeypatch.setattr(connections["default"], "close_if_unusable_or_obsolete", lambda: None)
    return schemathesis.openapi.from_wsgi(DESCRIPTION, application)


def test_the_description_is_valid_openapi_3_1(described: Any) -> None:
    document = Browser().get(DESCRIPTION).json()
    assert document["openapi"].startswith("3.1.")
    described.validate()


def test_a_broken_description_would_be_found(described: Any) -> None:
    document = Browser().get(DESCRIPTION).json()
    document["paths"]["/api/v1/ranking"]["get"]["responses"] = []
    with pytest.raises(Exception, match="is not of type"):
        schemathesis.openapi.from_dict(document).validate()


def test_every_operation_of_the_contract_names_its_statuses() -> None:
    document = Browser().get(DESCRIPTION).json()
    described = {
        (method, path): set(operation["responses"])
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    }
    assert set(described) == set(CONTRACT)
    for operation, statuses in CONTRACT.items():
        assert statuses <= described[operation], operation


def test_every_reference_leads_somewhere() -> None:
    text = Browser().get(DESCRIPTION).content.decode()
    document = json.loads(text)
    names = {part.split('"')[0] for part in text.split("#/components/schemas/")[1:]}
    assert "ProblemDetails" in names
    assert names <= set(document["components"]["schemas"])


def ask(schema: Any, method: str, path: str, change: Callable[[Case], None], token: str) -> None:
    """Generated requests to one operation; every answer must be as described."""
    seen: set[int] = set()

    operation = schema[path][method]
    modes = [GenerationMode.POSITIVE]
    if operation.headers or operation.body:
        modes.append(GenerationMode.NEGATIVE)

    @few
    @given(case=st.one_of([operation.as_strategy(mode) for mode in modes]))
    def run(case: Case) -> None:
        change(case)
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        answer = case.call_and_validate(headers=headers, checks=CHECKS)
        seen.add(answer.status_code)

    run()
    assert seen


@pytest.mark.parametrize("site", ["ferry-hall", "quay-store"])
def test_uploads_answer_as_described(described: Any, gateway: Sender, site: str) -> None:
    def to_a_system(case: Case) -> None:
        case.path_parameters = {"site": site, "system": "R1"}

    path = "/api/v1/sites/{site}/systems/{system}/uploads"
    ask(described, "POST", path, to_a_system, gateway.text)
    assert Upload.objects.exists() == (site == "ferry-hall")


def test_any_upload_answers_as_described(described: Any, gateway: Sender) -> None:
    path = "/api/v1/sites/{site}/systems/{system}/uploads"
    ask(described, "POST", path, lambda _: None, gateway.text)


def test_the_ranking_answers_as_described(described: Any, gateway: Sender) -> None:
    ask(described, "GET", "/api/v1/ranking", lambda _: None, gateway.text)


@pytest.mark.parametrize("known", [True, False])
def test_the_state_answers_as_described(described: Any, gateway: Sender, known: bool) -> None:
    upload = json.loads(gateway.post(CSV).content)["upload"]

    def of_ours(case: Case) -> None:
        if known:
            case.path_parameters = {"upload_id": upload}

    ask(described, "GET", "/api/v1/uploads/{upload_id}", of_ours, gateway.text)
