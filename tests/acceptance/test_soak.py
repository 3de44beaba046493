"""What the soak calls growth; the soak itself is ``python -m tests.acceptance.soak``."""

from __future__ import annotations

import random

from tests.acceptance.growth import Reading, fit
from tests.acceptance.soak import BARS, Soaked
from tests.acceptance.trial import Outcome


def hour(per_hour: float, *, noise: float = 0.3, warm_up: float = 0.0) -> list[Reading]:
    """An hour of a process of 200 MiB that is killed every 20 minutes, at levels of its own."""
    rng = random.Random(1)
    readings = []
    for at in range(240):
        minute, life = at / 4, at // 80
        age = minute - 20 * life
        value = 200.0 + 5 * life + per_hour * age / 60 + warm_up * min(age, 2.0)
        readings.append(Reading(minute, "web", "memory MiB", value + rng.gauss(0, noise), life))
    return readings


def test_a_leak_is_seen_through_kills() -> None:
    (found,) = fit(hour(60.0), BARS, settled=4.0)
    assert found.lives == 3
    assert abs(found.slope - 60.0) < 1.0
    assert found.grows
    soaked = Soaked(Outcome(), hour(60.0), [found])
    soaked.judge()
    assert "web: memory MiB grows" in soaked.outcome.faults


def test_what_stands_still_warms_up_or_differs_from_life_to_life_does_not_grow() -> None:
    for readings in (hour(0.0), hour(0.0, warm_up=10.0), hour(3.0), hour(0.0, noise=8.0)):
        (found,) = fit(readings, BARS, settled=4.0)
        assert not found.grows, found.line()


def test_what_was_not_read_often_enough_is_a_fault() -> None:
    soaked = Soaked(Outcome(), [], [])
    soaked.judge()
    assert any(said.startswith("too few readings of") for said in soaked.outcome.faults)


def test_a_database_that_grows_by_more_than_its_content_is_a_fault() -> None:
    mib = 2**20
    outcome = Outcome(grown_bytes=40 * mib, clean_bytes=10 * mib)
    Soaked(outcome).judge()
    assert "the database grew by more than what was stored explains" in outcome.faults
