"""The gateway's uploader: files that are not ready, and servers that do not behave."""

from __future__ import annotations

import logging
import os
from pathlib import Path

import pytest

from fleet.gateway import uploader
from tests.api import servers
from tests.api.folders import lying, put, to
from tests.api.sender import CSV
from tests.api.servers import ACCEPTED, Scripted, answer


def test_files_still_being_written_are_left(folder: Path) -> None:
    put(folder, "R1/fresh.csv", age_s=5)
    put(folder, "R1/empty.csv", b"")
    put(folder, "R1/.hidden.csv")
    put(folder, "R1/notes.txt")
    put(folder, "top.csv")
    before = lying(folder)
    server = Scripted([])
    with server.running() as address:
        assert to(address, folder).send_waiting() is None
    assert (lying(folder), server.requests) == (before, [])


def test_a_file_that_grew_on_its_way_stays(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = put(folder, "R1/a.csv")
    original = uploader.post

    def growing(*given: object) -> uploader.Answer:
        answered = original(*given)  # type: ignore[arg-type]
        file.write_bytes(CSV + b"more\n")
        return answered

    monkeypatch.setattr(uploader, "post", growing)
    with Scripted([ACCEPTED]).running() as address:
        assert to(address, folder).send_waiting() is None
    assert lying(folder) == ["R1/a.csv"]


def test_nothing_in_sent_is_overwritten(folder: Path) -> None:
    with Scripted([ACCEPTED, ACCEPTED, ACCEPTED]).running() as address:
        for number in range(3):
            put(folder, "R1/a.csv", CSV + b"\n" * number)
            to(address, folder).send_waiting()
    assert lying(folder) == ["R1/sent/2-a.csv", "R1/sent/3-a.csv", "R1/sent/a.csv"]


@pytest.mark.parametrize("text", ["", "<html>Welcome</html>", "[]", '{"upload": null}', "null"])
def test_success_without_a_receipt_is_none(folder: Path, text: str) -> None:
    put(folder, "R1/a.csv")
    with Scripted([answer("200 OK", text)]).running() as address:
        assert to(address, folder).send_waiting() is not None
    assert lying(folder) == ["R1/a.csv"]


def test_a_redirect_is_not_followed(folder: Path) -> None:
    put(folder, "R1/a.csv")
    elsewhere = Scripted([ACCEPTED])
    with elsewhere.running() as other:
        moved = Scripted([answer("307 Temporary Redirect", "", f"Location: {other}/x")])
        with moved.running() as address:
            assert to(address, folder).send_waiting() is not None
    assert elsewhere.requests == []
    assert lying(folder) == ["R1/a.csv"]


def test_a_certificate_nobody_trusts_is_refused(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    put(folder, "R1/a.csv")
    server = Scripted([ACCEPTED], tls=True)
    with server.running() as address:
        assert to(address, folder).send_waiting() is not None
    assert server.requests == []
    assert "CERTIFICATE_VERIFY_FAILED" in caplog.text


def test_a_certificate_one_names_is_trusted(folder: Path) -> None:
    put(folder, "R1/a.csv")
    with Scripted([ACCEPTED], tls=True).running() as address:
        sending = to(address, folder)
        sending.target.tls.load_verify_locations(servers.UNTRUSTED)
        assert sending.send_waiting() is None
    assert lying(folder) == ["R1/sent/a.csv"]


@pytest.mark.parametrize("status", ["429 Too Many Requests", "503 Service Unavailable"])
def test_it_waits_as_long_as_the_server_asks(folder: Path, status: str) -> None:
    put(folder, "R1/a.csv")
    put(folder, "R2/b.csv")
    server = Scripted([answer(status, "{}", "Retry-After: 120")])
    with server.running() as address:
        wait_s = to(address, folder).send_waiting()
    assert wait_s is not None
    assert 120 <= wait_s <= 150
    assert len(server.requests) == 1  # the other file would get the same answer
    assert lying(folder) == ["R1/a.csv", "R2/b.csv"]


def test_a_file_that_trips_the_server_up_goes_last(folder: Path) -> None:
    put(folder, "R1/bad.csv", age_s=900)
    put(folder, "R1/good.csv")
    server = Scripted([answer("500 Internal Server Error"), ACCEPTED])
    with server.running() as address:
        assert to(address, folder).send_waiting() is None
    assert lying(folder) == ["R1/bad.csv", "R1/sent/good.csv"]


def test_a_file_on_which_connections_break_goes_last_next_time(folder: Path) -> None:
    put(folder, "R1/bad.csv", age_s=900)
    put(folder, "R1/good.csv")
    with Scripted([b"", ACCEPTED, b""]).running() as address:
        sending = to(address, folder)
        assert sending.send_waiting() is not None
        assert [file.name for file in sending.waiting()] == ["good.csv", "bad.csv"]
        sending.send_waiting()
    assert lying(folder) == ["R1/bad.csv", "R1/sent/good.csv"]


def test_a_huge_file_is_not_read(folder: Path) -> None:
    file = put(folder, "R1/huge.csv")
    os.truncate(file, uploader.LARGEST_BYTES + 1)
    os.utime(file, (0, 0))
    assert to("http://127.0.0.1:1", folder).send_waiting() is None
    reason = (folder / "R1/refused/huge.csv.reason.txt").read_text()
    assert reason == "67108865 bytes are too many: split the file"


def test_a_folder_that_is_gone_is_waited_for(folder: Path) -> None:
    assert to("http://127.0.0.1:1", folder / "gone").send_waiting() is not None


def test_the_token_is_never_logged(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    put(folder, "R1/a.csv")
    script = [answer("401 Unauthorized"), b"nonsense", ACCEPTED]
    with Scripted(script).running() as address:
        sending = to(address, folder, "millrace_secret")
        for _ in script:
            sending.send_waiting()
    assert "sent, upload 0190" in caplog.text
    assert "secret" not in caplog.text
