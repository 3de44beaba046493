"""The ranking: the contract's shape, one query, and the same numbers however it is asked."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from diagnostics.weighing.weigh import CONDITIONS
from fleet.analysis import backlog, standing
from fleet.analysis.ranking import SiteRank, as_json, ranking, site_scores
from fleet.management.commands import rank
from fleet.models import System, Window
from tests.analysis import building
from tests.diagnostics import rows

DAY = 96
BAD = {"subcooling_to_indoor_k": 14.0, "discharge_superheat_k": 12.0, "suction_superheat_k": 0.5}
scores = st.lists(st.floats(0, 100), min_size=1, max_size=8)


def site_score(each: list[float]) -> float:
    """Of one site."""
    descending = np.array(sorted(each, reverse=True))
    return float(site_scores(descending, np.zeros(1, np.intp))[0])


@given(scores)
def test_a_site_scores_at_least_as_its_worst_system_and_at_most_100(each: list[float]) -> None:
    score = site_score(each)
    assert max(each) - 1e-9 <= score <= 100.0 + 1e-9
    assert score <= max(each) + 0.1 * (100.0 - max(each)) + 1e-9


@given(scores, st.integers(0, 7), st.floats(0, 100))
def test_a_system_that_gets_worse_never_lowers_its_site(
    each: list[float], which: int, by: float
) -> None:
    worse = list(each)
    i = which % len(each)
    worse[i] = min(100.0, each[i] + by)
    assert site_score(worse) >= site_score(each) - 1e-9


@given(st.floats(0, 100))
def test_a_site_with_one_system_has_its_score(score: float) -> None:
    assert site_score([score]) == pytest.approx(score)


@pytest.fixture
def fleet() -> list[System]:
    """A faulty and a healthy system in one building, a healthy one in another, a silent one."""
    bad, good, other, _ = [
        building.registered("ferry-hall", "R1"),
        building.registered("ferry-hall", "R2"),
        building.registered("mill-house", "R1"),
        building.registered("new-house", "R1"),
    ]
    healthy = rows.windows(5 * DAY)
    building.keep_windows(bad, rows.windows(5 * DAY, **BAD))
    for system in (good, other):
        building.keep_windows(system, healthy)
    for system in (bad, good, other):
        standing.refresh(system.pk)
    return [bad, good, other]


def sites(at: datetime) -> list[SiteRank]:
    return ranking(at, System.objects.all())


@pytest.mark.django_db
def test_the_faulty_site_comes_first_and_each_has_its_place(fleet: list[System]) -> None:
    ranked = sites(timezone.now())
    assert [site.rank for site in ranked] == [1, 2, 3]
    assert [site.score for site in ranked] == sorted((s.score for s in ranked), reverse=True)
    first = ranked[0]
    assert (first.site, [system.system for system in first.systems]) == ("ferry-hall", ["R1", "R2"])
    assert first.systems[0].leading == "overcharge"
    assert first.systems[0].why.startswith("Suspicion of")


@pytest.mark.django_db
def test_the_json_is_the_contracts(fleet: list[System]) -> None:
    at = datetime(2026, 4, 1, 12, tzinfo=UTC)
    document = json.loads(json.dumps(as_json(at, sites(at))))
    assert document.keys() == {"at", "sites"}
    assert document["at"] == "2026-04-01T12:00:00Z"
    for site in document["sites"]:
        assert site.keys() == {"site", "rank", "score", "systems"}
        for system in site["systems"]:
            assert system.keys() == {
                "system", "score", "leading", "conditions", "coverage", "last_sample"
            }  # fmt: skip
            assert tuple(system["conditions"]) == CONDITIONS
            assert sum(system["conditions"].values()) == pytest.approx(1.0)
            assert 0.0 <= system["coverage"] <= 1.0
            assert 0.0 <= system["score"] <= 100.0


@pytest.mark.django_db
def test_a_system_without_data_is_shown_as_such(fleet: list[System]) -> None:
    (silent,) = [site for site in sites(timezone.now()) if site.site == "new-house"]
    (system,) = silent.systems
    assert (system.leading, system.coverage, system.last_sample) == ("not_enough_data", 0.0, None)
    assert sum(system.conditions.values()) == pytest.approx(1.0)


@pytest.mark.django_db
def test_any_time_after_the_last_window_gives_the_numbers_of_now(fleet: list[System]) -> None:
    now = sites(timezone.now())
    end = building.START + timedelta(days=5)
    assert sites(end) == now
    assert sites(end + timedelta(days=300)) == now


@pytest.mark.django_db
def test_a_look_into_the_past_gives_what_was_said_then(fleet: list[System]) -> None:
    at = building.START + timedelta(days=2, hours=12)
    past = as_json(at, sites(at))
    for system in fleet:
        Window.objects.filter(system=system, start__gte=at).delete()
        standing.refresh(system.pk)
    assert as_json(at, sites(timezone.now()))["sites"] == past["sites"]


@pytest.mark.django_db
def test_before_all_data_nothing_is_known(fleet: list[System]) -> None:
    early = sites(building.START - timedelta(days=1))
    assert {system.leading for site in early for system in site.systems} == {"not_enough_data"}


@pytest.mark.django_db
def test_the_last_sample_is_the_last_before_the_time_asked() -> None:
    system = building.registered()
    building.take_in(system, building.cooling(30.0))
    backlog.drain()
    for hours, expected in ((29.0, 29.0), (25.5, 25.5), (24.0, 24.0), (23.995, 23 + 59 / 60)):
        at = building.START + timedelta(hours=hours)
        (site,) = sites(at)
        assert site.systems[0].last_sample == building.START + timedelta(hours=expected)


@pytest.mark.django_db
def test_the_ranking_of_now_takes_one_query(
    fleet: list[System], django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    known = System.objects.filter(standing__isnull=False)
    with django_assert_num_queries(1):
        assert len(ranking(timezone.now(), known)) == 2


@pytest.mark.django_db
def test_only_the_systems_asked_for_are_ranked(fleet: list[System]) -> None:
    ranked = ranking(timezone.now(), System.objects.filter(site__code="mill-house"))
    assert [(site.site, site.rank) for site in ranked] == [("mill-house", 1)]


@pytest.mark.parametrize(
    ("share", "shown"),
    [(0.9996, "99%"), (1.0, "100%"), (0.864, "86%"), (0.002, "1%"), (0.0, "0%")],
)
def test_the_table_rounds_nothing_up_to_certainty(share: float, shown: str) -> None:
    assert rank.percent(share) == shown
