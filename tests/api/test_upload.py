"""``POST …/uploads``: what is kept, what is known, who may send, what is durable."""

from __future__ import annotations

import gzip
import threading
from typing import Any
from uuid import UUID

import pytest
from django.db import OperationalError, connection

from fleet.ingest.receive import receive
from fleet.ingest.take_in import take_in
from fleet.models import IdempotencyKey, Upload, UploadState
from fleet.models.upload import MAX_ATTEMPTS
from tests.api.sender import CSV, GZIP, Sender, address, build, kept, problem


@pytest.mark.parametrize(("content", "encoding"), [(CSV, ""), (CSV, "identity"), (GZIP, "gzip")])
def test_an_upload_is_kept_as_it_came(
    gateway: Sender, rung: list[str], content: bytes, encoding: str
) -> None:
    answer = gateway.post(content, Content_Encoding=encoding)
    assert answer.status_code == 202
    receipt = answer.json()
    upload = Upload.objects.get(pk=UUID(receipt["upload"]))
    assert bytes(upload.body) == content
    assert (upload.system, upload.state) == (gateway.system, UploadState.STORED)
    assert receipt["status"] == f"http://testserver/api/v1/uploads/{upload.pk}"
    assert rung == [str(upload.pk)]


def test_what_was_sent_can_be_taken_in(gateway: Sender) -> None:
    gateway.post(GZIP, Content_Encoding="gzip")
    upload = take_in(Upload.objects.get().pk)
    assert (upload.state, upload.rows_accepted) == (UploadState.TAKEN_IN, 2)


def test_the_same_bytes_are_one_upload(gateway: Sender) -> None:
    first, again = gateway.post(CSV), gateway.post(CSV)
    assert (first.status_code, again.status_code) == (202, 200)
    assert first.json() == again.json()
    assert kept() == [CSV]


@pytest.mark.parametrize("again", [GZIP, gzip.compress(CSV, 1, mtime=7), CSV])
def test_the_same_content_is_one_upload_however_packed(gateway: Sender, again: bytes) -> None:
    first = gateway.post(GZIP, Content_Encoding="gzip")
    encoding = "" if again == CSV else "gzip"
    known = gateway.post(again, Content_Encoding=encoding, Idempotency_Key="x")
    assert (first.status_code, known.status_code) == (202, 200)
    assert first.json() == known.json()
    assert kept() == [GZIP]


def test_a_file_that_a_command_took_in_is_known(gateway: Sender) -> None:
    upload, _ = receive(gateway.system, "day.csv", CSV)
    answer = gateway.post(CSV)
    assert (answer.status_code, answer.json()["upload"]) == (200, str(upload.pk))


def test_what_was_set_aside_gets_a_new_chance(gateway: Sender, rung: list[str]) -> None:
    gateway.post(CSV)
    Upload.objects.update(state=UploadState.REFUSED, attempts=MAX_ATTEMPTS)
    assert gateway.post(GZIP, Content_Encoding="gzip").status_code == 200
    assert Upload.objects.get().state == UploadState.STORED
    assert len(rung) == 2


def test_the_same_bytes_for_another_system_are_another_upload(gateway: Sender) -> None:
    first, other = gateway.post(CSV), gateway.post(CSV, to="ferry-hall/R2")
    assert (first.status_code, other.status_code) == (202, 202)
    assert first.json()["upload"] != other.json()["upload"]


def test_nobody_rings_for_what_was_taken_in_long_ago(gateway: Sender, rung: list[str]) -> None:
    gateway.post(CSV)
    Upload.objects.update(state=UploadState.ANALYSED)
    gateway.post(CSV)
    assert len(rung) == 1


def test_an_upload_that_nobody_took_in_is_rung_for_again(gateway: Sender, rung: list[str]) -> None:
    gateway.post(CSV)
    gateway.post(CSV)
    assert len(rung) == 2


@pytest.mark.parametrize(
    ("disposition", "name"),
    [
        ("", "upload.csv"),
        ('attachment; filename="2026-03-02.csv"', "2026-03-02.csv"),
        ("attachment; filename*=UTF-8''%C3%A9t%C3%A9.csv", "été.csv"),
        ('attachment; filename="a\x08b.csv"', "ab.csv"),
        (f'attachment; filename="{"long" * 100}"', ("long" * 100)[-255:]),
        ("attachment; filename", "upload.csv"),
    ],
)
def test_the_senders_file_name_is_shown(gateway: Sender, disposition: str, name: str) -> None:
    assert gateway.post(CSV, Content_Disposition=disposition).status_code == 202
    assert Upload.objects.get().name == name


# --- 401, 403, 404 ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("authorization", "challenge"),
    [
        ("", 'Bearer realm="millrace"'),
        ("Bearer", 'Bearer realm="millrace", error="invalid_token"'),
        ("Bearer nonsense", 'Bearer realm="millrace", error="invalid_token"'),
        ("Basic dXNlcjpwYXNz", 'Bearer realm="millrace", error="invalid_token"'),
    ],
)
def test_without_a_valid_token_there_is_a_challenge(
    gateway: Sender, authorization: str, challenge: str
) -> None:
    answer = gateway.post(CSV, Authorization=authorization)
    assert problem(answer) == (401, "No valid token", "Send a valid upload token, or sign in.")
    assert answer["WWW-Authenticate"] == challenge
    assert kept() == []


def test_a_revoked_token_is_refused_from_the_next_request_on(gateway: Sender) -> None:
    assert gateway.post(CSV).status_code == 202
    gateway.token.revoke(gateway.token.created_at)
    answer = gateway.post(CSV)
    assert problem(answer)[:2] == (401, "No valid token")
    assert 'error="invalid_token"' in answer["WWW-Authenticate"]


def test_the_scheme_is_read_without_regard_to_case(gateway: Sender) -> None:
    assert gateway.post(CSV, Authorization=f"bearer {gateway.text}").status_code == 202


@pytest.mark.parametrize("to", ["quay-store/R1", "ferry-hall/R9", "nowhere/R1", "ferry-hall/r1"])
def test_another_site_is_not_found_as_if_it_were_not_there(gateway: Sender, to: str) -> None:
    answer = gateway.post(CSV, to=to)
    remedy = "Check the address; what a token may not see is not found."
    assert problem(answer) == (404, "Not found", remedy)
    assert kept() == []


def test_a_code_that_none_could_have_is_not_found(gateway: Sender) -> None:
    for to in ("ferry-hall/R%00", "ferry-hall/R'1", "ferry-hall/%F0%9F%98%80"):
        assert problem(gateway.post(CSV, to=to))[:2] == (404, "Not found")


@pytest.mark.parametrize("method", ["get", "put", "delete", "head", "options"])
def test_only_post_is_allowed(gateway: Sender, method: str) -> None:
    answer = gateway.call(method, address("ferry-hall/R1"), None)
    assert (answer.status_code, answer["Allow"]) == (405, "POST")
    assert answer["Content-Type"] == "application/problem+json"


def test_a_token_must_not_travel_in_clear_where_tls_is_spoken(
    gateway: Sender, settings: Any
) -> None:
    settings.HTTPS = True
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    answer = gateway.post(CSV)
    remedy = "Use https: a token must not travel in clear."
    assert problem(answer) == (403, "TLS is required", remedy)
    assert gateway.post(CSV, X_Forwarded_Proto="https").status_code == 202


# --- 409 -------------------------------------------------------------------------------------


def test_a_key_stands_for_one_upload(gateway: Sender) -> None:
    first = gateway.post(CSV, Idempotency_Key="day-1")
    again = gateway.post(CSV, Idempotency_Key="day-1")
    assert (first.status_code, again.status_code) == (202, 200)
    refused = gateway.post(CSV + b"\n", Idempotency_Key="day-1")
    assert problem(refused) == (
        409,
        "Idempotency key already used",
        "It stands for an upload of other bytes.",
    )
    assert kept() == [CSV]
    assert IdempotencyKey.objects.filter(key="key:day-1").count() == 1


def test_a_key_of_one_system_is_taken_for_another(gateway: Sender) -> None:
    gateway.post(CSV, Idempotency_Key="day-1")
    assert gateway.post(CSV, to="ferry-hall/R2", Idempotency_Key="day-1").status_code == 409


def test_another_site_may_use_the_same_key(gateway: Sender) -> None:
    gateway.post(CSV, Idempotency_Key="day-1")
    other = {"Authorization": f"Bearer {gateway.other_text}", "Idempotency_Key": "day-1"}
    assert gateway.post(CSV + b"\n", to="quay-store/R1", **other).status_code == 202


@pytest.mark.parametrize("key", ["x" * 201, "a\tb"])
def test_a_key_has_bounds(gateway: Sender, key: str) -> None:
    answer = gateway.post(CSV, Idempotency_Key=key)
    detail = "Idempotency-Key: 1 to 200 printable characters."
    assert problem(answer) == (422, "Invalid request", detail)


# --- durability ------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_nothing_is_acknowledged_that_is_not_committed(monkeypatch: pytest.MonkeyPatch) -> None:
    gateway = build()

    def lost() -> None:
        connection.rollback()
        raise OperationalError("the server died at the commit")

    gateway.post(b"first\n")
    with monkeypatch.context() as patch:
        patch.setattr(connection, "_commit", lost)
        answer = gateway.post(CSV)
    assert problem(answer)[:2] == (503, "Not available")
    assert kept() == [b"first\n"]
    assert gateway.post(CSV).status_code == 202


@pytest.mark.django_db(transaction=True)
def test_many_at_once_make_one_upload() -> None:
    gateway = build()
    packings = [gzip.compress(CSV, mtime=number) for number in range(6)]
    statuses: list[int] = []

    def send(content: bytes) -> None:
        try:
            statuses.append(gateway.post(content, Content_Encoding="gzip").status_code)
        finally:
            connection.close()

    threads = [threading.Thread(target=send, args=[content]) for content in packings]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(statuses) == [200] * 5 + [202]
    assert Upload.objects.count() == 1
