"""The body of an upload request: read in counted pieces, unpacked to look at, kept as it came."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from django.http import HttpRequest, UnreadablePostError
from django.utils.http import parse_header_parameters

from fleet.api.problems import Problem, ProblemError
from fleet.asked import whole
from fleet.ingest.limits import MAX_LINES, MAX_PACKED_BYTES, MAX_PLAIN_BYTES, MIB
from fleet.ingest.report import RefusedError
from fleet.ingest.unpack import TooLargeError, check_length, is_packed, pieces

CHUNK_BYTES = MIB
ENCODINGS = ("", "identity", "gzip")
CHARSETS = ("utf-8", "us-ascii")
MAX_KEY_LENGTH = 200


@dataclass(frozen=True)
class Delivery:
    """What a gateway sent: a name for people, the bytes, and its own key for the request.

    plain_sha256: of what the bytes are when unpacked, in hexadecimal.
    """

    name: str
    content: bytes
    plain_sha256: str
    key: str | None


def receive(request: HttpRequest) -> Delivery:
    """Read an upload request.

    Its size is checked before it is read, what it unpacks to before it is kept.
    Raises ProblemError: 411, 413, 415 or 422.
    """
    packed = _is_gzip(request)
    key = _key(request)
    try:
        content = _read(request, _length(request, packed))
        plain_sha256 = _inspect(content, packed)
    except TooLargeError as error:
        raise ProblemError(Problem.TOO_LARGE, _sentence(error)) from error
    except RefusedError as error:
        raise ProblemError(Problem.UNREADABLE, _sentence(error)) from error
    return Delivery(_name(request, packed), content, plain_sha256, key)


def _is_gzip(request: HttpRequest) -> bool:
    """Check the declared type; True for gzip."""
    media_type, parameters = parse_header_parameters(request.headers.get("Content-Type", ""))
    if media_type != "text/csv":
        raise ProblemError(Problem.UNSUPPORTED_TYPE, f"The Content-Type is {media_type!r}.")
    charset = parameters.get("charset", "utf-8").lower()
    if charset not in CHARSETS:
        raise ProblemError(Problem.UNSUPPORTED_TYPE, f"The charset is {charset!r}.")
    encoding = request.headers.get("Content-Encoding", "").strip().lower()
    if encoding not in ENCODINGS:
        # RFC 9110, section 15.5.16: this header tells an encoding at fault from a type at fault.
        accepted = {"Accept-Encoding": "gzip, identity"}
        raise ProblemError(
            Problem.UNSUPPORTED_TYPE, f"The Content-Encoding is {encoding!r}.", accepted
        )
    return encoding == "gzip"


def _key(request: HttpRequest) -> str | None:
    key = request.headers.get("Idempotency-Key")
    if key is not None and not (0 < len(key) <= MAX_KEY_LENGTH and key.isprintable()):
        raise ProblemError(
            Problem.INVALID, f"Idempotency-Key: 1 to {MAX_KEY_LENGTH} printable characters."
        )
    return key


def declared_length(request: HttpRequest) -> int | None:
    """Content-Length, if it is there and a number."""
    return whole(request.META.get("CONTENT_LENGTH") or "")


def _length(request: HttpRequest, packed: bool) -> int:
    length = declared_length(request)
    # Without a length a WSGI server gives an empty stream, which is not what was sent.
    if length is None:
        raise ProblemError(Problem.LENGTH_REQUIRED)
    check_length(length, MAX_PACKED_BYTES if packed else MAX_PLAIN_BYTES)
    if not length:
        raise RefusedError("the body is empty")
    return length


def _read(request: HttpRequest, length: int) -> bytes:
    """Exactly so many bytes: a shorter body was cut off on its way."""
    content = bytearray()
    try:
        while len(content) < length:
            chunk = request.read(min(CHUNK_BYTES, length - len(content)))
            if not chunk:
                break
            content += chunk
    except UnreadablePostError as error:
        raise RefusedError("the connection ended within the body") from error
    if len(content) < length:
        raise RefusedError(f"the body ends after {len(content)} of {length} bytes")
    return bytes(content)


def _inspect(content: bytes, packed: bool) -> str:
    """Unpack piece by piece and keep none: only whole gzip within the limits may come in.

    Returns the SHA-256 of the unpacked bytes.
    """
    if packed != is_packed(content):
        said = "Content-Encoding says gzip, but the body is not gzip"
        unsaid = "the body is gzip, which Content-Encoding does not say"
        raise RefusedError(said if packed else unsaid)
    lines, digest = 0, hashlib.sha256()
    for piece in pieces(content) if packed else (content,):
        digest.update(piece)
        lines += piece.count(b"\n")
    if lines > MAX_LINES:
        raise TooLargeError(f"the file has more than {MAX_LINES} lines: split it")
    return digest.hexdigest()


def _name(request: HttpRequest, packed: bool) -> str:
    """The sender's file name, to be shown and never to be used as a path."""
    try:
        said = parse_header_parameters(request.headers.get("Content-Disposition", ""))[1]
    except ValueError:  # in an encoding there is not: a name is only for people
        said = {}
    given = said.get("filename", "")
    name = "".join(sign for sign in given if sign.isprintable()).strip()
    return name or ("upload.csv.gz" if packed else "upload.csv")


def _sentence(error: RefusedError) -> str:
    text = str(error)
    return f"{text[:1].upper()}{text[1:]}."
