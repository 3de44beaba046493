"""What is measured of pages answers, is every page there is, and is light."""

from __future__ import annotations

import pytest
from django.test import Client as Browser
from pytest_django import Settings

from tests.benchmarks import page_fleet
from tests.benchmarks.page_fleet import Asked
from tests.pages.test_speed import MOST_BYTES, PLOT, weight
from tests.people.doors import DOORS

SITES = 12


@pytest.fixture
def asked(db: None, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> list[Asked]:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    monkeypatch.setattr("fleet.api.probes.broker", lambda: "ok")
    return page_fleet.of_many(SITES)


def test_every_page_is_measured_answers_and_is_light(asked: list[Asked]) -> None:
    heavy, plotting = {}, set()
    for one in asked:
        answer = Browser(headers={"Cookie": one.cookie}).get(one.path)
        assert answer.status_code == 200, one.path
        if one.is_page:
            html = answer.content.decode()
            if weight(html) > MOST_BYTES:
                heavy[one.name] = weight(html)
            if any(library in html for library in PLOT):
                plotting.add(one.name)
    assert not heavy
    assert plotting == {"events/<int:pk>/"}
    answering = {
        route or "/" for route, door in DOORS.items() if door.get == 200 and not door.exact
    }
    assert answering <= {one.name for one in asked}
    assert sum(one.is_page for one in asked) > 30
