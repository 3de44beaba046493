"""load_site and upload, as people call them."""

from __future__ import annotations

import gzip
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from fleet.ingest.receive import receive
from fleet.management import intake
from fleet.models import DueDay, Site, System, Upload, UploadState, Window
from tests.ingest.building import MANIFEST, csv, registered

pytestmark = pytest.mark.django_db

GOOD = csv("time,A-101/demand,A-101/setpoint [degC]", "2026-01-05T00:00:00Z,1,21")
PART = csv("time,A-101/demand", "2026-01-05T00:00:10Z,1", "2026-01-05T00:00:20Z,7", "x,1")
BAD = csv("time,suction_pressure [kPa]", "2026-01-05T00:00:00Z,800")
WAITING = "1 days wait for analysis by a worker; --wait does it here"


def site_folder(root: Path, files: dict[str, bytes], manifest: str = MANIFEST) -> Path:
    """A site folder with these uploads."""
    (root / "site.toml").write_text(manifest, encoding="utf-8")
    for name, body in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(body)
    return root


def call(*arguments: Any, **options: Any) -> tuple[list[str], list[str], int]:
    """Lines on standard output and standard error, and the exit status."""
    out, err, status = StringIO(), StringIO(), 0
    try:
        call_command(*map(str, arguments), stdout=out, stderr=err, **options)
    except CommandError as error:
        err.write(f"{error}\n")
        status = error.returncode
    return out.getvalue().splitlines(), err.getvalue().splitlines(), status


def test_a_site_folder_is_registered_and_taken_in(tmp_path: Path) -> None:
    folder = site_folder(tmp_path, {"R1/b.csv": PART, "R1/a.csv.gz": gzip.compress(GOOD)})
    out, err, status = call("load_site", folder)
    assert out == [
        f"{folder}: registered ferry-hall",
        "ferry-hall/R1/a.csv.gz: 1 rows taken in",
        "ferry-hall/R1/b.csv: 2 rows taken in, 1 rows left out, 1 cells left out",
        WAITING,
    ]
    assert err == [
        'ferry-hall/R1/b.csv: line 3, A-101/demand: "7" is neither 0 nor 1',
        'ferry-hall/R1/b.csv: line 4, time: "x" is not a time as RFC 3339 writes it: row left out',
    ]
    assert status == 0
    assert set(Upload.objects.values_list("state", flat=True)) == {UploadState.TAKEN_IN}
    assert DueDay.objects.exists()


def test_loading_again_changes_nothing_and_says_so(tmp_path: Path) -> None:
    folder = site_folder(tmp_path, {"R1/a.csv": GOOD, "R1/b.csv": PART})
    call("load_site", folder)
    generations = list(DueDay.objects.values_list("generation", flat=True))
    out, err, status = call("load_site", folder)
    assert out[1:] == [
        "ferry-hall/R1/a.csv: known already, 1 rows taken in",
        "ferry-hall/R1/b.csv: known already, 2 rows taken in, 1 rows left out, 1 cells left out",
        WAITING,
    ]
    assert (err, status) == ([], 0)
    assert list(DueDay.objects.values_list("generation", flat=True)) == generations


def test_with_wait_everything_is_analysed(tmp_path: Path) -> None:
    rows = (f"2026-01-05T{n // 60:02d}:{n % 60:02d}:00Z,1" for n in range(120))
    folder = site_folder(tmp_path, {"R1/a.csv": csv("time,A-101/demand", *rows)})
    _, err, status = call("load_site", folder, "--wait")
    assert (err, status) == ([], 0)
    assert not DueDay.objects.exists()
    assert Upload.objects.get().state == UploadState.ANALYSED
    assert Window.objects.filter(system__code="R1").count() >= 8


def test_a_refused_file_does_not_keep_the_others_out(tmp_path: Path) -> None:
    folder = site_folder(tmp_path, {"R1/a.csv": BAD, "R1/b.csv": GOOD})
    out, err, status = call("load_site", folder)
    assert status == 1
    assert out[1:3] == ["ferry-hall/R1/a.csv: refused", "ferry-hall/R1/b.csv: 1 rows taken in"]
    assert err[0].startswith(
        "ferry-hall/R1/a.csv: line 1, suction_pressure [kPa]: [kPa] does not say whether"
    )
    assert err[-1] == "1 of the inputs refused or not analysed; the rest is taken in."
    out, err, status = call("load_site", folder)
    assert status == 1, "known already, and refused still"
    assert out[1] == "ferry-hall/R1/a.csv: known already, refused"
    assert "does not say whether" in err[0]


def test_a_bad_manifest_keeps_its_site_out_and_no_other(tmp_path: Path) -> None:
    (tmp_path / "bad").mkdir()
    bad = site_folder(tmp_path / "bad", {"R1/a.csv": GOOD}, MANIFEST.replace("R-410A", "R-22"))
    (tmp_path / "good").mkdir()
    good = site_folder(tmp_path / "good", {"R1/a.csv": GOOD})
    out, err, status = call("load_site", bad, good, tmp_path / "none")
    assert status == 1
    assert out == [
        f"{bad}: refused",
        f"{good}: registered ferry-hall",
        f"{tmp_path / 'none'}: refused",
        "ferry-hall/R1/a.csv: 1 rows taken in",
        WAITING,
    ]
    assert err[0] == (
        f"{bad}: {bad / 'site.toml'}: [[system]] 'R1': refrigerant = 'R-22': must be one of "
        "R-410A, R-32, R-454B"
    )
    assert "cannot be read (No such file or directory)" in err[1]
    assert Site.objects.count() == 1


def test_a_folder_of_no_system_is_refused_and_other_files_are_passed_over(tmp_path: Path) -> None:
    folder = site_folder(
        tmp_path,
        {
            "R2/a.csv": GOOD,
            "R1/notes.txt": b"x",
            "plan.pdf": b"x",
            ".git/x": b"",
            "R1/.hidden": b"",
        },
    )
    out, err, status = call("load_site", folder)
    assert status == 1
    assert out[1:] == [f"{folder / 'R2'}: refused"]
    assert err[:-1] == [
        f"{folder / 'R1' / 'notes.txt'}: passed over: uploads end in .csv or .csv.gz",
        f"{folder / 'R2'}: no system of ferry-hall has this code; it has R1",
        f"{folder / 'plan.pdf'}: passed over: uploads lie in a folder of their system",
    ]
    assert not Upload.objects.exists()


def test_what_waited_from_before_is_taken_in_too(tmp_path: Path) -> None:
    receive(registered(), "left.csv", GOOD)
    out, _, status = call("load_site", site_folder(tmp_path, {}))
    assert status == 0
    assert out[1] == "left.csv → ferry-hall/R1: waiting since before, 1 rows taken in"


def test_single_files_are_uploaded(tmp_path: Path) -> None:
    registered()
    file = tmp_path / "late.csv"
    file.write_bytes(GOOD)
    out, err, status = call("upload", "ferry-hall/R1", file)
    assert (out, err, status) == ([f"{file}: 1 rows taken in", WAITING], [], 0)
    file.write_bytes(GOOD.replace(b",21", b",22"))
    out, err, status = call("upload", "ferry-hall/R1", file, "--wait")
    assert (out, status) == ([f"{file}: 1 rows taken in, 1 cells differing"], 0)
    assert err == [
        (
            f"{file}: line 2, A-101/setpoint [degC]: 22 degC differs from the stored 21 degC: the "
            "stored one is kept"
        )
    ]
    out, err, status = call("upload", "ferry-hall/R1", file, "--replace")
    assert out == [f"{file}: 1 rows taken in, 1 cells differing, 1 cells replaced", WAITING]
    assert "the stored one is replaced" in err[0]
    assert status == 0


def test_unknown_columns_are_told(tmp_path: Path) -> None:
    registered()
    (tmp_path / "a.csv").write_bytes(csv("time,A-101/demand,mood,A-9/demand", f"{'x' * 3},1,1,1"))
    (tmp_path / "b.csv").write_bytes(csv("time,A-101/demand,mood", "2026-01-05T00:00:00Z,1,good"))
    _, err, _ = call("upload", "ferry-hall/R1", tmp_path / "b.csv")
    assert err == [f"{tmp_path / 'b.csv'}: unknown columns: mood"]


def test_files_that_cannot_be_read_or_are_too_large_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    registered()
    out, err, status = call("upload", "ferry-hall/R1", tmp_path / "none.csv", tmp_path)
    assert status == 1
    assert err[:2] == [
        f"{tmp_path / 'none.csv'}: cannot be read (No such file or directory)",
        f"{tmp_path}: cannot be read (Is a directory)",
    ]
    large = tmp_path / "large.csv"
    with large.open("wb") as file:
        file.truncate(65 << 20)
    out, err, status = call("upload", "ferry-hall/R1", large)
    assert (out, status) == ([f"{large}: refused"], 1)
    assert err[0] == f"{large}: the upload has 65.0 MiB, the limit is 64 MiB: split it"
    assert not Upload.objects.exists()


def test_only_some_complaints_are_printed(tmp_path: Path) -> None:
    registered()
    rows = (f"2026-01-05T00:00:{n:02d}Z,x" for n in range(15))
    (tmp_path / "a.csv").write_bytes(csv("time,A-101/demand", *rows))
    _, err, _ = call("upload", "ferry-hall/R1", tmp_path / "a.csv")
    assert len(err) == 11
    assert err[-1] == f"{tmp_path / 'a.csv'}: and 5 more are listed in the upload's report"


def test_wrong_usage_has_status_2(tmp_path: Path) -> None:
    assert call("upload", "ferry-hall", "x.csv")[2] == 2
    assert call("upload", "ferry-hall/R9", "x.csv")[2] == 1
    with pytest.raises(CommandError, match="the following arguments are required: FILE"):
        call_command("upload", "ferry-hall/R1")
    with pytest.raises(CommandError, match="the following arguments are required: DIR"):
        call_command("load_site")


def test_a_day_that_cannot_be_analysed_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def parked(system_id: int, progress: object) -> None:
        DueDay.objects.filter(system_id=system_id).update(attempts=3, failure="ValueError: no")

    monkeypatch.setattr(intake.backlog, "work_off", parked)
    _, err, status = call("load_site", site_folder(tmp_path, {"R1/a.csv": GOOD}), "--wait")
    assert status == 1
    assert err[0] == "ferry-hall/R1 2026-01-05: could not be analysed: ValueError: no"


def test_a_failure_of_our_own_is_tried_again_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def failing(*_: Any) -> None:
        raise RuntimeError("disk on fire")

    monkeypatch.setattr(intake, "POLL_S", 0.0)
    monkeypatch.setattr("fleet.ingest.take_in.mark_due", failing)
    _, err, status = call("load_site", site_folder(tmp_path, {"R1/a.csv": GOOD}))
    assert status == 1
    assert "internal failure, 3 times (RuntimeError: disk on fire)" in err[0]
    assert System.objects.get().uploads.get().state == UploadState.REFUSED
