"""Bodies, packed or not, and bombs."""

from __future__ import annotations

import gzip
import time
import zlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.ingest import unpack as module
from fleet.ingest.limits import MAX_PLAIN_BYTES, MIB
from fleet.ingest.report import RefusedError
from fleet.ingest.unpack import TooLargeError, check_length, check_size, unpack

TEXT = b"time,demand\n" * 1000


def test_plain_bytes_pass() -> None:
    assert unpack(TEXT) == TEXT


def test_gzip_is_told_by_its_first_bytes() -> None:
    assert unpack(gzip.compress(TEXT)) == TEXT


def test_members_of_a_gzip_file_are_joined() -> None:
    assert unpack(gzip.compress(TEXT) + gzip.compress(b"more\n")) == TEXT + b"more\n"


@pytest.mark.parametrize("kept", [3, 15, 40, -1, -8])
def test_gzip_cut_short_is_refused(kept: int) -> None:
    with pytest.raises(RefusedError, match="the gzip data ends too early: send the whole file"):
        unpack(gzip.compress(TEXT)[:kept])


def test_damaged_gzip_is_refused() -> None:
    body = bytearray(gzip.compress(TEXT))
    body[-6] ^= 1  # the checksum
    with pytest.raises(RefusedError, match=r"the gzip data is broken \(.*\): send the file again"):
        unpack(bytes(body))
    body = bytearray(gzip.compress(TEXT))
    body[10] ^= 0xFF
    with pytest.raises(RefusedError, match="the gzip data"):
        unpack(bytes(body))


def test_bytes_after_the_gzip_data_are_refused() -> None:
    with pytest.raises(RefusedError, match="other bytes follow the gzip data: send one gzip file"):
        unpack(gzip.compress(TEXT) + b"x")


def test_a_bomb_is_refused_before_it_unfolds() -> None:
    body = gzip.compress(bytes(256 * MIB))
    began = time.perf_counter()
    with pytest.raises(TooLargeError, match="unpacks to more than 400 times its size"):
        unpack(body)
    assert time.perf_counter() - began < 0.5


def test_unpacking_stops_at_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MAX_PLAIN_BYTES", 2 * MIB)
    body = gzip.compress(bytes(range(256)) * (12 * 1024))
    with pytest.raises(TooLargeError, match="the upload unpacks to more than 2 MiB: split it"):
        unpack(body)


def test_a_bomb_in_many_members_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MAX_PLAIN_BYTES", 2 * MIB)
    monkeypatch.setattr(module, "MAX_RATIO", 10_000)
    member = zlib.compress(bytes(MIB), wbits=31)
    with pytest.raises(TooLargeError, match="unpacks to more than 2 MiB"):
        unpack(member * 3)


def test_size_is_checked_before_anything_is_kept() -> None:
    check_length(MAX_PLAIN_BYTES)
    with pytest.raises(TooLargeError, match=r"the upload has 64\.0 MiB, the limit is 64 MiB"):
        check_length(MAX_PLAIN_BYTES + 1)
    packed = module.GZIP_MAGIC + bytes(32 * MIB)
    with pytest.raises(TooLargeError, match=r"the upload has 32\.0 MiB, the limit is 32 MiB"):
        check_size(packed)


def test_very_many_members_are_refused_soon() -> None:
    member = zlib.compress(b"", wbits=31)
    assert unpack(member * 9_999 + gzip.compress(TEXT)) == TEXT
    began = time.perf_counter()
    with pytest.raises(TooLargeError, match="the gzip file has more than 10000 members: join them"):
        unpack(member * 1_000_000)
    assert time.perf_counter() - began < 2.0


@given(
    texts=st.lists(st.binary(max_size=60_000), min_size=1, max_size=3),
    level=st.sampled_from([0, 1, 9]),
)
@settings(max_examples=30, deadline=None)
def test_whatever_was_packed_is_unpacked(texts: list[bytes], level: int) -> None:
    assert unpack(b"".join(gzip.compress(text, level) for text in texts)) == b"".join(texts)
