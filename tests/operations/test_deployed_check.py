"""``check --deploy`` has nothing to say with the environment of docker-compose.yml."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from typing import Any

import pytest

from fleet import checks
from tests.acceptance.lines import Here
from tests.acceptance.trial import environment
from tests.embedded.harness import REPOSITORY, Stack, new_folder


def test_the_settings_of_the_containers_pass_without_a_warning(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The browser tests of the same run set it, for Playwright's event loop; containers do not.
    monkeypatch.delenv("DJANGO_ALLOW_ASYNC_UNSAFE", raising=False)
    folder = new_folder()
    stack = Stack(folder / "data")
    here = Here(folder, 0, 0, 0)
    told = {k: v for k, v in here.environment("web").items() if k.startswith("MILLRACE_")}
    try:
        done = subprocess.run(
            [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
            cwd=REPOSITORY, capture_output=True, text=True, check=False,
            env=environment(stack) | told | {"SECRET_KEY": os.urandom(32).hex()},
        )  # fmt: skip
    finally:
        stack.close()
        folder.rmdir()
    assert done.returncode == 0, done.stderr
    assert "no issues (0 silenced)" in done.stdout


@pytest.mark.django_db
@pytest.mark.parametrize(("apart_s", "said"), [(0.0, None), (-3600.0, "-3600 s"), (60.0, "+60 s")])
def test_clocks_that_differ_are_a_warning(
    monkeypatch: pytest.MonkeyPatch, apart_s: float, said: str | None
) -> None:
    true = time.time
    monkeypatch.setattr(checks.time, "time", lambda: true() + apart_s)
    found: list[Any] = checks.clocks_agree(databases=["default"])
    assert [each.id for each in found] == ([] if said is None else ["millrace.W002"])
    assert all(f"this server's clock is {said} from" in each.msg for each in found)
    assert all("runbook clock-wrong" in (each.hint or "") for each in found)
