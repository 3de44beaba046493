"""``POST …/uploads``: bodies that are refused, limits, and failures of our own."""

from __future__ import annotations

import gzip
import io
import logging
import zlib
from typing import Any
from uuid import UUID

import pytest
from django.db import OperationalError, connection
from django.test.client import ClientHandler

from fleet.api import body, limits
from fleet.api.limits import RateLimit
from fleet.api.problems import ProblemError
from fleet.ingest.limits import MAX_PACKED_BYTES, MAX_PLAIN_BYTES, MIB
from fleet.ingest.take_in import take_in
from fleet.models import System, UploadState
from tests.api.sender import CSV, GZIP, Sender, address, kept, problem

# --- 411, 413, 415, 422 ----------------------------------------------------------------------


@pytest.mark.parametrize("length", ["", "-5", "1e3", "²"])
def test_a_length_is_required(gateway: Sender, length: str) -> None:
    answer = raw(gateway, CSV, CONTENT_LENGTH=length)
    remedy = "Say how many bytes follow, in Content-Length."
    assert answer == (411, "Length required", remedy)


@pytest.mark.parametrize(
    ("encoding", "limit"), [("identity", MAX_PLAIN_BYTES), ("gzip", MAX_PACKED_BYTES)]
)
def test_too_long_a_body_is_refused_before_it_is_read(
    gateway: Sender, encoding: str, limit: int
) -> None:
    answer = raw(
        gateway, Unreadable(), CONTENT_LENGTH=str(limit + MIB), HTTP_CONTENT_ENCODING=encoding
    )
    mib = limit // MIB
    detail = f"The upload has {mib + 1}.0 MiB, the limit is {mib} MiB: split it."
    assert answer == (413, "Upload too large", detail)


def test_a_bomb_is_refused_without_being_unpacked(gateway: Sender) -> None:
    # 1 GiB of one line in 1 MiB: the ratio gives it away after the first MiB.
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    mebibyte = b"2026-03-02T00:00:00Z,900,2600..\n" * (MIB // 32)
    bomb = b"".join(packer.compress(mebibyte) for _ in range(64)) + packer.flush()
    assert len(bomb) < MIB
    answer = gateway.post(bomb, Content_Encoding="gzip")
    detail = "The upload unpacks to more than 400 times its size, which no log does."
    assert problem(answer) == (413, "Upload too large", detail)
    assert kept() == []


def test_a_body_that_unpacks_to_too_much_is_refused(
    gateway: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fleet.ingest.unpack.MAX_PLAIN_BYTES", MIB)
    answer = gateway.post(gzip.compress(b"0123456789abcdef" * (MIB // 8)), Content_Encoding="gzip")
    detail = "The upload unpacks to more than 1 MiB: split it."
    assert problem(answer) == (413, "Upload too large", detail)


@pytest.mark.parametrize("encoding", ["", "gzip"])
def test_too_many_lines_are_refused(
    gateway: Sender, monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    monkeypatch.setattr(body, "MAX_LINES", 2)
    answer = gateway.post(GZIP if encoding else CSV, Content_Encoding=encoding)
    detail = "The file has more than 2 lines: split it."
    assert problem(answer) == (413, "Upload too large", detail)


@pytest.mark.parametrize(
    ("headers", "detail"),
    [
        ({"Content_Type": "application/json"}, "The Content-Type is 'application/json'."),
        ({"Content_Type": ""}, "The Content-Type is ''."),
        ({"Content_Type": "text/csv; charset=latin-1"}, "The charset is 'latin-1'."),
        ({"Content_Encoding": "br"}, "The Content-Encoding is 'br'."),
        ({"Content_Encoding": "gzip, gzip"}, "The Content-Encoding is 'gzip, gzip'."),
    ],
)
def test_other_content_is_refused(gateway: Sender, headers: dict[str, str], detail: str) -> None:
    answer = gateway.post(CSV, **headers)
    assert problem(answer) == (415, "Unsupported content", detail)
    assert answer.has_header("Accept-Encoding") == ("Content_Encoding" in headers)


def test_utf_8_may_be_said(gateway: Sender) -> None:
    headers = {"Content_Type": 'text/csv; charset="UTF-8"; header=present'}
    assert gateway.post(CSV, **headers).status_code == 202


@pytest.mark.parametrize(
    ("content", "encoding", "detail"),
    [
        (CSV, "gzip", "Content-Encoding says gzip, but the body is not gzip."),
        (GZIP, "", "The body is gzip, which Content-Encoding does not say."),
        (GZIP[:-9], "gzip", "The gzip data ends too early: send the whole file again."),
        (GZIP + b"x", "gzip", "Other bytes follow the gzip data: send one gzip file, nothing"),
        (GZIP[:-5] + b"\0" + GZIP[-4:], "gzip", "The gzip data is broken"),
    ],
)
def test_a_body_damaged_on_its_way_is_refused_and_not_kept(
    gateway: Sender, content: bytes, encoding: str, detail: str
) -> None:
    status, title, said = problem(gateway.post(content, Content_Encoding=encoding))
    assert (status, title) == (422, "Unreadable upload")
    assert said.startswith(detail)
    assert kept() == []


def test_an_empty_body_is_no_upload(gateway: Sender) -> None:
    detail = "The body is empty."
    assert raw(gateway, b"", CONTENT_LENGTH="0") == (422, "Unreadable upload", detail)


def test_a_body_that_was_cut_off_is_not_kept(gateway: Sender) -> None:
    answer = raw(gateway, CSV, CONTENT_LENGTH=str(len(CSV) + 10))
    detail = f"The body ends after {len(CSV)} of {len(CSV) + 10} bytes."
    assert answer == (422, "Unreadable upload", detail)
    assert kept() == []


def test_a_connection_that_breaks_within_the_body_is_no_upload(gateway: Sender) -> None:
    answer = raw(gateway, Broken(), CONTENT_LENGTH="100")
    detail = "The connection ended within the body."
    assert answer == (422, "Unreadable upload", detail)
    assert kept() == []


def test_what_the_file_says_is_judged_later_and_kept(gateway: Sender) -> None:
    # A manifest that names one more unit may make it readable: the bytes must be there then.
    answer = gateway.post(b"nothing we know\n1\n")
    assert answer.status_code == 202
    upload = take_in(UUID(answer.json()["upload"]))
    assert upload.state == UploadState.REFUSED


# --- 429, 500, 503 ---------------------------------------------------------------------------


def test_a_token_used_too_often_has_to_wait(
    gateway: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "REQUESTS", RateLimit(per_second=0.25, burst=2))
    assert [gateway.post(CSV).status_code for _ in range(2)] == [202, 200]
    answer = gateway.post(CSV)
    detail = "This token may ask 0.25 times a second."
    assert problem(answer) == (429, "Too many requests", detail)
    assert 1 <= int(answer["Retry-After"]) <= 4
    other = {"Authorization": f"Bearer {gateway.other_text}"}
    assert gateway.post(CSV, to="quay-store/R1", **other).status_code == 202


def test_a_bucket_fills_again(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = [0.0]
    monkeypatch.setattr(limits, "monotonic", lambda: clock[0])
    rate = RateLimit(per_second=2.0, burst=4.0)
    assert sum(allowed(rate) for _ in range(10)) == 4
    clock[0] = 1.0
    assert sum(allowed(rate) for _ in range(10)) == 2
    clock[0] = 100.0
    assert sum(allowed(rate) for _ in range(10)) == 4


def test_large_uploads_are_stored_one_at_a_time(
    gateway: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "LARGE_BYTES", len(CSV))
    monkeypatch.setattr(limits, "LARGE_WAIT_S", 0.01)
    with limits.ROOM.taken(len(CSV) + 1):
        answer = gateway.post(CSV + b"\n")
        assert gateway.post(CSV).status_code == 202
    detail = "Other large uploads are being stored."
    assert problem(answer) == (503, "Not available", detail)
    assert answer["Retry-After"] == "10"
    assert gateway.post(CSV + b"\n").status_code == 202


def test_a_database_that_is_away_is_said_with_when_to_come_back(gateway: Sender) -> None:
    def away(*_: Any) -> None:
        raise OperationalError("server closed the connection")

    with connection.execute_wrapper(away):
        answer = gateway.post(CSV)
    assert problem(answer) == (503, "Not available", "The database does not answer.")
    assert answer["Retry-After"] == "5"


def test_what_we_did_not_foresee_says_nothing_of_the_inside(
    gateway: Sender, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(_: System, *__: Any) -> None:
        raise ZeroDivisionError("secret of the house")

    monkeypatch.setattr("fleet.api.keeping.receive", broken)
    answer = gateway.post(CSV)
    remedy = "Try again later; tell the operator if it stays."
    assert problem(answer) == (500, "Internal error", remedy)
    assert b"secret of the house" not in answer.content
    assert "secret of the house" in caplog.text


def test_the_token_is_never_logged(
    gateway: Sender, settings: Any, caplog: pytest.LogCaptureFixture
) -> None:
    settings.DEBUG = True
    caplog.set_level(logging.DEBUG)
    secret = gateway.text.split("_", 2)[2]
    gateway.post(CSV)
    gateway.post(CSV, Authorization=f"Basic {gateway.text}")
    gateway.post(CSV, Authorization=gateway.text)
    gateway.post(CSV, Content_Type="text/plain")
    gateway.token.revoke(gateway.token.created_at)
    gateway.post(CSV)
    assert "A token that is unknown, revoked or expired was shown" in caplog.text
    assert secret not in caplog.text
    assert not [record for record in caplog.records if secret in str(vars(record).get("args"))]


class Unreadable(io.BytesIO):
    """A body that must not be touched."""

    def read(self, *_: Any) -> bytes:
        raise AssertionError("the body was read")


class Broken(io.BytesIO):
    """A connection that breaks."""

    def read(self, *_: Any) -> bytes:
        raise OSError("reset by peer")


def raw(gateway: Sender, content: bytes | io.BytesIO, **environ: str) -> tuple[int, str, str]:
    """A request as a WSGI server hands it on, whatever is wrong with it; the problem it got."""
    given: dict[str, Any] = {
        "REQUEST_METHOD": "POST",
        "PATH_INFO": address("ferry-hall/R1"),
        "SERVER_NAME": "localhost",
        "SERVER_PORT": "80",
        "CONTENT_TYPE": "text/csv",
        "HTTP_AUTHORIZATION": f"Bearer {gateway.text}",
        "wsgi.input": io.BytesIO(content) if isinstance(content, bytes) else content,
        "wsgi.url_scheme": "http",
    }
    return problem(ClientHandler()(given | environ))


def allowed(rate: RateLimit) -> bool:
    try:
        rate.take("one")
    except ProblemError:
        return False
    return True
