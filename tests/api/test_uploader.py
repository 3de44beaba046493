"""The gateway's uploader: what it sends and keeps, how long it waits, how it is called."""

from __future__ import annotations

import ast
import gzip
import signal
import subprocess
import sys
import time
from email.utils import formatdate
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.gateway import uploader
from fleet.gateway.uploader import Backoff
from fleet.models import Upload
from tests.api import sender, servers
from tests.api.folders import lying, put, to
from tests.api.sender import CSV
from tests.api.servers import ACCEPTED, Scripted, answer
from tests.embedded.harness import eventually, free_port

SCRIPT = Path(uploader.__file__)


# --- against the real server -----------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_files_arrive_and_move_to_sent(folder: Path) -> None:
    gateway = sender.build()
    put(folder, "R1/a.csv")
    put(folder, "R2/été b.csv.gz", sender.GZIP)
    with servers.running(free_port()) as server:
        assert to(server, folder, gateway.text).send_waiting() is None
    assert lying(folder) == ["R1/sent/a.csv", "R2/sent/été b.csv.gz"]
    kept = {upload.system.code: upload for upload in Upload.objects.select_related("system")}
    assert gzip.decompress(kept["R1"].body) == CSV
    assert bytes(kept["R2"].body) == sender.GZIP
    assert (kept["R1"].name, kept["R2"].name) == ("a.csv", "été b.csv.gz")


@pytest.mark.django_db(transaction=True)
def test_a_server_that_is_down_gets_them_when_it_is_back(folder: Path) -> None:
    gateway = sender.build()
    put(folder, "R1/a.csv")
    port = free_port()
    sending = to(f"http://127.0.0.1:{port}", folder, gateway.text)
    waits = [sending.send_waiting() for _ in range(3)]
    assert all(wait is not None and wait > 0 for wait in waits)
    assert lying(folder) == ["R1/a.csv"]
    with servers.running(port):
        assert sending.send_waiting() is None
    assert lying(folder) == ["R1/sent/a.csv"]
    assert sending.backoff.failures == 0


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("bytes_left", [0, 20, 150, -1])
def test_an_answer_that_was_cut_off_acknowledges_nothing(folder: Path, bytes_left: int) -> None:
    gateway = sender.build()
    put(folder, "R1/a.csv")
    port = free_port()
    with servers.running(port):
        cutting = Scripted([(port, bytes_left), (port, 1 << 20)])
        with cutting.running() as server:
            sending = to(server, folder, gateway.text)
            assert sending.send_waiting() is not None
            assert lying(folder) == ["R1/a.csv"]
            assert Upload.objects.count() == 1  # it had arrived, but nobody could know
            assert sending.send_waiting() is None
    assert lying(folder) == ["R1/sent/a.csv"]
    assert Upload.objects.count() == 1
    assert cutting.requests[0] == cutting.requests[1]


@pytest.mark.django_db(transaction=True)
def test_what_the_server_can_make_nothing_of_is_set_aside_with_the_reason(folder: Path) -> None:
    gateway = sender.build()
    put(folder, "R1/broken.csv.gz", sender.GZIP[:-9], age_s=90)
    put(folder, "R1/good.csv")
    with servers.running(free_port()) as server:
        assert to(server, folder, gateway.text).send_waiting() is None
    refused = folder / "R1/refused/broken.csv.gz"
    assert refused.read_bytes() == sender.GZIP[:-9]
    reason = refused.with_name("broken.csv.gz.reason.txt").read_text()
    assert "The gzip data ends too early" in reason
    assert (folder / "R1/sent/good.csv").exists()


@pytest.mark.django_db(transaction=True)
def test_an_unknown_system_does_not_hold_up_the_others(folder: Path) -> None:
    gateway = sender.build()
    (folder / "R9").mkdir()
    for name in ("R9/1.csv", "R9/2.csv"):
        put(folder, name, age_s=900)
    put(folder, "R1/a.csv")
    with servers.running(free_port()) as server:
        sending = to(server, folder, gateway.text)
        assert sending.send_waiting() is None
        assert lying(folder) == ["R1/sent/a.csv", "R9/1.csv", "R9/2.csv"]
        gateway.system.site.systems.filter(code="R2").update(code="R9")
        assert sending.send_waiting() is None
        assert "R9/1.csv" in lying(folder)  # held for a while
        sending._held_until.clear()
        sending.send_waiting()
    assert lying(folder) == ["R1/sent/a.csv", "R9/sent/1.csv", "R9/sent/2.csv"]


@pytest.mark.django_db(transaction=True)
def test_a_revoked_token_loses_no_file(folder: Path) -> None:
    gateway = sender.build()
    gateway.token.revoke(gateway.token.created_at)
    put(folder, "R1/a.csv")
    with servers.running(free_port()) as server:
        assert to(server, folder, gateway.text).send_waiting() is not None
    assert lying(folder) == ["R1/a.csv"]


@pytest.mark.django_db(transaction=True)
def test_the_script_alone_goes_on_after_being_killed(folder: Path) -> None:
    gateway = sender.build()
    token = folder / "token.txt"
    token.write_text(f"{gateway.text}\n")
    port = free_port()
    put(folder, "R1/a.csv")
    # Isolated and without site-packages: nothing but Python's own library.
    command = [sys.executable, "-I", "-S", str(SCRIPT), f"http://127.0.0.1:{port}", "ferry-hall",
               str(folder), "--token-file", str(token), "--every", "0.2"]  # fmt: skip
    for ending in (signal.SIGKILL, signal.SIGTERM):
        process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        assert process.stderr is not None
        try:
            if ending == signal.SIGKILL:
                assert "not sent" in process.stderr.readline()  # no server runs yet
            else:
                with servers.running(port):
                    assert eventually(lambda: (folder / "R1/sent/a.csv").exists())
                    put(folder, "R2/later.csv")
                    assert eventually(lambda: (folder / "R2/sent/later.csv").exists())
        finally:
            process.send_signal(ending)
            _, errors = process.communicate(timeout=20)
        assert process.returncode == (-9 if ending == signal.SIGKILL else 0)
        assert gateway.text not in errors
    assert Upload.objects.count() == 2


# --- waiting ---------------------------------------------------------------------------------


def test_waits_double_up_to_a_ceiling() -> None:
    backoff = Backoff(first_s=2.0, longest_s=60.0)
    waits = [backoff.wait_s(None) for _ in range(12)]
    for number, wait_s in enumerate(waits):
        ceiling = min(60.0, 2.0 * 2**number)
        assert ceiling / 2 <= wait_s <= ceiling


def test_gateways_do_not_all_come_back_at_once() -> None:
    waits = {Backoff().wait_s(60.0) for _ in range(50)}
    assert len(waits) > 40
    assert min(waits) >= 60.0


@given(asked=st.floats(0, 1e9), failures=st.integers(0, 10_000))
def test_it_never_comes_back_too_early_nor_too_late(asked: float, failures: int) -> None:
    wait_s = Backoff(failures=failures).wait_s(asked)
    assert min(asked, uploader.LONGEST_WAIT_S) <= wait_s <= 1.2 * uploader.LONGEST_WAIT_S


def test_retry_after_is_seconds_or_a_date() -> None:
    assert uploader.retry_after_s("7") == 7.0
    in_a_minute = uploader.retry_after_s(formatdate(time.time() + 60, usegmt=True))
    assert in_a_minute is not None
    assert 50 < in_a_minute <= 60
    assert uploader.retry_after_s("Sun, 06 Nov 1994 08:49:37 GMT") == 0.0
    assert [uploader.retry_after_s(text) for text in (None, "", "soon")] == [None] * 3


# --- the command line ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("http://millrace.example", "does not start with https://"),
        ("ftp://localhost", "does not start with https://"),
        ("https://user@millrace.example", "is no address of a server"),
        ("https://", "is no address of a server"),
    ],
)
def test_a_token_travels_in_clear_within_one_machine_only(
    folder: Path, capsys: pytest.CaptureFixture[str], address: str, why: str
) -> None:
    with pytest.raises(SystemExit) as caught:
        uploader.arguments([address, "ferry-hall", str(folder)])
    assert caught.value.code == 2
    assert why in capsys.readouterr().err


def test_the_token_may_come_from_the_environment(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    given = ["http://localhost:8000/", "ferry-hall", str(folder)]
    monkeypatch.setenv("MILLRACE_TOKEN", "millrace_x")
    assert uploader.arguments(given).token == "millrace_x"
    monkeypatch.delenv("MILLRACE_TOKEN")
    with pytest.raises(SystemExit):
        uploader.arguments(given)
    assert "no token: give --token-file, or set MILLRACE_TOKEN" in capsys.readouterr().err


def test_once_says_by_its_status_whether_files_stay(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("MILLRACE_TOKEN", "millrace_x")
    monkeypatch.setattr(signal, "signal", lambda *_: None)
    put(folder, "R1/a.csv")
    with Scripted([answer("503 Service Unavailable"), ACCEPTED]).running() as address:
        given = [address, "ferry-hall", str(folder), "--once"]
        assert [uploader.main(given), uploader.main(given)] == [1, 0]


def test_it_needs_only_pythons_own_library() -> None:
    tree = ast.parse(SCRIPT.read_text(encoding="utf-8"))
    imported = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import)
                for alias in node.names}  # fmt: skip
    imported |= {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert "http.client" in imported
    assert {name.split(".")[0] for name in imported} <= sys.stdlib_module_names
