"""The demo: through the real way in, once, for the right people."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from concurrent.futures import Future
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth import authenticate, get_user_model
from django.core.management import call_command
from django.core.management.base import CommandError

from fixtures import demo
from fixtures.simulator.write import SiteSpec
from fleet.access import visible_systems
from fleet.analysis import backlog
from fleet.management import demonstration
from fleet.models import (
    DueDay,
    Event,
    EventState,
    Membership,
    Role,
    SiteVisit,
    Standing,
    System,
    Upload,
    UploadState,
)
from tests.analysis import building
from tests.demo_fleet import Made
from tests.diagnostics import rows

NOW = datetime(2026, 6, 17, 9, 30, tzinfo=UTC)


class InThisProcess:
    """A pool that works at once and here, where the test's database is."""

    def __init__(self, *_: Any, **__: Any) -> None: ...

    def __enter__(self) -> InThisProcess:
        return self

    def __exit__(self, *_: object) -> None: ...

    def submit(self, work: Callable[..., Any], *arguments: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_result(work(*arguments))
        return future


@pytest.fixture
def two_systems(monkeypatch: pytest.MonkeyPatch) -> list[SiteSpec]:
    """The demo's first building alone, written in this process."""

    def sites(end: datetime, days: int = demo.DEFAULT_DAYS) -> list[SiteSpec]:
        return every(end, days)[:1]

    every = demo.sites
    monkeypatch.setattr(demo, "sites", sites)
    for module in (demo, demonstration):
        monkeypatch.setattr(module, "ProcessPoolExecutor", InThisProcess)
    monkeypatch.setattr(demo, "as_completed", lambda tasks: iter(tasks))
    return sites(demo.latest_midnight(NOW))


@pytest.mark.django_db
@pytest.mark.usefixtures("two_systems")
def test_what_is_missing_is_loaded_once_and_later_days_are_added(tmp_path: Path) -> None:
    assert demonstration.days_missing(NOW) == demo.DEFAULT_DAYS
    steps: list[int] = []
    loaded = demonstration.load(tmp_path, 1, NOW, lambda: steps.append(1))
    assert {each.system for each in loaded} == {"ferry-hall/R1", "ferry-hall/R2"}
    assert all(each.rows > 8000 and not each.refused for each in loaded)
    assert len(steps) == 4
    assert not DueDay.objects.exists()
    assert {upload.state for upload in Upload.objects.all()} == {UploadState.ANALYSED}
    assert demonstration.days_missing(NOW) == 0
    assert demonstration.days_missing(NOW + timedelta(days=6)) == 0
    assert demonstration.days_missing(NOW + timedelta(days=9)) == 9
    assert demonstration.days_missing(NOW + timedelta(days=300)) == demo.DEFAULT_DAYS
    later = NOW + timedelta(days=9)
    demonstration.load(tmp_path / "later", 1, later, lambda: None)
    assert not Upload.objects.filter(cells_differing__gt=0).exists()
    assert demonstration.days_missing(later) == 0


@pytest.mark.django_db
@pytest.mark.usefixtures("two_systems")
def test_loading_again_changes_nothing(tmp_path: Path) -> None:
    demonstration.load(tmp_path, 1, NOW, lambda: None)
    before = list(System.objects.order_by("pk").values("pk", "code", "standing__verdict"))
    uploads = Upload.objects.count()
    demonstration.load(tmp_path, 1, NOW, lambda: None)
    assert list(System.objects.order_by("pk").values("pk", "code", "standing__verdict")) == before
    assert Upload.objects.count() == uploads


@pytest.fixture
def suspicion() -> System:
    """A system of one of the rep's clients with an open event."""
    system = building.registered("heron-hotel", client="tidemark-hotels")
    bad = {"subcooling_to_indoor_k": 14.0, "discharge_superheat_k": 12.0}
    building.keep_windows(system, rows.windows(4 * 96, suction_superheat_k=0.5, **bad))
    backlog.drain()
    return system


@pytest.mark.django_db
def test_three_people_may_sign_in_and_see_what_is_theirs(suspicion: System) -> None:
    other = building.registered("ferry-hall", client="alder-council")
    passwords = demonstration.admit_people()
    demonstration.give_work()
    seen = {}
    for username, password in passwords.items():
        user = authenticate(username=username, password=password)
        assert user is not None
        seen[username] = set(visible_systems(user))
    assert seen == {"manager": {suspicion, other}, "rep": {suspicion}, "technician": {suspicion}}


@pytest.mark.django_db
def test_passwords_are_new_in_every_run_and_people_are_not(suspicion: System) -> None:
    first, second = demonstration.admit_people(), demonstration.admit_people()
    assert first.keys() == second.keys()
    assert not set(first.values()) & set(second.values())
    assert get_user_model().objects.count() == Membership.objects.count() == 3


@pytest.mark.django_db
def test_the_technician_is_given_work_once(suspicion: System) -> None:
    demonstration.admit_people()
    demonstration.give_work()
    demonstration.give_work()
    (event,) = Event.objects.all()
    assert event.assignee is not None
    assert event.assignee.membership.role == Role.TECHNICIAN
    assert event.state == EventState.ACKNOWLEDGED_ACTIVE
    assert event.notes.get().author.membership.role == Role.MANAGER


@pytest.mark.django_db
def test_a_repair_is_recorded_once_and_only_where_an_event_answers_to_it(
    suspicion: System,
) -> None:
    demonstration.admit_people()
    last = Standing.objects.get(system=suspicion).at
    ((code, day),) = demo.repairs(demo.latest_midnight(last)).items()
    site, system = code.split("/")
    repaired = building.registered(site, client="copperline-estates")
    System.objects.filter(pk=repaired.pk).update(code=system, rated_charge_kg=9.5)
    demonstration.give_work()
    assert not SiteVisit.objects.exists()
    before = datetime(day.year, day.month, day.day, tzinfo=UTC) - timedelta(days=9)
    event = Event.objects.create(
        system=repaired,
        condition="undercharge",
        opened_at=before,
        closed_at=before + timedelta(days=11),
        last_window=before + timedelta(days=11),
        peak_probability=0.9,
        peak_at=before,
    )
    demonstration.give_work()
    demonstration.give_work()
    visit = SiteVisit.objects.get()
    assert (visit.event, visit.visited_on) == (event, day)
    assert visit.readings == {"charged_kg": 9.5}


def test_a_database_of_its_own_is_not_for_demos(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DATABASE_URL", "postgres://somewhere/else")
    with pytest.raises(CommandError, match="unset DATABASE_URL") as refusal:
        call_command("demo", "--no-serve")
    assert refusal.value.returncode == 2


@pytest.mark.timeout(600)
def test_from_nothing_to_a_ranking_in_one_command(demo_made: Made) -> None:
    def manage(*arguments: str) -> str:
        done = demo_made.stack.manage(*arguments)
        assert done.returncode == 0, done.stderr
        return done.stdout

    first = demo_made.said
    rows_loaded = re.search(r"^([\d,]+) rows in", first, re.MULTILINE)
    assert rows_loaded is not None
    assert 800_000 < int(rows_loaded[1].replace(",", "")) < 1_400_000
    ranked = json.loads(manage("rank", "--format", "json"))
    truth = demo.truth()
    assert sorted(truth) == sorted(
        f"{site['site']}/{system['system']}"
        for site in ranked["sites"]
        for system in site["systems"]
    )
    worst = ranked["sites"][0]
    assert truth[f"{worst['site']}/{worst['systems'][0]['system']}"] != "normal"
    manage("shell", "-c", "from fleet.models import *; Standing.objects.update(method_version=0)")
    again = manage("demo", "--no-serve")
    assert "loaded already" in again
    assert f"Analysing what is due of {len(truth)} systems" in again
    assert "Analysing" not in manage("demo", "--no-serve")
    assert json.loads(manage("rank", "--format", "json"))["sites"] == ranked["sites"]
