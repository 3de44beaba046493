"""``GET`` of an upload and of the ranking: what it says, and to whom."""

from __future__ import annotations

import json
from io import StringIO
from uuid import UUID, uuid4

import pytest
from django.core.management import call_command
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext

from fleet.ingest.take_in import take_in
from fleet.models import Client, Role, Upload, UploadState
from tests.api.sender import CSV, Sender, problem
from tests.pages.scene import person, signed_in

CONTRACT = {"state", "rows_accepted", "rows_left_out", "cells_left_out", "reasons"}


@pytest.fixture
def status_url(gateway: Sender) -> str:
    path: str = gateway.post(CSV).json()["status"].removeprefix("http://testserver")  # type: ignore[attr-defined]
    return path


def of_site(answer: bytes) -> dict[str, list[str]]:
    """Systems by site of a ranking."""
    sites = json.loads(answer)["sites"]
    return {site["site"]: [system["system"] for system in site["systems"]] for site in sites}


def test_an_upload_is_stored_at_first(gateway: Sender, status_url: str) -> None:
    document = json.loads(gateway.get(status_url).content)
    assert set(document) >= CONTRACT
    assert document["state"] == "stored"
    assert (document["site"], document["system"]) == ("ferry-hall", "R1")
    assert document["reasons"] == []


def test_an_upload_says_what_was_left_out_and_why(gateway: Sender) -> None:
    bad = CSV + b"yesterday,900,2600\n2026-03-02T00:02:00Z,many,2600\n"
    receipt = json.loads(gateway.post(bad).content)
    take_in(UUID(receipt["upload"]))
    document = json.loads(gateway.get(f"/api/v1/uploads/{receipt['upload']}").content)
    assert document["state"] == "taken_in"
    assert document["rows_accepted"] == 3
    assert (document["rows_left_out"], document["cells_left_out"]) == (1, 1)
    assert [(each["line"], each["column"]) for each in document["reasons"]] == [
        (4, "time"),
        (5, "suction_pressure [kPa(a)]"),
    ]


def test_a_refused_upload_says_why(gateway: Sender) -> None:
    receipt = json.loads(gateway.post(b"when,suction_pressure [kPa(a)]\n1,2\n").content)
    take_in(UUID(receipt["upload"]))
    document = json.loads(gateway.get(f"/api/v1/uploads/{receipt['upload']}").content)
    assert document["state"] == "refused"
    assert "time" in document["reasons"][0]["reason"]


def test_the_bytes_are_not_fetched_to_tell_the_state(gateway: Sender, status_url: str) -> None:
    with CaptureQueriesContext(connection) as queries:
        gateway.get(status_url)
    assert not [query for query in queries if '"fleet_upload"."body"' in query["sql"]]
    assert len(queries) <= 3


def test_an_upload_of_another_site_is_not_found(gateway: Sender, status_url: str) -> None:
    theirs = gateway.get(status_url, Authorization=f"Bearer {gateway.other_text}")
    nobodys = gateway.get(f"/api/v1/uploads/{uuid4()}")
    assert problem(theirs) == problem(nobodys)
    assert theirs.content == nobodys.content
    assert problem(theirs)[:2] == (404, "Not found")


def test_a_token_is_shown_its_site_alone(gateway: Sender) -> None:
    answer = gateway.get("/api/v1/ranking")
    assert of_site(answer.content) == {"ferry-hall": ["R1", "R2"]}
    assert b"quay-store" not in answer.content


def test_the_ranking_is_what_the_command_prints(gateway: Sender) -> None:
    out = StringIO()
    call_command("rank", "--format", "json", stdout=out)
    printed = json.loads(out.getvalue())
    person("manager", Role.MANAGER)
    browser = Browser()
    assert browser.login(username="manager", password="open sesame 42")
    told = browser.get("/api/v1/ranking").json()
    assert told["sites"] == printed["sites"]
    assert told["at"].endswith("Z")


def test_people_are_shown_what_the_pages_show_them(gateway: Sender, status_url: str) -> None:
    theirs = Client.objects.get(code="tidemark-hotels")
    manager = signed_in(person("manager", Role.MANAGER))
    rep = signed_in(person("rep", Role.ACCOUNT_REP, theirs))
    technician = signed_in(person("technician", Role.TECHNICIAN))
    assert set(of_site(manager.get("/api/v1/ranking").content)) == {"ferry-hall", "quay-store"}
    assert set(of_site(rep.get("/api/v1/ranking").content)) == {"quay-store"}
    assert of_site(technician.get("/api/v1/ranking").content) == {}
    assert manager.get(status_url).status_code == 200
    assert rep.get(status_url).status_code == 404
    assert technician.get(status_url).status_code == 404


def test_a_session_cannot_upload(gateway: Sender) -> None:
    browser = signed_in(person("manager", Role.MANAGER))
    path = "/api/v1/sites/ferry-hall/systems/R1/uploads"
    answer = browser.post(path, CSV, content_type="text/csv")
    assert problem(answer)[:2] == (401, "No valid token")
    assert not Upload.objects.exists()


def test_a_token_that_opens_nothing_is_not_made_good_by_a_session(gateway: Sender) -> None:
    browser = signed_in(person("manager", Role.MANAGER))
    headers = {"Authorization": f"Bearer {gateway.text[:-3]}AAA"}
    assert browser.get("/api/v1/ranking", headers=headers).status_code == 401


@pytest.mark.parametrize("path", ["/api/v1/ranking", f"/api/v1/uploads/{uuid4()}"])
def test_nobody_reads_without_saying_who_asks(gateway: Sender, path: str) -> None:
    answer = gateway.get(path, Authorization="")
    assert problem(answer)[:2] == (401, "No valid token")
    assert answer["WWW-Authenticate"] == 'Bearer realm="millrace"'


def test_every_state_can_be_told(gateway: Sender, status_url: str) -> None:
    for state in UploadState:
        Upload.objects.update(state=state)
        assert json.loads(gateway.get(status_url).content)["state"] == state.value
