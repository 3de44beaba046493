"""The clock of web server, worker and scheduler is put forward and back by hours as they work.

By libfaketime, preloaded into them; the monotonic clock goes on, as it does when a real clock is
set, and the private database and broker keep the true time, as servers on another machine would.
"""

from __future__ import annotations

import platform
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import libfaketime
import pytest

from tests.acceptance import trial
from tests.acceptance.casualties import Casualties
from tests.acceptance.pieces import cut_logs
from tests.acceptance.trial import Scene, Sending
from tests.embedded.harness import Stack, new_folder

LIBRARY = Path(libfaketime.__file__).parent / "vendor/libfaketime/src/libfaketime.so.1"
STEPS = ("+6h", "-90s", "-6h", "+400d", "+0")

pytestmark = pytest.mark.skipif(
    (sys.platform, platform.machine()) != ("linux", "x86_64"), reason="libfaketime is built for it"
)


@pytest.fixture
def folder() -> Iterator[Path]:
    """Of a stack and the offset of its clocks."""
    folder = new_folder()
    (folder / "offset").write_text("+0")
    yield folder
    shutil.rmtree(folder, ignore_errors=True)


def _put(folder: Path, offset: str) -> None:
    draft = folder / "offset.draft"
    draft.write_text(offset)
    draft.replace(folder / "offset")


def _environment(folder: Path) -> dict[str, str]:
    return {
        "LD_PRELOAD": str(LIBRARY),
        "FAKETIME_TIMESTAMP_FILE": str(folder / "offset"),
        "FAKETIME_NO_CACHE": "1",
        "FAKETIME_DONT_FAKE_MONOTONIC": "1",
        "NO_FAKE_STAT": "1",
    }


@pytest.mark.timeout(240)
def test_nothing_is_lost_or_held_up_when_clocks_are_set(folder: Path) -> None:
    logs = cut_logs(13, 12.0)

    def step(scene: Scene) -> None:
        casualties = Casualties(scene.stack, scene.keeper)
        for offset in STEPS:
            time.sleep(1.5)
            _put(folder, offset)
            time.sleep(1.5)
            # What these leave behind, lost messages and times of another try, is of that time.
            casualties.wipe_broker()
            casualties.kinds()["database's backend"]()

    pause_s = 20.0 * trial.GATEWAYS / len(logs.pieces)
    stack = Stack(folder / "data", environment=_environment(folder))
    outcome = trial.run(stack, Sending(logs, 13, pause_s), step)
    print("\n".join(outcome.lines()))  # noqa: T201
    assert outcome.faults == []
    assert outcome.drain_s < 60.0, "nothing waits until a clock has caught up"
    assert outcome.rows_acknowledged > 1500


def test_the_clocks_of_this_test_do_step(folder: Path) -> None:
    asked = subprocess.Popen(
        [sys.executable, "-uc", "import time\nwhile input(): print(time.time(), time.monotonic())"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=_environment(folder),
    )  # fmt: skip
    told = []
    for offset in ("+0", "+6h", "-6h"):
        _put(folder, offset)
        time.sleep(1.2)
        assert asked.stdin is not None
        assert asked.stdout is not None
        asked.stdin.write("now\n")
        asked.stdin.flush()
        told.append([float(each) for each in asked.stdout.readline().split()])
    asked.communicate("\n")
    steps = [round((b[0] - a[0]) / 3600) for a, b in pairwise(told)]
    assert steps == [6, -12]
    assert told[2][1] - told[0][1] < 60.0
