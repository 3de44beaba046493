"""A process killed in the middle of its analysis loses and doubles nothing."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fixtures import demo
from fixtures.simulator.simulate import simulate
from fixtures.simulator.write import write_site

ROOT = Path(__file__).parents[2]
DAYS = 6

SHELL = ("shell", "--verbosity=0", "-c")

DIE = """
import os, signal
from fleet.analysis import backlog, window_rows
written = []
write = window_rows.replace_day
def write_and_die_the_third_time(*arguments):
    count = write(*arguments)
    written.append(count)
    if len(written) == 3:
        os.kill(os.getpid(), signal.SIGKILL)
    return count
window_rows.replace_day = write_and_die_the_third_time
backlog.drain()
"""
COUNT = """
from fleet.models import DueDay, Window
left = DueDay.objects.exclude(analysed_generation=1)
print(left.count(), len(set(Window.objects.dates("start", "day"))))
"""
DIGEST = """
from hashlib import sha256
from fleet.analysis import window_rows
from fleet.models import System, Upload
for system in System.objects.order_by("site__code"):
    windows = window_rows.load(system.pk)
    digest = sha256(windows.start.tobytes() + windows.features.tobytes()).hexdigest()
    states = {upload.state for upload in Upload.objects.filter(system=system)}
    print(len(windows), digest, system.standing.score, system.due_days.count(), states)
"""


@pytest.fixture
def environment() -> Iterator[dict[str, str]]:
    # Not pytest's folder: as root, the server's account has to pass through.
    with tempfile.TemporaryDirectory(prefix="millrace-kill-") as folder:
        Path(folder).chmod(0o711)
        kept = {k: v for k, v in os.environ.items() if k not in ("DATABASE_URL", "REDIS_URL")}
        yield kept | {"MILLRACE_DATA": folder}


def run(environment: dict[str, str], *arguments: str, ends_with: int = 0) -> str:
    process = subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=200,
    )
    assert process.returncode == ends_with, process.stderr
    return process.stdout


@pytest.mark.timeout(400)
def test_a_killed_analysis_is_taken_up_where_it_was(
    environment: dict[str, str], tmp_path: Path
) -> None:
    site = demo.sites(datetime(2026, 6, 1, tzinfo=UTC), DAYS)[1]
    recordings = [simulate(system) for system in site.systems]
    for code in ("killed", "whole"):
        write_site(tmp_path / code, replace(site, code=code), recordings)
    run(environment, "migrate", "--verbosity=0")
    run(environment, "load_site", str(tmp_path / "killed"))
    run(environment, *SHELL, DIE, ends_with=-signal.SIGKILL)
    # The third day was written but not committed.
    assert run(environment, *SHELL, COUNT).split() == [str(DAYS - 2), "2"]
    for code in ("killed", "whole"):
        run(environment, "load_site", "--wait", str(tmp_path / code))
    killed, whole = run(environment, *SHELL, DIGEST).splitlines()
    assert killed == whole
    assert killed.endswith(" 0 {'analysed'}")
