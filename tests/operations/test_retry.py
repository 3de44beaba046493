"""A poison upload is set aside with its reason, holds up nobody, and is retried by hand."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from pytest_django import DjangoCaptureOnCommitCallbacks

from fleet import tasks
from fleet.analysis import backlog, days
from fleet.ingest import take_in as ingest
from fleet.ingest.receive import receive
from fleet.models import DueDay, System, Upload, UploadState
from tests.analysis import building
from tests.commands.calling import refusal, run

pytestmark = pytest.mark.django_db

HEADER = "time,suction_pressure [kPa(a)]\n"
POISON = (HEADER + "2026-03-02T00:00:00Z,666\n").encode()
WHOLESOME = (HEADER + "2026-03-02T00:00:10Z,900\n").encode()


@pytest.fixture
def rung(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, Any]]:
    """Messages instead of a broker."""
    sent: list[tuple[str, Any]] = []
    for task in (tasks.take_in, tasks.analyse):
        monkeypatch.setattr(
            task, "apply_async", lambda ids, retry, task=task: sent.append((task.name, ids))
        )
    return sent


@pytest.fixture
def poison(monkeypatch: pytest.MonkeyPatch) -> Upload:
    """An upload on which our code fails, tried until it is set aside."""
    upload, _ = receive(building.registered(), "poison.csv", POISON)
    begin = ingest.begin

    def failing(body: bytes, *rest: Any) -> Any:
        if body == POISON:
            raise ZeroDivisionError("a flaw of ours")
        return begin(body, *rest)

    with monkeypatch.context() as patched:
        patched.setattr(ingest, "begin", failing)
        for _ in range(3):
            tasks.take_in(str(upload.pk))
        wholesome, _ = receive(upload.system, "wholesome.csv", WHOLESOME)
        tasks.take_in(str(wholesome.pk))
    wholesome.refresh_from_db()
    assert wholesome.state == UploadState.TAKEN_IN, "the next upload does not wait for the poison"
    return upload


def test_a_poison_upload_is_listed_with_its_reason(poison: Upload) -> None:
    assert run("retry") == (
        f"{poison.pk} {poison.system} poison.csv: internal failure, 3 times (ZeroDivisionError: "
        "a flaw of ours): the bytes are kept, sending them again tries again\n"
    )


def test_retried_by_hand_it_is_taken_in_once_the_flaw_is_mended(
    poison: Upload,
    rung: list[tuple[str, Any]],
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        assert run("retry", poison.pk) == "1 uploads wait for a worker.\n"
    assert rung == [("fleet.tasks.take_in", (str(poison.pk),))]
    tasks.take_in(str(poison.pk))
    poison.refresh_from_db()
    assert (poison.state, poison.rows_accepted) == (UploadState.TAKEN_IN, 1)
    assert run("retry") == ""


def test_an_upload_refused_for_what_is_in_it_is_left_alone() -> None:
    refused, _ = receive(building.registered(), "no.csv", b"nothing\n")
    tasks.take_in(str(refused.pk))
    status, said = refusal("retry", refused.pk, refused.pk)
    assert status == 1
    assert said.startswith(f"not set aside, so left alone: {refused.pk}")
    refused.refresh_from_db()
    assert refused.state == UploadState.REFUSED


def test_an_unknown_upload_is_refused() -> None:
    assert "Without arguments, retry lists what is" in refusal("retry", uuid4())[1]


def test_everything_set_aside_can_be_retried_at_once(
    poison: Upload,
    rung: list[tuple[str, Any]],
    monkeypatch: pytest.MonkeyPatch,
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
) -> None:
    def failing(*_: Any) -> None:
        raise ZeroDivisionError("another flaw")

    system: System = poison.system
    with monkeypatch.context() as patched:
        patched.setattr(days, "analyse", failing)
        for _ in range(3):
            DueDay.objects.update(retry_at=None)
            backlog.work_off(system.pk)
    assert f"{system} 2026-03-02: ZeroDivisionError: another flaw\n" in run("retry")
    with django_capture_on_commit_callbacks(execute=True):
        assert run("retry", "--all") == "1 uploads and 1 days wait for a worker.\n"
    assert sorted(rung) == [
        ("fleet.tasks.analyse", (system.pk,)),
        ("fleet.tasks.take_in", (str(poison.pk),)),
    ]
    tasks.take_in(str(poison.pk))
    tasks.analyse(system.pk)
    assert not DueDay.objects.exists()
    assert run("retry") == ""
