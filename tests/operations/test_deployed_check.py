"""``check --deploy`` has nothing to say with the environment of docker-compose.yml."""

from __future__ import annotations

import os
import time
from typing import Any

import pytest

from fleet import checks
from tests.acceptance.lines import Here
from tests.embedded.harness import new_stack


def test_the_settings_of_the_containers_pass_without_a_warning() -> None:
    with new_stack() as stack:
        here = Here(stack.home.parent, 0, 0, 0)
        told = {k: v for k, v in here.environment("web").items() if k.startswith("MILLRACE_")}
        told["SECRET_KEY"] = os.urandom(32).hex()
        done = stack.manage("check", "--deploy", "--fail-level", "WARNING", **told)
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
