"""Sends a folder's CSV files to Millrace. Copy this one file to a gateway; it needs only Python.

    python3 uploader.py https://millrace.example ferry-hall /var/log/plant --token-file token.txt

The folder has one folder for each system, named as in the manifest (``R1``, ``R2`` …), into which
a logger writes ``.csv`` or ``.csv.gz`` files. A file that no longer changes is sent. Only when the
server says that it is durably stored does it move to ``sent`` beside it; a file the server can
make nothing of moves to ``refused``, with the reason. Nothing is ever deleted.

The state is where the files lie, so a restart at any moment goes on where it was: a file may be
sent twice, which the server recognises by its bytes. Loggers should write under a name that starts
with a dot and rename the finished file; otherwise a file must have rested for ``--rest`` seconds.
"""

from __future__ import annotations

import argparse
import gzip
import http.client
import json
import logging
import os
import random
import signal
import ssl
import sys
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass, field
from email.utils import parsedate_to_datetime
from pathlib import Path

log = logging.getLogger("uploader")

SUFFIXES = (".csv", ".csv.gz")
SENT, REFUSED = "sent", "refused"
LARGEST_BYTES = 64 << 20
ANSWER_BYTES = 1 << 16
TIMEOUT_S = 60.0
LONGEST_WAIT_S = 3600.0
LOOPBACK = ("localhost", "127.0.0.1", "::1")

FAULTS_OF_THE_FILE = (400, 409, 411, 413, 415, 422)
"""Sending the same bytes again would get the same answer."""

NO_ANSWER, UNUSABLE = 0, -1
"""Beside the statuses of HTTP."""

UNKNOWN_SYSTEM = 404
ABOUT_ONE_FILE = (UNKNOWN_SYSTEM, 500, UNUSABLE)
"""Others may get through: a system not registered yet, a file that trips the server up."""


class NoAnswerError(Exception):
    """Nothing that could be believed came back; the file may have arrived or not."""


@dataclass(frozen=True)
class Target:
    """Where to send, and with what."""

    server: str
    site: str
    token: str
    tls: ssl.SSLContext

    def address(self, system: str) -> str:
        """Where uploads of a system go."""
        site, code = urllib.parse.quote(self.site, ""), urllib.parse.quote(system, "")
        return f"{self.server}/api/v1/sites/{site}/systems/{code}/uploads"


@dataclass(frozen=True)
class Answer:
    """What the server said. ``upload``: its receipt, which alone means that the file is stored."""

    status: int
    text: str
    upload: str | None = None
    retry_after_s: float | None = None


@dataclass
class Backoff:
    """Longer and longer waits, each partly random, so that gateways do not return all at once."""

    first_s: float = 2.0
    longest_s: float = 300.0
    failures: int = 0

    def wait_s(self, retry_after_s: float | None) -> float:
        """Seconds to wait after one more failure; never less than the server asked for."""
        self.failures += 1
        ceiling = min(self.longest_s, self.first_s * 2.0 ** min(self.failures - 1, 30))
        wait = random.uniform(0.5, 1.0) * ceiling  # noqa: S311 - no secret
        if retry_after_s is None:
            return wait
        asked = min(retry_after_s, LONGEST_WAIT_S)
        return max(wait, asked * random.uniform(1.0, 1.2))  # noqa: S311


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    """A redirect is an answer like others: following it could hand the token to somebody else."""

    def redirect_request(self, *_: object) -> None:
        return None


@dataclass
class Uploader:
    """Sends what lies in a folder."""

    target: Target
    folder: Path
    rest_s: float = 30.0
    backoff: Backoff = field(default_factory=Backoff)
    _own: dict[Path, Backoff] = field(default_factory=dict)
    _held_until: dict[Path, float] = field(default_factory=dict)

    def waiting(self) -> list[Path]:
        """Files to send: those that failed least first, then the oldest."""
        found = [
            (self._backoff_of(file).failures, _changed_at(file), file) for file in self._files()
        ]
        return [file for _, _, file in sorted(found)]

    def _files(self) -> Iterator[Path]:
        for system in self.folder.iterdir():
            if system.is_dir() and not system.name.startswith("."):
                for file in system.iterdir():
                    named = file.name.lower().endswith(SUFFIXES) and not file.name.startswith(".")
                    if named and file.is_file():
                        yield file

    def _backoff_of(self, file: Path) -> Backoff:
        return self._own.get(file, Backoff())

    def send_waiting(self) -> float | None:
        """Send what is ready; the seconds the server needs a rest for, None if it needs none."""
        try:
            for file in self.waiting():
                if self._is_ready(file) and (answer := self._deliver(file)) is not None:
                    return self.backoff.wait_s(answer.retry_after_s)
        except OSError as error:
            log.error("The folder cannot be read: %s", error)
            return self.backoff.wait_s(None)
        return None

    def _is_ready(self, file: Path) -> bool:
        held = max(self._held_until.get(key, 0.0) for key in (file, file.parent))
        return time.monotonic() >= held and time.time() - _changed_at(file) >= self.rest_s

    def _deliver(self, file: Path) -> Answer | None:
        """Send a file and settle what becomes of it; an answer that concerns the others, too."""
        try:
            answer = self._send(file)
            if answer is None or self._settle(file, answer):
                return None
        except FileNotFoundError:
            return None  # somebody took it away
        except NoAnswerError as error:
            answer = Answer(NO_ANSWER, str(error))
        except OSError as error:
            answer = Answer(UNUSABLE, f"cannot be read or moved ({error})")
        log.warning("%s: not sent, %s: %s", self._name(file), answer.status, answer.text)
        key = file.parent if answer.status == UNKNOWN_SYSTEM else file
        wait_s = self._own.setdefault(key, Backoff()).wait_s(answer.retry_after_s)
        if answer.status not in ABOUT_ONE_FILE:
            return answer
        self._held_until[key] = time.monotonic() + wait_s
        return None

    def _send(self, file: Path) -> Answer | None:
        """Send one file; None if it is still being written. Raises NoAnswerError."""
        before = file.stat()
        if not before.st_size:
            return None
        if before.st_size > LARGEST_BYTES:
            reason = f"{before.st_size} bytes are too many: split the file"
            return Answer(413, reason)
        content = file.read_bytes()
        if _is_other(before, file):
            return None
        packed = file.name.lower().endswith(".gz")
        # Without the time in it, the same file makes the same bytes: the server knows them again.
        body = content if packed else gzip.compress(content, mtime=0)
        answer = post(self.target, self.target.address(file.parent.name), file.name, body)
        # What was written while it was on its way has not been sent: then it stays.
        return None if answer.upload and _is_other(before, file) else answer

    def _settle(self, file: Path, answer: Answer) -> bool:
        """Put a file away if the answer is final; False if it must be sent again."""
        name = self._name(file)
        if answer.upload is not None:
            put_away(file, SENT)
            log.info("%s: sent, upload %s", name, answer.upload)
            self.backoff.failures = 0
        elif answer.status in FAULTS_OF_THE_FILE:
            into = put_away(file, REFUSED)
            into.with_name(into.name + ".reason.txt").write_text(answer.text, encoding="utf-8")
            log.error("%s: refused, %s: %s", name, answer.status, answer.text)
        else:
            return False
        for key in (file, file.parent):
            self._own.pop(key, None)
        return True

    def _name(self, file: Path) -> str:
        return str(file.relative_to(self.folder))


def post(target: Target, address: str, name: str, body: bytes) -> Answer:
    """Send gzip bytes. Raises NoAnswerError: no answer, or one that was cut off."""
    request = urllib.request.Request(address, data=body, method="POST")  # noqa: S310 - see server()
    request.add_header("Content-Type", "text/csv")
    request.add_header("Content-Encoding", "gzip")
    quoted = urllib.parse.quote(name, "")
    request.add_header("Content-Disposition", f"attachment; filename*=UTF-8''{quoted}")
    request.add_header("User-Agent", "millrace-uploader/1")
    request.add_unredirected_header("Authorization", f"Bearer {target.token}")
    opener = urllib.request.build_opener(
        urllib.request.HTTPSHandler(context=target.tls), _NoRedirect
    )
    try:
        try:
            with opener.open(request, timeout=TIMEOUT_S) as response:
                return _read(response.status, response)
        except urllib.error.HTTPError as error:
            with error:
                return _read(error.code, error)
    except (urllib.error.URLError, http.client.HTTPException, OSError) as error:
        reason = getattr(error, "reason", None) or error
        raise NoAnswerError(f"no answer ({type(error).__name__}: {reason})") from error


def _read(status: int, response: http.client.HTTPResponse | urllib.error.HTTPError) -> Answer:
    text = response.read(ANSWER_BYTES).decode("utf-8", "replace")
    wait_s = retry_after_s(response.headers.get("Retry-After"))
    if status not in (200, 202):
        return Answer(status, text, retry_after_s=wait_s)
    try:
        upload = json.loads(text)["upload"]
    except (ValueError, KeyError, TypeError):
        upload = None
    if not (isinstance(upload, str) and upload):
        raise NoAnswerError(f"{status} without a receipt")
    return Answer(status, text, upload)


def retry_after_s(header: str | None) -> float | None:
    """Seconds of a Retry-After header, which gives seconds or a date (RFC 9110, 10.2.3)."""
    if not header:
        return None
    if header.strip().isdigit():
        return float(header)
    try:
        return max(0.0, parsedate_to_datetime(header).timestamp() - time.time())
    except ValueError:
        return None


def put_away(file: Path, where: str) -> Path:
    """Move a file into a folder beside it, under a name that is free there."""
    folder = file.parent / where
    folder.mkdir(exist_ok=True)
    target, number = folder / file.name, 1
    while target.exists():
        number += 1
        target = folder / f"{number}-{file.name}"
    file.rename(target)
    return target


def _changed_at(file: Path) -> float:
    try:
        return file.stat().st_mtime
    except FileNotFoundError:
        return 0.0


def _is_other(before: os.stat_result, file: Path) -> bool:
    """Whether a file is not what it was."""
    now = file.stat()
    return (now.st_size, now.st_mtime_ns) != (before.st_size, before.st_mtime_ns)


def server(text: str) -> str:
    """The server's address; a token must not travel in clear, except within one machine."""
    parts = urllib.parse.urlsplit(text)
    if parts.scheme != "https" and not (parts.scheme == "http" and parts.hostname in LOOPBACK):
        raise argparse.ArgumentTypeError(f"{text!r} does not start with https://")
    if not parts.hostname or parts.query or parts.fragment or parts.username:
        raise argparse.ArgumentTypeError(f"{text!r} is no address of a server")
    return text.rstrip("/")


def arguments(given: list[str] | None = None) -> argparse.Namespace:
    """The command line."""
    parser = argparse.ArgumentParser(description="Send a folder's CSV files to Millrace.")
    parser.add_argument("server", type=server, help="https://…")
    parser.add_argument("site", help="code of the site")
    parser.add_argument("folder", type=Path, help="holds a folder for each system")
    parser.add_argument(
        "--token-file", type=Path, help="holds the upload token (else it is in MILLRACE_TOKEN)"
    )
    parser.add_argument("--ca-file", type=Path, help="certificates to trust besides the usual ones")
    parser.add_argument("--every", type=float, default=10.0, help="seconds between looks")
    parser.add_argument("--rest", type=float, default=30.0, help="seconds a file must not change")
    parser.add_argument("--once", action="store_true", help="look once; status 1 if files stay")
    chosen = parser.parse_args(given)
    try:
        chosen.token = (
            chosen.token_file.read_text(encoding="ascii")
            if chosen.token_file
            else os.environ.get("MILLRACE_TOKEN", "")
        ).strip()
    except (OSError, UnicodeDecodeError) as error:
        parser.error(f"the token cannot be read: {error}")
    if not chosen.token or not chosen.token.isprintable():
        parser.error("no token: give --token-file, or set MILLRACE_TOKEN")
    if not chosen.folder.is_dir():
        parser.error(f"{chosen.folder} is no folder")
    return chosen


def main(given: list[str] | None = None) -> int:
    """Send until told to stop; 0, or 1 if ``--once`` left files behind."""
    chosen = arguments(given)
    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(levelname)s %(message)s")
    tls = ssl.create_default_context()  # which verifies certificate and name
    if chosen.ca_file:
        tls.load_verify_locations(chosen.ca_file)
    target = Target(chosen.server, chosen.site, chosen.token, tls)
    uploader = Uploader(target, chosen.folder, chosen.rest)
    stop = threading.Event()
    for signum in (signal.SIGINT, signal.SIGTERM):
        signal.signal(signum, lambda *_: stop.set())
    while not stop.is_set():
        wait_s = uploader.send_waiting()
        if chosen.once:
            return 1 if uploader.waiting() else 0
        stop.wait(chosen.every if wait_s is None else wait_s)
    return 0


if __name__ == "__main__":
    sys.exit(main())
