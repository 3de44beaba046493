"""A small fixed share of the fuzzing; the whole is ``python -m tests.fuzz``."""

from __future__ import annotations

import time

import pytest

from fleet.models import Upload
from tests.fuzz import readers, tally
from tests.fuzz.course import Course
from tests.fuzz.gate import Gate
from tests.fuzz.tally import Case, Tally, WrongError

INPUTS = 5_000


@pytest.mark.django_db
@pytest.mark.usefixtures("rung")
def test_five_thousand_inputs_end_in_results_or_refusals(monkeypatch: pytest.MonkeyPatch) -> None:
    # The limit is for processor time of one input; what this machine does besides is not asked.
    course = Course(seed=3)
    monkeypatch.setattr("fleet.api.probes.broker", lambda: "ok")
    course.run(INPUTS)
    print("\n".join(course.tally.lines()))  # noqa: T201
    assert course.tally.faults == []
    counts = course.tally.counts
    assert counts.total() >= INPUTS
    assert counts["upload", "taken whole"] > 100
    assert counts["request", "202"] > 5
    assert counts["batch", "some rows, all those acknowledged"] == 1
    assert counts["page", "200"] > 10


def test_equal_seeds_give_equal_inputs() -> None:
    first, again, other = (Course(seed, in_memory=True) for seed in (1, 1, 2))
    for course in (first, again, other):
        course.run(200)
    assert first.tally.counts == again.tally.counts != other.tally.counts


def test_what_must_not_happen_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tally, "STUCK_S", 1)
    seen = Tally()

    def work(seconds: float) -> str:
        until = time.process_time() + seconds
        while time.process_time() < until:
            pass
        return "done"

    def stuck() -> str:
        time.sleep(30)
        return "never"

    seen.take(Case("a", 1, b"", slow_s=0.01), lambda: work(0.05))
    seen.take(Case("a", 2, b"", slow_s=0.01), stuck)
    seen.take(Case("a", 3, b""), lambda: str(1 // 0))
    seen.base_mib -= tally.MEMORY_MIB + 1
    seen.take(Case("a", 4, b""), lambda: "done")
    assert [fault.split()[:2] for fault in seen.faults] == [
        ["SLOW", "a:1"],
        ["STUCK", "a:2"],
        ["EXCEPTION", "a:3"],
        ["MEMORY", "a:4"],
    ]


@pytest.mark.django_db
@pytest.mark.usefixtures("rung")
def test_an_upload_lost_or_kept_in_part_would_be_seen() -> None:
    gate = Gate()
    body = b"time,discharge_pressure [kPa(a)]\n2026-01-05T00:00:00Z,2500\n"
    answer = gate.sender.post(body)
    gate.acknowledged[answer.json()["upload"]] = body
    assert gate.settle() == "some rows, all those acknowledged"
    gate.acknowledged[answer.json()["upload"]] = body + b"2026-01-05T00:01:00Z,2500\n"
    with pytest.raises(WrongError, match="1 rows stored, 2 acknowledged"):
        gate.settle()
    Upload.objects.all().delete()
    with pytest.raises(WrongError, match="0 uploads kept, 1 acknowledged"):
        gate.settle()


def test_a_terminal_spoken_to_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fleet.ingest.report.printable", lambda text: text)
    body = b"time,discharge_pressure [kPa(a)]\n2026-01-05T00:00:00Z,\x1b[2J\n"
    with pytest.raises(WrongError, match="control characters in what a command prints"):
        readers.upload(body)
