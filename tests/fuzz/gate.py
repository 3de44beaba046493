"""Requests to the API with something wrong in every part, and the books kept beside them."""

from __future__ import annotations

import io
import json
import random
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from urllib.parse import unquote_to_bytes
from uuid import UUID

import numpy as np
from django.core.signals import request_started
from django.db import close_old_connections

from fleet.api import limits
from fleet.api.doorbell import DOORBELL
from fleet.api.problems import MEDIA_TYPE
from fleet.ingest import circumstances
from fleet.ingest.parse import parse
from fleet.ingest.report import RefusedError
from fleet.ingest.take_in import take_in
from fleet.models import IdempotencyKey, System, Upload, UploadState
from fleet.timeseries import store
from fleet.wsgi import application
from tests.api import sender
from tests.fuzz import hostile, uploads
from tests.fuzz.tally import WrongError

SEGMENTS = (
    "ferry-hall",
    "quay-store",
    "R1",
    "r1",
    "",
    ".",
    "..",
    "%00",
    "%2e%2e",
    "%2f",
    "a" * 5_000,
    "%ff",
    "%F0%9F%A7%8A",
    "%0d%0aX: y",
    "R1%20",
    "-",
    "_",
    "0",
    "*",
    "?",
    "'",
    "%27%20OR%201",
    "nil",
    "uploads",
)
TYPES = (
    "text/csv; charset=utf-8",
    "text/csv;charset=UTF-8",
    "TEXT/CSV",
    "text/csv; charset=utf-16",
    "text/csv;",
    "text/csv; charset*=nonsense''x",
    "text/csv; charset*=idna''%ff",
    "text/csv; charset",
    "text/csv;;;=",
    "text/csv; header=present",
    "multipart/form-data",
    "multipart/form-data; boundary=",
    "application/json",
    "text/csv\x00",
    "text/csv; charset*0*=utf-8''ut; charset*1=f-8",
    "",
    ";",
    "a" * 3_000,
    "\xff\xfe",
)
ENCODINGS = ("identity", "gzip, gzip", "GZIP", " gzip ", "br", "deflate", "\x00", "x" * 2_000, "")
LENGTHS = ("-1", "0", "1", "1e9", "99999999999999999999", "9" * 5_000, "0x10", "²", " 5", "1,2", "")
NAMES = (
    'attachment; filename="log.csv"',
    "attachment; filename*=utf-8''%e2%82%ac.csv",
    "attachment",
    ";",
    "=",
    "attachment; filename*=nonsense''x",
    "attachment; filename*=idna''%ff",
    "x; filename*=utf-16''%41",
    'attachment; filename="a\r\nb.csv"',
    "attachment; filename*=utf-8''%00%0a%1b[2J",
    'attachment; filename="=1+1"',
    'attachment; filename="../../etc/passwd"',
    f'attachment; filename="{"n" * 3_000}"',
    "filename*0*=a;filename*9=b",
    'attachment; filename="<script>alert(1)</script>.csv"',
    "attachment; filename*=utf-8''%ed%a0%80",
    "\xff",
)
KEYS = ("a", "b", "", "k" * 200, "k" * 201, "\x00", "é", "\u2028", "\r\n", "'--", " ", "\ud800")
TOKENS = (
    "",
    "Bearer",
    "Bearer ",
    "Basic dXNlcjpwYXNz",
    "Bearer \xff",
    "Bearer \x00",
    "Bearer " + "a" * 9_000,
    "bearer millrace_00000000_" + "a" * 43,
    "Bearer millrace_0000000\u0660_" + "a" * 43,
)
METHODS = (
    "GET",
    "PUT",
    "DELETE",
    "HEAD",
    "OPTIONS",
    "PATCH",
    "TRACE",
    "post",
    "",
    "PO\x00ST",
    "X" * 300,
)
PATHS = (
    "/api/v1/ranking",
    "/api/v1/uploads/",
    "/api/v1/openapi.json",
    "/api/v1/problems/",
    "/api/v1/",
    "/api/",
)


@dataclass
class Gate:
    """A site with a token; what was acknowledged by id, to be compared with what is stored."""

    sender: sender.Sender = field(default_factory=sender.build)
    acknowledged: dict[str, bytes] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Requests come faster than from any gateway, and nobody is there to be rung for."""
        limits.REQUESTS = limits.RateLimit(1e9, 1e9)
        DOORBELL.ring = lambda _pk: None  # type: ignore[method-assign]

    def ask(self, rng: random.Random, body: bytes) -> str:
        """One request; the outcome is its status."""
        environ = self._environ(rng, body)
        before = Upload.objects.count(), IdempotencyKey.objects.count()
        status, headers, content = answered(environ)
        after = Upload.objects.count(), IdempotencyKey.objects.count()
        if status >= 500:
            raise WrongError(f"{status}: {content[:300]!r}")
        # A wrong Host is turned away before any view.
        if status > 400 and environ["REQUEST_METHOD"] != "HEAD":
            if headers.get("Content-Type") != MEDIA_TYPE:
                raise WrongError(f"{status} is no problem document: {headers} {content[:100]!r}")
            json.loads(content)
        if any("\n" in f"{name}{value}" or "\r" in value for name, value in headers.items()):
            raise WrongError(f"a header of two lines: {headers}")
        self._keep_books(status, body, content, after[0] - before[0])
        if status not in (200, 202) and after != before:
            raise WrongError(f"{status}, but something was stored")
        return str(status)

    def _keep_books(self, status: int, body: bytes, content: bytes, added: int) -> None:
        if added != (status == 202):
            raise WrongError(f"{status} stored {added} uploads")
        if status == 202:
            upload = json.loads(content)["upload"]
            if bytes(Upload.objects.get(pk=UUID(upload)).body) != self._sent(body):
                raise WrongError("other bytes are stored than were sent")
            self.acknowledged[upload] = self._sent(body)

    def _sent(self, body: bytes) -> bytes:
        return body[: self._length]

    def _environ(self, rng: random.Random, body: bytes) -> dict[str, Any]:
        """A request that is right but for a few parts, as a WSGI server would hand it on."""
        wrong = set(rng.sample(range(8), rng.choice((0, 0, 0, 1, 1, 2, 3))))
        packed = body.startswith(b"\x1f\x8b")
        path = f"/api/v1/sites/ferry-hall/systems/{rng.choice(('R1', 'R2'))}/uploads"
        length = str(len(body))
        encoding = "gzip" if packed else ""
        environ: dict[str, Any] = {
            "REQUEST_METHOD": rng.choice(METHODS) if 0 in wrong else "POST",
            "PATH_INFO": unquote_to_bytes(_path(rng) if 1 in wrong else path).decode("latin-1"),
            "QUERY_STRING": rng.choice(("a=%00", "%ff=%fe", "&&&=", "a" * 9_000))
            if 2 in wrong
            else "",
            "CONTENT_TYPE": rng.choice(TYPES) if 3 in wrong else "text/csv",
            "CONTENT_LENGTH": rng.choice(LENGTHS) if 4 in wrong else length,
            "HTTP_CONTENT_ENCODING": rng.choice(ENCODINGS) if 5 in wrong else encoding,
            "HTTP_AUTHORIZATION": _token(rng, self.sender)
            if 6 in wrong
            else f"Bearer {self.sender.text}",
            "SERVER_NAME": "testserver",
            "SERVER_PORT": "80",
            "REMOTE_ADDR": "127.0.0.1",
            "SCRIPT_NAME": "",
            "HTTP_HOST": rng.choice(("testserver", "evil.example", "a b", "\x00", ""))
            if 7 in wrong
            else "localhost",
            "SERVER_PROTOCOL": "HTTP/1.1",
            "wsgi.url_scheme": "http",
            "wsgi.input": io.BytesIO(body),
            "wsgi.errors": io.StringIO(),
            "wsgi.version": (1, 0),
            "wsgi.multithread": False,
            "wsgi.multiprocess": False,
            "wsgi.run_once": False,
        }
        if rng.random() < 0.3:
            environ["HTTP_CONTENT_DISPOSITION"] = rng.choice(NAMES)
        if rng.random() < 0.2:
            key = rng.choice(KEYS).encode(errors="surrogatepass")
            environ["HTTP_IDEMPOTENCY_KEY"] = key.decode("latin-1")
        declared = environ["CONTENT_LENGTH"]
        self._length = (
            int(declared) if declared.isascii() and declared.isdigit() and len(declared) < 9 else 0
        )
        return environ

    def settle(self) -> str:
        """Take everything in, and compare what is stored with what the acknowledged bodies hold."""
        kept = {str(pk) for pk in Upload.objects.values_list("pk", flat=True)}
        if kept != self.acknowledged.keys():
            raise WrongError(f"{len(kept)} uploads kept, {len(self.acknowledged)} acknowledged")
        for pk in Upload.objects.filter(state=UploadState.STORED).values_list("pk", flat=True):
            done = take_in(pk)
            if done.state not in (UploadState.TAKEN_IN, UploadState.REFUSED) or done.attempts:
                raise WrongError(f"upload {pk} is {done.state} after {done.attempts} attempts")
        rows = 0
        for system in System.objects.filter(site=self.sender.site).prefetch_related("indoor_units"):
            rows += self._compare(system)
        return f"{'some' if rows else 'no'} rows, all those acknowledged"

    def _compare(self, system: System) -> int:
        known = circumstances.of(system)
        promised: set[np.datetime64] = set()
        for upload in Upload.objects.filter(system=system):
            try:
                promised |= set(parse(self.acknowledged[str(upload.pk)], known).block.time.tolist())
            except RefusedError:
                if upload.state != UploadState.REFUSED:
                    raise WrongError(f"upload {upload.pk} should be refused") from None
        whole = datetime(1999, 1, 1, tzinfo=UTC), datetime(2101, 1, 1, tzinfo=UTC)
        stored = store.read(System.objects.get(pk=system.pk), *whole).time.tolist()
        if len(stored) != len(set(stored)) or set(stored) != promised:
            raise WrongError(f"{len(stored)} rows stored, {len(promised)} acknowledged")
        return len(stored)


def answered(environ: dict[str, Any]) -> tuple[int, dict[str, str], bytes]:
    """Status, headers and body that the application gives a WSGI server."""
    told: list[Any] = []

    def start(status: str, headers: list[tuple[str, str]], _error: Any = None) -> None:
        told[:] = [int(status.split()[0]), dict(headers)]

    request_started.disconnect(close_old_connections)  # the transaction of a test goes on
    try:
        answer = application(environ, start)
        content = b"".join(answer)
    finally:
        request_started.connect(close_old_connections)
    return told[0], told[1], content


def _path(rng: random.Random) -> str:
    if rng.random() < 0.3:
        return rng.choice(PATHS) + rng.choice(("", *SEGMENTS))
    site, system = rng.choice(SEGMENTS), rng.choice(SEGMENTS)
    return f"/api/v1/sites/{site}/systems/{system}/uploads"


def _token(rng: random.Random, sender: sender.Sender) -> str:
    if rng.random() < 0.3:
        return f"Bearer {sender.other_text}"
    if rng.random() < 0.3:
        raw = hostile.damaged(rng, sender.text.encode())
        return f"Bearer {raw.decode('latin-1')}"
    return rng.choice(TOKENS)


def body(rng: random.Random) -> bytes:
    """An upload, small enough to be stored by the thousand."""
    return uploads.body(rng)[: 1 << 21]
