"""Visits become outcomes, and outcomes weights, from the stored rows alone."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import numpy as np
import pytest
from django.contrib.auth import get_user_model
from django.core.cache import cache
from pytest_django import DjangoAssertNumQueries

from diagnostics import weigh
from diagnostics.findings import REGISTRY
from diagnostics.weigh import CONDITIONS
from fleet.analysis import learning
from fleet.models import Event, SiteVisit, System, VisitOutcome
from tests.analysis import building

pytestmark = pytest.mark.django_db

PEAK = datetime(2026, 3, 10, 12, tzinfo=UTC)
VISITED = date(2026, 3, 12)
FIRST = REGISTRY[0].name


@pytest.fixture(autouse=True)
def _nothing_kept() -> None:
    cache.clear()


def verdict(**push: float) -> dict[str, Any]:
    """A stored verdict whose first finding pushed so."""
    said = dict.fromkeys(CONDITIONS, 0.0) | push
    return {
        "conditions": dict.fromkeys(CONDITIONS, 0.1) | {"overcharge": 0.5},
        "ledger": [{"finding": FIRST, "push": said}],
    }


def event(system: System, number: int = 0, **more: Any) -> Event:
    """An event that was suspected to be overcharge."""
    opened = PEAK.replace(hour=number)
    values = {
        "condition": "overcharge",
        "opened_at": opened,
        "last_window": PEAK,
        "peak_probability": 0.9,
        "peak_at": PEAK,
        "verdict": verdict(overcharge=2.0),
    }
    return Event.objects.create(system=system, **values | more)


def visit(
    of: Event, outcome: VisitOutcome = VisitOutcome.CONFIRMED, found: str = "", **more: Any
) -> SiteVisit:
    """A visit two days after the peak."""
    values = {"visited_on": VISITED, "outcome": outcome, "found_condition": found}
    return SiteVisit.objects.create(event=of, **values | more)


@pytest.fixture
def system() -> System:
    return building.registered()


def prior(name: str, without: tuple[int, ...] = ()) -> float:
    """The prior of a condition with what the visits taught."""
    weights = learning.learned_weights(without)
    return float(np.exp(weights.prior[weights.condition == CONDITIONS.index(name)]).sum())


def test_without_visits_the_weights_are_the_table_s(system: System) -> None:
    learned = learning.learned_weights()
    np.testing.assert_allclose(learned.prior, weigh.table().prior, atol=1e-12)
    assert not learned.factors


def test_a_visit_says_who_went_where_and_what_the_ledger_had_said(system: System) -> None:
    person = get_user_model().objects.create_user("ines")
    made = visit(event(system), VisitOutcome.OTHER_CAUSE, "sensor_fault", visitor=person)
    (outcome,) = learning.read().outcomes
    assert outcome.key == f"visit {made.pk}"
    assert (outcome.system, outcome.visitor) == (str(system.pk), str(person.pk))
    assert (outcome.suspected, outcome.truth) == ("overcharge", ("sensor_fault",))
    assert outcome.push[FIRST]["overcharge"] == 2.0
    assert outcome.probabilities["overcharge"] == 0.5


def test_a_cause_named_beside_a_confirmation_does_not_count(system: System) -> None:
    visit(event(system), VisitOutcome.CONFIRMED, "sensor_fault")
    assert learning.read().outcomes[0].truth == ("overcharge",)


def test_factors_that_had_been_learned_are_taken_out_of_the_pushes(system: System) -> None:
    said = verdict(overcharge=2.0)
    said["ledger"][0]["factor"] = 0.8
    visit(event(system, verdict=said))
    assert learning.read().outcomes[0].push[FIRST]["overcharge"] == pytest.approx(2.5)


def test_outcomes_move_the_prior_and_leaving_one_out_moves_it_back(system: System) -> None:
    table = prior("sensor_fault")
    first = visit(event(system, 0), VisitOutcome.OTHER_CAUSE, "sensor_fault")
    one = prior("sensor_fault")
    second = visit(event(system, 1), VisitOutcome.OTHER_CAUSE, "sensor_fault")
    assert table < one < prior("sensor_fault")
    assert prior("sensor_fault", (second.pk,)) == one
    assert prior("sensor_fault", (first.pk, second.pk)) == pytest.approx(table)


def test_of_two_visits_for_an_event_the_later_speaks(system: System) -> None:
    of = event(system)
    late = visit(of, VisitOutcome.CONFIRMED)
    early = visit(of, VisitOutcome.NOTHING_FOUND, visited_on=date(2026, 3, 11))
    reading = learning.read()
    assert [outcome.key for outcome in reading.outcomes] == [f"visit {late.pk}"]
    assert reading.left_out == {early.pk: "a later visit for the same event speaks"}


def test_taking_the_later_visit_out_lets_the_earlier_speak(system: System) -> None:
    of = event(system)
    late = visit(of, VisitOutcome.CONFIRMED)
    visit(of, VisitOutcome.NOTHING_FOUND, visited_on=date(2026, 3, 11))
    reading = learning.read(without=(late.pk,))
    assert [outcome.truth for outcome in reading.outcomes] == [("normal",)]
    assert reading.left_out == {late.pk: "taken out of the count"}


@pytest.mark.parametrize(
    ("more", "reason"),
    [
        ({"withdrawn": True}, "withdrawn"),
        ({"verdict": {}}, "no ledger"),
        ({"condition": "gremlins"}, "not one that is judged any more"),
        ({"peak_at": datetime(2026, 3, 13, 9, tzinfo=UTC)}, "judged again after the visit"),
    ],
)
def test_visits_that_teach_nothing_are_left_out_with_the_reason(
    system: System, more: dict[str, Any], reason: str
) -> None:
    made = visit(event(system, **more))
    reading = learning.read()
    assert reading.outcomes == ()
    assert reason in reading.left_out[made.pk]


def test_the_day_of_the_visit_is_the_day_at_the_site(system: System) -> None:
    """23:30 UTC on 12 June is already the 13th in Lisbon's summer."""
    made = visit(
        event(system, peak_at=datetime(2026, 6, 12, 23, 30, tzinfo=UTC)),
        visited_on=date(2026, 6, 12),
    )
    assert made.pk in learning.read().left_out


def test_the_same_outcomes_are_learned_once(
    system: System,
    monkeypatch: pytest.MonkeyPatch,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    visit(event(system))
    first = learning.learned()

    def refuse(*_: object) -> None:
        raise AssertionError("learned again")

    monkeypatch.setattr(learning.learning, "learn", refuse)
    with django_assert_num_queries(1):
        assert learning.learned() == first
    visit(event(system, 1))
    with pytest.raises(AssertionError, match="learned again"):
        learning.learned()
