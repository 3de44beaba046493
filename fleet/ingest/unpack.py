"""From the body of an upload to its plain bytes, within limits."""

from __future__ import annotations

from collections.abc import Iterator
from typing import cast

from isal import isal_zlib

from fleet.ingest.limits import (
    MAX_MEMBERS,
    MAX_PACKED_BYTES,
    MAX_PLAIN_BYTES,
    MAX_RATIO,
    MIB,
)
from fleet.ingest.report import RefusedError

GZIP_MAGIC = b"\x1f\x8b"
GZIP_WINDOW = 31
"""The library's word for gzip framing with its checksum."""

GIVEN_BYTES = 16 * 1024

Broken = cast("type[Exception]", isal_zlib.error)
"""What broken data raises; the library's stubs take the class for an exception."""


class TooLargeError(RefusedError):
    """The body is over the size limit; split it."""


def check_size(body: bytes) -> None:
    """Refuse a body that is too large to be kept.

    Raises TooLargeError.
    """
    check_length(len(body), MAX_PACKED_BYTES if is_packed(body) else MAX_PLAIN_BYTES)


def check_length(length: int, limit: int = MAX_PLAIN_BYTES) -> None:
    """Refuse a body of so many bytes before it is read, whatever is in it.

    Raises TooLargeError.
    """
    if length > limit:
        raise TooLargeError(
            f"the upload has {length / MIB:.1f} MiB, the limit is {limit // MIB} MiB: split it"
        )


def is_packed(body: bytes) -> bool:
    """True for gzip, whatever the file is called."""
    return body.startswith(GZIP_MAGIC)


def unpack(body: bytes) -> bytes:
    """The plain bytes of a body, gzip or not.

    Raises RefusedError: broken or incomplete gzip, other bytes after it; over a size limit.
    """
    check_size(body)
    return b"".join(pieces(body)) if is_packed(body) else body


def pieces(body: bytes) -> Iterator[bytes]:
    """What a gzip body unpacks to, one MiB at most at a time.

    Raises RefusedError: broken or incomplete gzip, other bytes after it; over a size limit.
    """
    at = size = members = 0
    # RFC 1952, section 2.2: a file is a series of members, one after the other.
    while at < len(body):
        if not is_packed(body[at : at + len(GZIP_MAGIC)]):
            raise RefusedError("other bytes follow the gzip data: send one gzip file, nothing else")
        if (members := members + 1) > MAX_MEMBERS:
            raise TooLargeError(f"the gzip file has more than {MAX_MEMBERS} members: join them")
        member = isal_zlib.decompressobj(GZIP_WINDOW)
        while not member.eof:
            # Little at a time: what a member leaves over is copied, and there may be many.
            given = body[at : at + GIVEN_BYTES]
            try:
                part = member.decompress(given, MIB)
            except Broken as error:
                raise RefusedError(
                    f"the gzip data is broken ({error}): send the file again"
                ) from error
            at += len(given) - len(member.unused_data if member.eof else member.unconsumed_tail)
            size += len(part)
            _check_unpacked(size, at)
            yield part
            if not (part or given or member.eof):
                raise RefusedError("the gzip data ends too early: send the whole file again")


def _check_unpacked(size: int, read: int) -> None:
    if size > MAX_PLAIN_BYTES:
        limit = MAX_PLAIN_BYTES // MIB
        raise TooLargeError(f"the upload unpacks to more than {limit} MiB: split it")
    if size > MIB and size > MAX_RATIO * read:
        raise TooLargeError(
            f"the upload unpacks to more than {MAX_RATIO} times its size, which no log does"
        )
