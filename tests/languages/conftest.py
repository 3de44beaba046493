"""A world in which everything a page can say is said."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from django.utils import timezone, translation
from django.utils.translation import trans_real
from pytest_django import Settings

from diagnostics import verdict
from diagnostics.verdict import Verdict
from fleet import said
from fleet.models import AuditEntry, Event, EventChange, PersonSettings, Standing
from tests.diagnostics import rows
from tests.languages import marked
from tests.pages.days import put_days
from tests.people import world as worlds


def judged(**features: float) -> Verdict:
    """A week of windows with these features, judged."""
    of = rows.windows(7 * 96, **features)
    return verdict.judge(of, rows.plant(), of.start[-1] + np.timedelta64(1, "D"))


@pytest.fixture
def world(db: None, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> worlds.World:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    monkeypatch.setattr("fleet.api.probes.broker", lambda: "ok")
    made = worlds.build()
    found = judged(subcooling_to_indoor_k=14.0, subcooling_to_outdoor_k=14.0)
    event, system = made.scene.event, made.scene.system
    stored = {"verdict": found.as_json(), "why": found.why[:300]}
    Event.objects.filter(pk=event.pk).update(**stored, opened_at=timezone.now() - timedelta(days=9))
    Standing.objects.update(**stored)
    Standing.objects.filter(system=system).update(urgent=True)
    yesterday = (timezone.now() - timedelta(days=1)).date()
    put_days(system, yesterday, [5.0] * 30 + [9.0] * 20, asking_s=3e4, shortfall_k=0.7)
    for what in (
        "acknowledged",
        "assigned to tess, visit planned on 2026-03-04",
        "shelved until 2026-03-09: spare part",
        "recorded a visit: nothing found",
    ):
        EventChange.objects.create(event=event, who=made.scene.manager, what=what)
    AuditEntry.objects.create(
        organisation=made.scene.client.organisation, name="rhea", what="exported windows of"
    )
    return made


@pytest.fixture
def german(world: worlds.World) -> worlds.World:
    """Everybody reads German."""
    for person in world.people.values():
        PersonSettings.objects.update_or_create(user=person, defaults={"language": "de"})
    return world


@pytest.fixture
def marks(tmp_path: Path, settings: Settings) -> Iterator[None]:
    """German is English between marks for one test."""
    marked.write(tmp_path, "de")
    _forget()
    settings.LOCALE_PATHS = [str(tmp_path)]
    yield
    settings.LOCALE_PATHS = []
    _forget()


def _forget() -> None:
    trans_real._translations.clear()
    said._say.cache_clear()
    translation.activate("en")
